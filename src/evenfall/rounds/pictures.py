"""The pictures that a round keeps of its moods: small, whole, for looking at."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from evenfall.recipe import Deliverable, Recipe
from evenfall.recipe.toml_values import toml_text
from evenfall.record.report import RunReport
from evenfall.record.round_pictures import PICTURE_QUALITY, PICTURE_WIDTH, picture_of
from evenfall.record.values import FileReport
from evenfall.system.partials import temporary_folder
from evenfall.system.processors import default_workers

if TYPE_CHECKING:
    from evenfall.produce.events import OnEvent

__all__ = ["moods_without", "round_pictures"]

_QUICK_FIRST = ("jpeg", "gain-map jpeg", "webp", "png", "tiff")  # to be read


def round_pictures(
    recipe: Recipe, report: RunReport, *, on_event: OnEvent | None = None
) -> tuple[dict[str, bytes], RunReport | None]:
    """Make the pictures of a round, from deliverables that are current where there are any.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    report : RunReport
        Of a dry run: which files are already what a run would make.
    on_event : callable, optional
        Told of progress where moods have to be developed.

    Returns
    -------
    pictures : dict of str to bytes
        JPEG files by mood.
    developed : RunReport or None
        Of what had to be developed for them.
    """
    sources = {mood: _source(recipe, report, mood) for mood in recipe.moods}
    known = {mood: file for mood, file in sources.items() if file is not None}
    with ThreadPoolExecutor(default_workers(), "picture") as pool:
        made = pool.map(lambda file: picture_of(file.path, file.sha256), known.values())
        found = dict(zip(known, made, strict=True))
    missing = [mood for mood in recipe.moods if mood not in found]
    developed = None
    if missing:
        some, developed = _developed(recipe, missing, report.width, on_event)
        found |= some
    return {mood: found[mood] for mood in recipe.moods if mood in found}, developed


def moods_without(recipe: Recipe, report: RunReport) -> tuple[str, ...]:
    """Moods of which no current deliverable shows the whole picture."""
    return tuple(mood for mood in recipe.moods if _source(recipe, report, mood) is None)


def _source(recipe: Recipe, report: RunReport, mood: str) -> FileReport | None:
    """Give a current deliverable that shows the whole picture, large enough, quick to be read."""
    files = [file for file in report.files if file.mood == mood]
    kinds = [one for one in recipe.model.deliverables if not one.moods or mood in one.moods]
    usable = [
        (width < PICTURE_WIDTH, _QUICK_FIRST.index(kind.format), abs(width - PICTURE_WIDTH), file)
        for file, kind in _pairs(files, kinds)
        if file.kept and kind.format in _QUICK_FIRST and not _is_cropped(kind)
        for width in [_width(kind, report)]
        if width >= min(PICTURE_WIDTH, report.width)
    ]
    return min(usable, key=lambda one: one[:3])[3] if usable else None


def _pairs(
    files: Sequence[FileReport], kinds: Sequence[Deliverable]
) -> Iterable[tuple[FileReport, Deliverable]]:
    return zip(files, kinds, strict=True) if len(files) == len(kinds) else ()


def _is_cropped(kind: Deliverable) -> bool:
    return bool(kind.crop or (kind.width and kind.height))


def _width(kind: Deliverable, report: RunReport) -> int:
    if kind.print is not None:
        return round(kind.print.width_mm / 25.4 * kind.print.dpi)
    if kind.height is not None:
        return round(kind.height * report.width / report.height)
    return kind.width or report.width


def _developed(
    recipe: Recipe, moods: Sequence[str], full_width: int, on_event: OnEvent | None
) -> tuple[dict[str, bytes], RunReport]:
    """Develop moods, only for these pictures."""
    from evenfall.produce.running import run

    kind = {
        "format": "jpeg",
        "width": min(PICTURE_WIDTH, full_width),
        "quality": PICTURE_QUALITY,
        "name": "{mood}",
    }
    changed = recipe.with_changes(
        f"deliverables={toml_text([kind])}", "sheet.make=false", "record=none", check_files=False
    )
    with temporary_folder("round") as folder:
        report = run(changed, moods=moods, out=folder, on_event=on_event)
        return {file.mood: file.path.read_bytes() for file in report.files if file.mood}, report
