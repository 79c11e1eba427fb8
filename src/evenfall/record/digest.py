"""What a picture follows from: its record, and a digest by which an earlier one is recognised.

The bytes of a file follow from the part of the recipe that speaks of it, the passes of the lights
that are on, what the meter saw, the other files it uses, and the versions of the programs. All of
this is known before a pixel is read. An earlier run has left the digest of it in its report; a
file that still has the hash noted there, and the same digest, is what a fresh run would make.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from evenfall.camera.exposure import MeterPlan
from evenfall.deliver.targets import Target
from evenfall.develop.asked import Asked
from evenfall.recipe import Area, Meter, Recipe, ResolvedMood
from evenfall.recipe.look import View
from evenfall.recipe.places import dotted
from evenfall.record.excerpt import excerpt, mood_chain, relevant_changes, renumbered
from evenfall.system.regular import open_regular

__all__ = ["Origins", "lights_behind", "side_files"]


def lights_behind(asked: Asked, mood: str) -> tuple[str, ...]:
    """Lights whose passes a mood's pictures follow from, in the recipe's order."""
    recipe = asked.recipe
    resolved = recipe.moods[mood]
    needed = set(_on(resolved)) | _matched(recipe, resolved)
    plan = asked.meter(mood)
    if plan is not None:
        needed.update(plan.lights, _matched(recipe, recipe.moods[plan.mood]))
    for other in asked.neutral_moods(mood):
        needed.update(_on(recipe.moods[other]))
    return tuple(light for light in recipe.model.lights if light in needed)


class Origins:
    """Digests and records of a run's pictures.

    Parameters
    ----------
    asked : Asked
        What the recipe says.
    fingerprints : mapping of str to str
        Of the passes, by light.
    versions : mapping of str to str
        Of the programs that make a difference.
    draft : bool
        Whether drafts are made.
    """

    def __init__(
        self,
        asked: Asked,
        fingerprints: Mapping[str, str],
        versions: Mapping[str, str],
        *,
        draft: bool,
    ) -> None:
        self.asked, self.recipe, self.draft = asked, asked.recipe, draft
        self.fingerprints, self.versions = fingerprints, versions
        self._files: dict[Path, str] = {}
        self._texts: dict[tuple[frozenset[str], int | None, bool], str] = {}
        self._mood_digests: dict[str, str] = {}

    def mood_digest(self, mood: str) -> str:
        """Digest of what all pictures of a mood follow from."""
        if mood not in self._mood_digests:
            self._mood_digests[mood] = _digest(self._mood_facts(mood))
        return self._mood_digests[mood]

    def _mood_facts(self, mood: str) -> dict[str, Any]:
        resolved = self.recipe.moods[mood]
        return {
            "versions": dict(self.versions),
            "recipe": self.recipe.path.name,
            "text": self._excerpt(self.moods_of(mood), None),
            "changes": self._changes(mood),
            "draft": self.recipe.model.draft.width if self.draft else None,
            "resolved": _resolved(self.recipe, resolved),
            "passes": self.passes(mood),
            "meter": self._meter(mood),
            "files": {name: self._hash(path) for name, path in side_files(self.recipe, resolved)},
        }

    def digest(self, target: Target) -> str:
        """Digest of what a file follows from."""
        facts = {
            "mood": self.mood_digest(target.mood),
            "text": self.text(target),
            "changes": self._changes(target.mood, target.number),
            "deliverable": target.deliverable.model_dump(mode="json"),
            "draft": self.recipe.model.draft.model_dump(mode="json") if self.draft else None,
        }
        return _digest(facts)

    def moods_of(self, mood: str) -> set[str]:
        """Name the mood, those it builds on, and those that hold its neutral spot."""
        found = set(mood_chain(self.recipe, mood))
        for other in self.asked.neutral_moods(mood):
            found.update(mood_chain(self.recipe, other))
        return found

    def text(self, target: Target) -> str:
        """Text to embed: the part of the recipe that speaks of this file."""
        return self._excerpt(self.moods_of(target.mood), target.number)

    def sheet_text(self, moods: Sequence[str]) -> str:
        """Text to embed in the contact sheet: without deliverables."""
        return self._excerpt(set(moods), None, sheet=True)

    def _excerpt(self, moods: set[str], deliverable: int | None, *, sheet: bool = False) -> str:
        if "deliverables" not in self.recipe.model.model_fields_set:
            deliverable = None  # the text speaks of none
        key = frozenset(moods), deliverable, sheet
        if key not in self._texts:
            self._texts[key] = excerpt(
                self.recipe, moods, deliverable, draft=self.draft, sheet=sheet
            )
        return self._texts[key]

    def passes(self, mood: str) -> dict[str, str]:
        """Fingerprints of the passes that a mood's pictures follow from."""
        return {
            light: self.fingerprints[light]
            for light in lights_behind(self.asked, mood)
            if light in self.fingerprints
        }

    def recorded_changes(self, target: Target, exposure_stops: float) -> tuple[str, ...]:
        """Give the changes under which the embedded text makes the picture again.

        When another mood was metered, which the text does not hold, they pin the exposure.
        """
        mood, changes = target.mood, self._changes(target.mood, target.number)
        if self.text(target) != self.recipe.text:
            changes = renumbered(changes)
        plan = self.asked.meter(mood)
        if plan is not None and plan.mood not in self.moods_of(mood):
            place = dotted(("moods", mood, "camera"))
            changes += (f"{place}.meter=off", f"{place}.exposure_stops={exposure_stops!r}")
        return changes

    def _changes(self, mood: str, deliverable: int | None = None) -> tuple[str, ...]:
        return relevant_changes(
            self.recipe.changes, self.moods_of(mood), deliverable, draft=self.draft
        )

    def _meter(self, mood: str) -> Any:
        plan = self.asked.meter(mood)
        return None if plan is None else [plan.mood, *self._metered(plan)]

    def _metered(self, plan: MeterPlan) -> Iterator[Any]:
        """Everything of the metered mood that the reading follows from."""
        metered = self.recipe.moods[plan.mood]
        yield plan.meter.model_dump(mode="json")
        yield metered.daylight and metered.daylight.model_dump(mode="json")
        for light in (*plan.lights, *sorted(_matched(self.recipe, metered))):
            yield [
                light,
                metered.lights[light].model_dump(mode="json"),
                self.recipe.model.lights[light].rendered.model_dump(mode="json"),
            ]
        areas = [plan.meter.area, *(s.match.area for s in metered.lights.values() if s.match)]
        for _, path in _area_files(self.recipe, areas):
            yield self._hash(path)

    def _hash(self, path: Path) -> str:
        if path not in self._files:
            try:
                with open_regular(path) as stream:
                    self._files[path] = hashlib.file_digest(stream, "sha256").hexdigest()
            except OSError as error:
                self._files[path] = f"unreadable: {error.strerror}"
        return self._files[path]


