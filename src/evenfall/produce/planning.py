"""The plan of a run: its files, which of them stand already, and what has to be made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.deliver.frame import square_size
from evenfall.deliver.targets import Target, plan_targets, refuse_inputs, sheet_path
from evenfall.develop.asked import Asked
from evenfall.errors import EvenfallError, Fault
from evenfall.passes.notes import notes_on
from evenfall.passes.source import PassSource
from evenfall.record.describing import describe_light, versions
from evenfall.record.digest import Origins, lights_behind, side_files
from evenfall.record.earlier import Earlier
from evenfall.record.fingerprints import Fingerprints
from evenfall.record.kept import load_thumbnail
from evenfall.record.report import FileReport, RunReport

__all__ = ["RunPlan", "plan_run"]


@dataclass(eq=False)
class RunPlan:
    """What a run makes, and what it keeps.

    Parameters
    ----------
    source : PassSource
        Opened passes.
    asked : Asked
        What the recipe says.
    report : RunReport
        With all files of the run, kept or to be made; filled in as the run goes on.
    earlier : Earlier
        What an earlier run in the same folder left.
    origins : Origins
        Records and digests.
    mood_digests : mapping of str to str
        By mood.
    targets_to_make : list of Target
        Files that are not kept.
    to_make : tuple of str
        Moods that have to be mixed.
    sheet : FileReport or None
        The contact sheet, if one is made.
    thumbnails : dict of str to ndarray
        Small pictures of moods that need not be mixed.
    thumbnail_size : tuple of int or None
        Width and height of the sheet's pictures; None when no mood needs one.
    """

    source: PassSource
    asked: Asked
    report: RunReport
    earlier: Earlier
    origins: Origins
    mood_digests: Mapping[str, str]
    targets_to_make: list[Target] = field(default_factory=list)
    to_make: tuple[str, ...] = ()
    sheet: FileReport | None = None
    thumbnails: dict[str, npt.NDArray[np.uint8]] = field(default_factory=dict)
    thumbnail_size: tuple[int, int] | None = None

    def give_up(self, mood: str, error: EvenfallError) -> None:
        """Note why a mood cannot be made, and take its files out of the plan and the report."""
        faults = getattr(error, "faults", (Fault("", f"moods.{mood}", str(error)),))
        self.report.faults += tuple(f for f in faults if f not in self.report.faults)
        self.report.notes.append(f"moods.{mood}: was not made; the faults say why")
        self.report.files = [f for f in self.report.files if f.mood != mood or f.kept]
        self.report.moods.pop(mood, None)
        self.targets_to_make = [one for one in self.targets_to_make if one.mood != mood]
        self.to_make = tuple(name for name in self.to_make if name != mood)

    def lights_behind(self, mood: str) -> tuple[str, ...]:
        """Lights that a mood's pictures follow from."""
        return lights_behind(self.asked, mood)


def plan_run(
    source: PassSource,
    asked: Asked,
    moods: Sequence[str],
    earlier: Earlier,
    fingerprints: Fingerprints,
) -> RunPlan:
    """Plan a run; nothing is written, no pixel is read.

    Parameters
    ----------
    source : PassSource
        Opened passes.
    asked : Asked
        What the recipe says.
    moods : sequence of str
        Chosen moods.
    earlier : Earlier
        What an earlier run left in the folder of the files.
    fingerprints : Fingerprints
        Of the passes.

    Raises
    ------
    RecipeError
        When names of files clash or a file would be written over an input.
    """
    recipe, (width, height) = asked.recipe, source.size
    out, draft = earlier.out, earlier.draft
    targets = plan_targets(
        recipe, moods, out, size=(width, height), pixel_aspect=source.pixel_aspect, draft=draft
    )
    report = RunReport(
        recipe=recipe.path,
        changes=recipe.changes,
        out=out,
        report=earlier.path,
        draft=draft,
        dry_run=False,
        width=width,
        height=height,
        versions=versions(),
    )
    found = _describe_lights(source, asked, moods, fingerprints, report)
    origins = Origins(asked, found, report.versions, draft=draft)
    digests = {mood: origins.mood_digest(mood) for mood in moods}
    plan = RunPlan(source, asked, report, earlier, origins, digests)
    _plan_pictures(plan, targets)
    if recipe.model.sheet.make and tuple(moods) == tuple(recipe.moods):
        _plan_sheet(plan, sheet_path(recipe, out, draft=draft))
    made = {target.mood for target in plan.targets_to_make}
    if plan.sheet is not None and not plan.sheet.kept:
        made |= {mood for mood in moods if mood not in plan.thumbnails}
    plan.to_make = tuple(mood for mood in moods if mood in made)
    report.moods = {
        mood: earlier.moods[mood] for mood in moods if mood not in made and mood in earlier.moods
    }
    report.notes += notes_on(source.sources)
    report.notes += [
        f"moods.{mood}: no deliverable is asked of it, so nothing is made"
        for mood in moods
        if plan.sheet is None and mood not in {target.mood for target in targets}
    ]
    beside = {path for mood in recipe.moods.values() for _, path in side_files(recipe, mood)}
    refuse_inputs(recipe, beside, [file.path for file in report.files])
    return plan


def _describe_lights(
    source: PassSource,
    asked: Asked,
    moods: Sequence[str],
    fingerprints: Fingerprints,
    report: RunReport,
) -> dict[str, str]:
    """Note the passes behind the moods in the report, and give their fingerprints."""
    needed = {light for mood in moods for light in lights_behind(asked, mood)}
    found = {}
    for light, headers in source.sources.items():
        if light in needed:
            # Size and time come before the fingerprint, so that they never speak for an older file.
            report.lights[light] = describe_light(headers)
            fingerprint = report.lights[light].fingerprint = fingerprints.of(light)
            if fingerprint is not None:
                found[light] = fingerprint
    return found


def _plan_pictures(plan: RunPlan, targets: Sequence[Target]) -> None:
    earlier = plan.earlier
    for target in targets:
        file = FileReport(target.path, target.mood, target.deliverable.format)
        file.made_of = plan.origins.digest(target)
        noted = earlier.keep(file) if target.mood in earlier.moods else None
        if noted is not None:
            file.bytes, file.sha256, file.kept = noted.bytes, noted.sha256, True
        else:
            plan.targets_to_make.append(target)
        plan.report.files.append(file)


def _plan_sheet(plan: RunPlan, path: Path) -> None:
    from evenfall.drawings.sheet import picture_size
    from evenfall.produce.sheet import sheet_digest

    recipe, moods, earlier = plan.asked.recipe, list(plan.mood_digests), plan.earlier
    sheet = recipe.model.sheet
    file = FileReport(path, "", sheet.format)
    file.made_of = sheet_digest(
        recipe,
        list(plan.mood_digests.values()),
        plan.origins.sheet_text(moods),
        recipe.changes,
        draft=plan.report.draft,
    )
    noted = earlier.keep(file)
    plan.sheet = file
    plan.report.files.append(file)
    if noted is not None:
        file.bytes, file.sha256, file.kept = noted.bytes, noted.sha256, True
        return
    plan.thumbnail_size = picture_size(
        *square_size(*plan.source.size, plan.source.pixel_aspect), sheet.picture_width
    )
    to_make = {target.mood for target in plan.targets_to_make}
    for mood in moods:
        if mood not in to_make and mood in earlier.moods:
            codes = load_thumbnail(plan.mood_digests[mood], plan.thumbnail_size)
            if codes is not None:
                plan.thumbnails[mood] = codes
