"""A run of frames as a whole: what is missing is told first, then frames are made."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

from evenfall.advice.hours import notes_on_hours
from evenfall.errors import Fault
from evenfall.produce.events import FrameDone, FramesPlanned, OnEvent
from evenfall.produce.frames import FrameMade, Strip, make_frames, missing_frames
from evenfall.recipe import Recipe
from evenfall.recipe.clock import frames_text
from evenfall.recipe.words.suggesting import joined
from evenfall.record.frames_report import FramesReport
from evenfall.record.naming import pictures_folder

__all__ = ["frames_folder", "run_frames"]


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
    workers: int | None = None,
    on_event: OnEvent | None = None,
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
    draft, overwrite, dry_run, workers, on_event
        As for a run.

    Raises
    ------
    UsageError, RecipeError, PassError, PixelSourceError, OutputError
        When no frame can be made.
    """
    begun, recipe = time.perf_counter(), strip.recipe
    folder = frames_folder(recipe, draft=draft) if out is None else out.absolute()
    gone = missing_frames(strip)
    there = tuple(frame for frame in strip.frames if frame not in gone)
    faults = _told(recipe, gone)
    notes = notes_on_hours(recipe) if strip.hour else ()
    report = FramesReport(
        recipe=recipe.path, out=folder, shown=strip.moods, failed=tuple(gone), faults=faults,
        notes=notes, dry_run=dry_run, made=there if dry_run else (),
    )  # fmt: skip
    if dry_run or not there:
        return report
    if on_event is not None:
        on_event(FramesPlanned(len(there)))
    found: list[FrameMade] = []
    rest = Strip(recipe, strip.hour, strip.moods, there, strip.first)
    for made in make_frames(
        rest, folder, draft=draft, overwrite=overwrite, workers=workers, on_event=on_event
    ):
        found.append(made)
        if on_event is not None:
            on_event(FrameDone(made.frame))
    return report.model_copy(
        update={
            "made": tuple(
                sorted(each.frame for each in found if not each.faults and not each.is_kept)
            ),
            "kept": tuple(sorted(each.frame for each in found if each.is_kept)),
            "failed": tuple(sorted((*gone, *(each.frame for each in found if each.faults)))),
            "faults": (*faults, *_of_frames(found)),
            "seconds": round(time.perf_counter() - begun, 3),
        }
    )


def _told(recipe: Recipe, gone: dict[int, tuple[str, ...]]) -> tuple[Fault, ...]:
    """Say which frames are not there: by pass, all numbers in a line."""
    if not gone:
        return ()
    found = f"passes are missing for frames {frames_text(gone)}"
    first = next(iter(gone))
    files = joined(gone[first], "and", most=4)
    hint = "render these frames, or leave them out with --frames"
    return (Fault(str(recipe.passes_folder), "", f"{found}; of frame {first}: {files}", "", hint),)


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
