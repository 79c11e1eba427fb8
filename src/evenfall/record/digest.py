"""What a picture follows from that is known before a file is opened, and the record inside it.

The bytes of a picture follow from facts and from files. The facts are the part of the recipe that
speaks of it, what that comes to (balance, camera, meter, look), size and primaries of the passes,
and the versions of the programs: `Origins` makes a digest of them before a pixel is read. Which
files were opened is found out by opening them, and is never listed. A later run with the same facts
makes the same picture as long as the files that were opened then are the same.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from evenfall.deliver.provenance import Provenance
from evenfall.develop.asked import Asked
from evenfall.develop.opening import open_passes
from evenfall.passes.source import PassSource
from evenfall.recipe import Deliverable
from evenfall.recipe.changes import parse_change
from evenfall.recipe.resolve import chain
from evenfall.record.excerpt import excerpt, relevant_changes, renumbered, speaks_of_sequence
from evenfall.record.on_its_own import on_their_own, pinned
from evenfall.record.values import MoodReport

__all__ = ["Origins"]


class Origins:
    """Facts and records of a run's pictures.

    Parameters
    ----------
    asked : Asked
        What the recipe says.
    source : PassSource
        Opened passes.
    versions : mapping of str to str
        Of the programs that make a difference.
    looks : mapping of str to sequence of Path
        By mood: the files that its look is made of. Which these are may hang on more than the
        recipe: a studio's config finds them by a search path and by variables of the environment.
    draft : bool
        Whether drafts are made.
    """

    def __init__(
        self,
        asked: Asked,
        source: PassSource,
        versions: Mapping[str, str],
        looks: Mapping[str, Sequence[Path]],
        *,
        draft: bool,
    ) -> None:
        self._asked, self._source, self._draft = asked, source, draft
        self._recipe, self._versions, self._looks = asked.recipe, dict(versions), looks
        self._texts: dict[tuple[frozenset[str], int | None, bool], str] = {}
        self._moods: dict[str, str] = {}

    def mood_facts(self, mood: str) -> str:
        """Digest of the facts that all pictures of a mood follow from."""
        if mood not in self._moods:
            self._moods[mood] = _digest(self._facts(mood))
        return self._moods[mood]

    def file_facts(self, mood: str, number: int, deliverable: Deliverable) -> str:
        """Digest of the facts that one file of a mood follows from.

        Parameters
        ----------
        mood : str
            Whose.
        number : int
            Which deliverable of the recipe it comes from.
        deliverable : Deliverable
            What it is to be.
        """
        draft = self._recipe.model.draft
        return _digest(
            {
                "mood": self.mood_facts(mood),
                "text": self._text(mood, number),
                "changes": self._changes(mood, number),
                "deliverable": _dump(deliverable),
                "draft": _dump(draft) if self._draft else None,
            }
        )

    def sheet_facts(self, moods: Sequence[str], logo: str) -> str:
        """Digest of the facts that the contact sheet follows from, the logo's SHA-256 with them."""
        model = self._recipe.model
        return _digest(
            [
                [self.mood_facts(mood) for mood in moods],
                self._excerpt(set(moods), None, sheet=True),
                list(self._recipe.changes),
                _dump(model.sheet),
                _dump(model.project),
                self._draft,
                logo,
            ]
        )

    def picture_record(
        self, mood: str, number: int, exposure_stops: float, passes: Mapping[str, str]
    ) -> Provenance:
        """Record to embed in a picture.

        Parameters
        ----------
        mood : str
            Whose.
        number : int
            Which deliverable of the recipe it comes from.
        exposure_stops : float
            What the mood was exposed by.
        passes : mapping of str to str
            Fingerprints of the passes that it follows from, by light.
        """
        title = self._recipe.moods[mood].title
        text, changes = self._text(mood, number), self._recorded(mood, number, exposure_stops)
        if self._is_metered_elsewhere(mood):  # and so the text alone makes it without what is read
            lights = self._asked.lights_without_meter(mood, self._source.space)
            passes = {light: passes[light] for light in lights if light in passes}
        return self._record(mood, text, changes, title, passes)

    def sheet_record(self, moods: Mapping[str, MoodReport]) -> Provenance:
        """Record to embed in the contact sheet, which shows all moods.

        Parameters
        ----------
        moods : mapping of str to MoodReport
            What they came to.
        """
        known = {light: one for mood in moods.values() for light, one in mood.passes.items()}
        passes = {light: known[light] for light in self._source.sources if light in known}
        text = self._excerpt(set(self._recipe.moods), None, sheet=True)
        changes = self._recipe.changes + on_their_own(self._recipe, self._recipe.moods)
        for mood in self._recipe.exposed_as:
            if mood in moods:
                changes += pinned(mood, moods[mood].exposure.stops)
        return self._record("", text, changes, "", passes)

    def _record(
        self,
        mood: str,
        text: str,
        changes: tuple[str, ...],
        title: str,
        passes: Mapping[str, str],
    ) -> Provenance:
        project = self._recipe.model.project
        return Provenance(
            recipe=self._recipe.path.name,
            recipe_text=text,
            mood=mood,
            passes=passes,
            version=self._versions["evenfall"],
            changes=changes,
            draft=self._draft,
            is_told=self._recipe.model.record != "none",
            title=" - ".join(part for part in (project.title, project.view, title) if part),
            author=project.author or "",
            copyright=project.copyright or "",
        )

    def _recorded(self, mood: str, number: int, exposure_stops: float) -> tuple[str, ...]:
        """Give the changes under which the embedded text makes the picture again.

        When another mood was metered, which the text does not hold, they pin the exposure.
        """
        changes = self._changes(mood, number)
        if self._recipe.model.record != "with comments":
            changes = renumbered(changes)
        changes += on_their_own(self._recipe, self._moods_of(mood))
        if self._asked.taken(mood):
            for key in self._asked.keys(mood):  # what lies between equal ones is the same
                changes += pinned(key, exposure_stops)
        elif self._is_metered_elsewhere(mood):
            changes += pinned(mood, exposure_stops)
        return changes

    def _is_metered_elsewhere(self, mood: str) -> bool:
        """Whether a mood is metered that its text does not hold."""
        plan = self._asked.meter(mood)
        return plan is not None and plan.mood not in self._moods_of(mood)

    def _text(self, mood: str, number: int | None) -> str:
        """Text to embed: the part of the recipe that speaks of a picture."""
        return self._excerpt(self._moods_of(mood), number)

    def _moods_of(self, mood: str) -> set[str]:
        """Name the mood, those it builds on, and those that hold its neutral spot."""
        own = (mood, *self._asked.neutral_moods(mood))
        if self._recipe.moods[mood].between is not None:
            own = self._asked.behind(mood)  # its exposure cannot be pinned in the record
        names = {name for each in own for name, _ in chain(self._recipe.model, each)}
        return {*names, mood}

    def _excerpt(self, moods: set[str], deliverable: int | None, *, sheet: bool = False) -> str:
        if "deliverables" not in self._recipe.model.model_fields_set:
            deliverable = None  # the text speaks of none
        key = frozenset(moods), deliverable, sheet
        if key not in self._texts:
            self._texts[key] = excerpt(
                self._recipe, moods, deliverable, draft=self._draft, sheet=sheet
            )
        return self._texts[key]

    def _changes(self, mood: str, deliverable: int | None = None) -> tuple[str, ...]:
        moods, changes = self._moods_of(mood), self._recipe.changes
        of_frame = speaks_of_sequence(self._recipe, moods)  # the text holds all but which it is
        changes = tuple(
            one
            for one in changes
            if (place := parse_change(one).place)[0] != "sequence"
            or (of_frame and place[1:] == ("frame",))
        )
        return relevant_changes(changes, moods, deliverable, draft=self._draft)

    def _facts(self, mood: str) -> dict[str, Any]:
        model, resolved, source = self._recipe.model, self._recipe.moods[mood], self._source
        balance = self._asked.balance(mood, source.space)
        return {
            "versions": self._versions,
            "recipe": self._recipe.path.name,
            "text": self._text(mood, None),
            "changes": self._changes(mood),
            "draft": model.draft.width if self._draft else None,
            "view": [*source.size, source.pixel_aspect, source.luminance_scale],
            "space": source.space.chromaticities,
            "title": resolved.title,
            "parts": [
                _dump(part)
                for part in (
                    resolved.camera,
                    resolved.look,
                    *(plate for plate, _ in resolved.backgrounds),
                    *resolved.overlays,
                    *resolved.regions,
                    model.passes.repair,
                    model.project,
                )
            ],
            "groups": {name: list(lights) for name, lights in model.groups.items()},
            "gains": self._gains(mood, balance.lights),
            "meter": self._metered(mood),
            "neutral": {
                other: self._gains(other, self._asked.balance(other, source.space).on)
                for other in self._asked.neutral_moods(mood)
            },
            "between": self._between(mood),
            "look": [
                Path(os.path.relpath(path, self._recipe.path.parent)).as_posix()
                for path in self._looks.get(mood, ())
            ],
        }

    def _between(self, mood: str) -> Any:
        """Everything of the moods between which a frame stands, and what moves on."""
        resolved = self._recipe.moods[mood]
        shares = [weight for _, weight in resolved.backgrounds]
        between = resolved.between
        if between is None:
            return [resolved.phase, shares] if resolved.phase else None
        keys = [self._facts(key) for key in self._asked.keys(mood)]
        return [resolved.phase, shares, between.share, keys]

    def _metered(self, mood: str) -> Any:
        """Everything of the metered mood that the reading follows from."""
        elsewhere = self._asked.taken(mood)
        if elsewhere:
            return {key: _exposed(asked, key) for key, asked in elsewhere.items()}
        plan = self._asked.meter(mood)
        if plan is None:
            return None
        return [plan.mood, _dump(plan.meter), self._gains(plan.mood, plan.lights)]

    def _gains(self, mood: str, lights: Iterable[str]) -> dict[str, Any]:
        """Say what lights come to in a mood, and what gains that are solved hang on."""
        balance, lights = self._asked.balance(mood, self._source.space), list(lights)
        matchings, counted = self._asked.matchings(mood), self._asked.counted(mood)
        facts: dict[str, Any] = {light: asdict(balance.lights[light]) for light in lights}
        facts |= {
            f"{light} counts": [step.stops, self._gains(step.mood, [light])]
            for light, step in counted.items()
            if light in lights
        }
        solved = {light for matching in matchings for light in matching.lights}
        if solved.intersection(lights):
            concerned = dict.fromkeys(
                light for matching in matchings for light in (*matching.lights, *matching.others)
            )
            facts["matchings"] = [
                [matching.lights, matching.others, _dump(matching.match)] for matching in matchings
            ]
            facts["matched"] = {light: asdict(balance.lights[light]) for light in concerned}
        return facts


def _exposed(asked: Asked, mood: str) -> Any:
    """Everything of a mood of another view that its exposure follows from."""
    recipe, source = asked.recipe, open_passes(asked.recipe, keep_going=True)
    there = Origins(asked, source, {}, {}, draft=False)
    camera, passes = recipe.moods[mood].camera, recipe.model.passes
    return [
        [_dump(camera), _dump(passes.repair), passes.luminance_scale, passes.colour_space],
        there._metered(mood),
    ]


def _dump(part: BaseModel | None) -> Any:
    return part and part.model_dump(mode="json")


def _digest(facts: Any) -> str:
    text = json.dumps(facts, sort_keys=True)
    return hashlib.sha256(text.encode(errors="surrogatepass")).hexdigest()
