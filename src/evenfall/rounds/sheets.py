"""Before, after and difference drawn, of whatever was compared."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from evenfall.compare.pictures import PictureDifference
from evenfall.errors import Fault, OutputError, UsageError
from evenfall.rounds.comparing import Compared
from evenfall.system.atomic import write_atomically

__all__ = ["check_free", "write_map", "write_sheet"]


def check_free(path: Path | None, *, overwrite: bool) -> None:
    """Refuse a drawing that cannot be written, before anything is compared.

    Raises
    ------
    UsageError
        When its name does not end in .png.
    OutputError
        When the file exists and may not be replaced.
    """
    if path is None:
        return
    if path.suffix.lower() != ".png":
        raise UsageError(Fault(str(path), "", "a drawing is a PNG file", "", "let it end in .png"))
    if path.exists() and not overwrite:
        raise OutputError(Fault(str(path), "", "the file exists already", "", "use --overwrite"))


def write_sheet(compared: Compared, path: Path, *, overwrite: bool) -> None:
    """Draw before, after and a map of each mood that was compared by pictures.

    Raises
    ------
    UsageError
        When no pictures were compared.
    OutputError
        When the file cannot be written.
    """
    from evenfall.deliver.png import encode_png
    from evenfall.drawings.before_after import BeforeAfter, draw_before_after

    names = compared.before.name, compared.after.name
    rows = [
        BeforeAfter(
            title=_title(compared, mood),
            figures=found.figures,
            before=found.before.codes(),
            after=found.after.codes(),
            difference=found.map,
            names=names,
        )
        for mood, found in _pictures(compared).items()
    ]
    title, subtitle = _head(compared)
    write_atomically(
        path, encode_png(draw_before_after(rows, title, subtitle)), overwrite=overwrite
    )


def write_map(compared: Compared, path: Path, *, overwrite: bool) -> None:
    """Draw where two pictures differ.

    Raises
    ------
    UsageError
        When no pictures were compared, or those of several moods.
    OutputError
        When the file cannot be written.
    """
    from evenfall.deliver.png import encode_png
    from evenfall.drawings.before_after import draw_difference_map

    pictures = _pictures(compared)
    if len(pictures) > 1:
        hint = "say --sheet, which has a map of each"
        raise UsageError(Fault("--map", "", "several moods were compared", "", hint))
    [found] = pictures.values()
    drawn = draw_difference_map(found.map, " and ".join(_names(compared)), found.figures)
    write_atomically(path, encode_png(drawn), overwrite=overwrite)


def _pictures(compared: Compared) -> Mapping[str, PictureDifference]:
    if not compared.pictures:
        found = f"{compared.before.name} and {compared.after.name} have no pictures in common"
        hint = "keep a round of each, or name two pictures"
        raise UsageError(Fault("", "", found, "", hint))
    return compared.pictures


def _names(compared: Compared) -> list[str]:
    return [Path(side.name).name for side in (compared.before, compared.after)]


def _title(compared: Compared, mood: str) -> str:
    recipe = compared.after.recipe
    return recipe.moods[mood].title if recipe is not None and mood in recipe.moods else mood


def _head(compared: Compared) -> tuple[str, str]:
    recipe = compared.after.recipe
    if recipe is None:
        return "Before and after", " and ".join(_names(compared))
    project = recipe.model.project
    return project.title or recipe.path.stem, project.view or ""
