"""A run of frames as a whole: what is missing is told first, then frames are made."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeAlias

from evenfall.advice.hours import notes_on_hours
from evenfall.deliver.film import require_encoder
from evenfall.errors import Fault
from evenfall.produce.events import FrameDone, FramesPlanned, OnEvent
from evenfall.produce.films import films_of, is_to_be_made, make_films, spent_frames
from evenfall.produce.folder import enter_folder
from evenfall.produce.frames import (
    FrameMade,
    Strip,
    claimed_names,
    frames_of_films,
    make_frames,
    missing_frames,
)
from evenfall.recipe import Recipe
from evenfall.recipe.clock import frames_text
from evenfall.recipe.words.suggesting import joined
from evenfall.record.frames_report import FramesReport
from evenfall.record.naming import pictures_folder
from evenfall.record.values import FileReport

__all__ = ["MakeFrames", "frames_folder", "run_frames"]

MakeFrames: TypeAlias = Callable[..., Iterator[FrameMade]]
"""`make_frames`, or who takes its arguments and has others make the frames."""


def frames_folder(recipe: Recipe, *, draft: bool) -> Path:
    """Give the folder of frames: in that of the pictures, so that these are found among them."""
    return pictures_folder(recipe, draft=draft) / "frames"


def run_frames(
    strip: Strip,
    out: Path | None = None,
    *,
    draft: bool = False,
    overwrite: bool = False,
    dry_run: bool = False,
    keep_going: bool = False,
    workers: int | None = None,
    on_event: OnEvent | None = None,
    make: MakeFrames = make_frames,
) -> FramesReport:
    """Make the frames of a strip.

    Frames that stand already and would come out the same are kept, so that a run that was stopped
    goes on where it was. A frame that cannot be made is told, and the others are made.

    Parameters
    ----------
    strip : Strip
        What is made.
    out : Path, optional
        Folder of the files; `frames` in the folder of the pictures otherwise.
    draft, overwrite, dry_run, keep_going, workers, on_event
        As for a run.
    make : callable
        Makes the frames.

    Raises
    ------
    UsageError, RecipeError, PassError, PixelSourceError, OutputError
        When no frame can be made.
    """
    begun, recipe = time.perf_counter(), strip.recipe
    folder = frames_folder(recipe, draft=draft) if out is None else out.absolute()
    gone = {} if keep_going else missing_frames(strip)
    there = tuple(frame for frame in strip.frames if frame not in gone)
    faults = _told(recipe, gone)
    notes = notes_on_hours(recipe) if strip.hour else ()
    if not draft and not _is_delivered(strip):
        notes += (f"no deliverable is of {joined(strip.moods, 'or')}, so no frames are made",)
        there = ()
    report = FramesReport(
        recipe=recipe.path, out=folder, shown=strip.moods, failed=tuple(gone), faults=faults,
        notes=notes, dry_run=dry_run, made=there if dry_run else (),
    )  # fmt: skip
    if dry_run or not there:
        return report
    if on_event is not None:
        on_event(FramesPlanned(len(there)))
    rest = Strip(recipe, strip.hour, strip.moods, there, strip.first)
    films = [] if draft else films_of(strip, folder)
    spent = spent_frames(films)
    needed = frames_of_films(strip) if films else ()
    if not set(needed) <= set(strip.frames):
        names = joined((film.path.name for film in films), "and")
        notes += (f"{names}: made when all frames are asked for, {frames_text(needed)}",)
        films = []
    further: dict[str, Any] = {"draft": draft, "overwrite": overwrite, "workers": workers}
    further["keep_going"] = keep_going
    for film in films:
        require_encoder(film.deliverable)
    with enter_folder(folder, claimed_names(rest, folder)):
        found = _made(make, rest, folder, spent, on_event, **further)
        if any(is_to_be_made(film, found) and _lacks_frames(found) for film in films):
            found = _made(make, rest, folder, {}, None, **further)
    made_films: list[FileReport] = []
    if films and not gone and not any(one.faults for one in found):
        made_films, film_faults = make_films(strip, films, found, overwrite=overwrite)
        faults = (*faults, *film_faults)
    elif films:
        names = joined((film.path.name for film in films), "and")
        faults = (*faults, Fault("", "", f"{names}: not made, as frames are missing"))
    return report.model_copy(
        update={
            "made": tuple(
                sorted(each.frame for each in found if not each.faults and not each.is_kept)
            ),
            "kept": tuple(sorted(each.frame for each in found if each.is_kept)),
            "failed": tuple(sorted((*gone, *(each.frame for each in found if each.faults)))),
            "faults": (*faults, *_of_frames(found)),
            "films": tuple(made_films),
            "notes": notes,
            "seconds": round(time.perf_counter() - begun, 3),
        }
    )


def _lacks_frames(found: list[FrameMade]) -> bool:
    """Whether some frames are in a film that stands, and nowhere else."""
    return any(file.kept and not file.path.exists() for one in found for file in one.files)


def _made(
    make: MakeFrames,
    strip: Strip,
    folder: Path,
    spent: Mapping[Path, str],
    on_event: OnEvent | None,
    **further: Any,
) -> list[FrameMade]:
    found = []
    for made in make(strip, folder, spent=spent, on_event=on_event, **further):
        found.append(made)
        if on_event is not None:
            on_event(FrameDone(made.frame))
    return sorted(found, key=lambda one: one.frame)


def _is_delivered(strip: Strip) -> bool:
    model = strip.recipe.model
    return any(
        name in model.shown_by(number, is_walk=strip.recipe.has_frames)
        for number in range(len(model.deliverables))
        for name in strip.moods
    )


def _told(recipe: Recipe, gone: dict[int, tuple[str, ...]]) -> tuple[Fault, ...]:
    """Say which frames are not there: by pass, all numbers in a line."""
    if not gone:
        return ()
    first = next(iter(gone))
    files = joined(gone[first], "and", most=4)
    if len(gone) == 1:
        found = f"passes are missing for frame {first}: {files}"
        hint = "render this frame, or leave it out with --frames"
    else:
        found = f"passes are missing for frames {frames_text(gone)}; of frame {first}: {files}"
        hint = "render these frames, or leave them out with --frames"
    return (Fault(str(recipe.passes_folder), "", found, "", hint),)


def _of_frames(found: list[FrameMade]) -> tuple[Fault, ...]:
    """Say why frames could not be made: what is the same of many in one line."""
    frames: dict[Fault, list[int]] = {}
    for made in found:
        for fault in made.faults:
            frames.setdefault(fault, []).append(made.frame)
    return tuple(
        replace(fault, found=f"frame {frames_text(numbers)}: {fault.found}")
        for fault, numbers in frames.items()
    )
