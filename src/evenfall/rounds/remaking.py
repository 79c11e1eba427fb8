"""A picture or a round made again, and what is to blame where the bytes are others."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.errors import Fault, OutputError, UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.clock import frame_numbers, frames_text
from evenfall.record.frames_report import FramesReport
from evenfall.record.report import RunReport
from evenfall.record.round_record import RoundRecord
from evenfall.record.rounds import find_round, rounds_folder
from evenfall.record.values import FileReport
from evenfall.record.versions import versions
from evenfall.rounds.tracing import Traced
from evenfall.system.regular import read_whole

if TYPE_CHECKING:
    from evenfall.produce.events import OnEvent

__all__ = ["Remade", "remade_folder", "remake_picture", "remake_round"]


@dataclass(frozen=True)
class Remade:
    """Files that were made again.

    Parameters
    ----------
    report : RunReport or FramesReport
        Of the run that made them.
    same : tuple of Path
        Those that are what they were, byte for byte.
    others : tuple of Path
        Those that are not.
    reasons : tuple of str
        Why they may differ: passes, other files, programs.
    """

    report: RunReport | FramesReport
    same: tuple[Path, ...]
    others: tuple[Path, ...]
    reasons: tuple[str, ...]


def remake_picture(
    traced: Traced,
    out: Path,
    *,
    passes: Path | None = None,
    overwrite: bool = False,
    on_event: OnEvent | None = None,
) -> Remade:
    """Make a picture, or a film, again from what it carries.

    Parameters
    ----------
    traced : Traced
        From `trace_picture`.
    out : Path
        Folder for it.
    passes : Path, optional
        Folder of the passes instead of the recipe's own.
    overwrite : bool
        Whether files there may be replaced.
    on_event : callable, optional
        Told of progress.

    Raises
    ------
    UsageError
        When its passes are not at hand; when it is a film, and others of its frames are.
    RecipeError, PassError, PixelSourceError, OutputError
        As for a run.
    """
    from evenfall.produce.running import run

    traced.refuse_several()
    missing = [light for light, state in traced.passes.items() if state == "missing"]
    if missing:
        hint = "say where its recipe lay (--home DIR), or its passes (--passes DIR)"
        found = f"its passes are not at hand: {', '.join(missing)}"
        raise UsageError(Fault(str(traced.picture), "", found, "", hint))
    record, recipe = traced.record, traced.recipe(passes)
    if record.mood and all(one.row.moves for one in recipe.model.deliverables):
        return _remake_film(traced, recipe, out, overwrite=overwrite, on_event=on_event)
    report = run(
        recipe,
        moods=[record.mood] if record.mood else (),
        out=out,
        draft=record.draft,
        overwrite=overwrite,
        on_event=on_event,
    )
    own = [file for file in report.files if file.mood == record.mood]
    same = tuple(file.path for file in own if file.sha256 == traced.sha256)
    others = () if same else tuple(file.path for file in own)
    return Remade(report, same, others, () if same else tuple(_picture_reasons(traced)))


def _remake_film(
    traced: Traced, recipe: Recipe, out: Path, *, overwrite: bool, on_event: OnEvent | None
) -> Remade:
    from evenfall.produce.frames import frames_of_films, strip_of
    from evenfall.produce.hours import frames_folder, run_frames

    shown = traced.record.frames
    strip = strip_of(recipe, traced.record.mood, frame_numbers(shown) if shown else None)
    there = frames_of_films(strip)
    if there != strip.frames:
        found = f"it shows frames {frames_text(strip.frames)}, and passes are there for "
        found += frames_text(there) or "none"
        hint = "lay the passes of its frames, and no others, into a folder, and name it by --passes"
        raise UsageError(Fault(str(traced.picture), "", found, "", hint))
    folder = out.absolute() / frames_folder(recipe, draft=False).name  # the film lies above it
    report = run_frames(strip, folder, overwrite=overwrite, on_event=on_event)
    if report.faults:
        raise OutputError(report.faults)
    same = tuple(film.path for film in report.films if film.sha256 == traced.sha256)
    others = () if same else tuple(film.path for film in report.films)
    return Remade(report, same, others, () if same else tuple(_picture_reasons(traced)))


def remake_round(
    recipe: Path,
    number: int,
    *,
    out: Path | None = None,
    passes: Path | None = None,
    overwrite: bool = False,
    on_event: OnEvent | None = None,
) -> Remade:
    """Make the deliverables of a kept round again, into a folder of their own.

    Parameters
    ----------
    recipe : Path
        The recipe as it stands, whose rounds they are.
    number : int
        The round.
    out : Path, optional
        Folder for them; `remade/round_2` beside the recipe otherwise.
    passes : Path, optional
        Folder of the passes instead of the recipe's own.
    overwrite : bool
        Whether files there may be replaced.
    on_event : callable, optional
        Told of progress.

    Raises
    ------
    UsageError
        When there is no such round, or it is not whole.
    RecipeError, PassError, PixelSourceError, OutputError
        As for a run.
    """
    from evenfall.produce.running import run

    kept = find_round(rounds_folder(recipe), number)
    loaded = kept.load(recipe, passes=passes)
    folder = out if out is not None else remade_folder(recipe, number)
    report = run(loaded, out=folder, overwrite=overwrite, on_event=on_event)
    assert kept.record is not None  # a round with a recipe has a record
    noted = _noted(kept.record)
    same, others = list[Path](), list[Path]()
    for key, file in _by_kind(report.files).items():
        if key in noted:
            (same if noted[key] == file.sha256 else others).append(file.path)
    reasons = tuple(_round_reasons(kept.record, report)) if others else ()
    return Remade(report, tuple(same), tuple(others), reasons)


def remade_folder(recipe: Path, number: int) -> Path:
    """Where the deliverables of a round go that are made again."""
    return recipe.absolute().parent / "remade" / f"round_{number}"


def _noted(record: RoundRecord) -> dict[tuple[str, str, int], str]:
    """Hashes of a round's deliverables by mood, format, and which of that format it is."""
    found: dict[tuple[str, str, int], str] = {}
    for file in record.deliverables:
        found[file.mood, file.format, _count(found, file.mood, file.format)] = file.sha256
    return found