def _digest(facts: Any) -> str:
    return hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()


def _resolved(recipe: Recipe, mood: ResolvedMood) -> list[Any]:
    """Give everything that the model says of a mood and its lights."""
    parts: list[BaseModel | None] = [
        mood.daylight,
        mood.camera,
        mood.look,
        mood.plate,
        *mood.overlays,
        *mood.regions,
    ]
    parts += [*mood.lights.values(), *recipe.model.lights.values(), recipe.model.passes.repair]
    passes, project = recipe.model.passes, recipe.model.project
    dumped = [part and part.model_dump(mode="json") for part in [*parts, project]]
    groups = sorted((name, list(lights)) for name, lights in recipe.model.groups.items())
    return [dumped, groups, mood.title, passes.colour_space, passes.luminance_scale]


def _on(mood: ResolvedMood) -> list[str]:
    return [light for light, setting in mood.lights.items() if not setting.off]


def _matched(recipe: Recipe, mood: ResolvedMood) -> set[str]:
    """Lights that the solved gains of a mood follow from: all that are on where one is solved."""
    found = set(_on(mood)) if any(s.match for s in mood.lights.values()) else set()
    counted = [s.counted.mood for s in mood.lights.values() if s.counted and not s.match]
    return found.union(*(_matched(recipe, recipe.moods[base]) for base in set(counted)))


def side_files(recipe: Recipe, mood: ResolvedMood) -> Iterator[tuple[str, Path]]:
    """Other files that a mood's pictures follow from, by their names in the recipe."""
    repair = recipe.model.passes.repair
    for file in (repair.albedo, repair.normal):
        if file is not None:
            yield file, recipe.pass_path(file)
    names = [overlay.file for overlay in mood.overlays]
    if mood.plate is not None:
        names.append(mood.plate.file)
    names += [lut.file for lut in mood.look.grade.luts]
    if mood.look.grade.cdl is not None and mood.look.grade.cdl.file is not None:
        names.append(mood.look.grade.cdl.file)
    for name in names:
        yield name, recipe.beside(name)
    if mood.look.view is not None and "://" not in mood.look.view.config:
        yield from _view_files(recipe, mood.look.view)
    areas = [region.area for region in mood.regions]
    if isinstance(mood.camera.meter, Meter) and mood.camera.meter.area is not None:
        areas.append(mood.camera.meter.area)
    areas += [s.match.area for s in mood.lights.values() if s.match and s.match.area]
    yield from _area_files(recipe, areas)


def _view_files(recipe: Recipe, view: View) -> Iterator[tuple[str, Path]]:
    """Give the config and what it refers to, which is named from the config's folder."""
    from evenfall.look.opencolorio import view_files

    config = recipe.beside(view.config).absolute()
    yield view.config, config
    for path in view_files(view, recipe.path.parent):
        within = path.is_relative_to(config.parent)
        named = path.relative_to(config.parent) if within else path
        yield f"{view.config}: {named.as_posix()}", path


def _area_files(recipe: Recipe, areas: Sequence[Area | None]) -> Iterator[tuple[str, Path]]:
    for area in areas:
        if area is not None and area.mask is not None:
            yield area.mask, recipe.beside(area.mask)
        if area is not None and area.ids is not None:
            yield area.ids, recipe.pass_path(area.ids)