def _by_kind(
    files: tuple[FileReport, ...] | list[FileReport],
) -> dict[tuple[str, str, int], FileReport]:
    found: dict[tuple[str, str, int], FileReport] = {}
    for file in files:
        found[file.mood, file.format, _count(found, file.mood, file.format)] = file
    return found


def _count(found: Mapping[tuple[str, str, int], object], mood: str, kind: str) -> int:
    return sum(key[:2] == (mood, kind) for key in found)


def _picture_reasons(traced: Traced) -> list[str]:
    reasons = [
        f"the pass of {light} is another file than it was made of"
        for light, state in traced.passes.items()
        if state == "another"
    ]
    here = versions()["evenfall"]
    if traced.record.version != here:
        reasons.append(f"it was made by evenfall {traced.record.version}, and this is {here}")
    return reasons or ["another library, plate or mask: the picture does not carry which"]


def _round_reasons(record: RoundRecord, report: RunReport) -> list[str]:
    reasons = []
    for light, noted in record.passes.items():
        now = report.lights[light].fingerprint if light in report.lights else None
        if now != noted:
            reasons.append(f"the pass of {light} is another file than it was")
    for name, sha256 in record.files.items():
        path = report.recipe.absolute().parent / name
        now = hashlib.sha256(read_whole(path)).hexdigest() if path.is_file() else None
        if now != sha256:
            reasons.append(f"{name} is another file than it was")
    for name in dict.fromkeys((*record.versions, *report.versions)):
        was, here = record.versions.get(name), report.versions.get(name)
        if was != here:
            reasons.append(f"{name} was {was or 'not there'} and is {here or 'not there'}")
    return reasons or ["a file was changed by hand, or something that is not noted"]
