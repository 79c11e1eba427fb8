"""`evenfall compare`: what differs between two recipes, rounds or pictures."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenfall.cli.differences import difference_lines
from evenfall.cli.options import json_option
from evenfall.cli.saying import say, say_json
from evenfall.errors import EvenfallError

if TYPE_CHECKING:
    from evenfall.compare.pictures import PictureDifference
    from evenfall.rounds.comparing import Compared

__all__ = ["command"]

_TROUBLE = 2  # as of diff: 0 is equal, 1 different


@click.command("compare", short_help="What differs between two recipes, rounds or pictures.")
@click.argument("before")
@click.argument("after")
@click.option(
    "--recipe",
    type=click.Path(path_type=Path),
    metavar="RECIPE",
    help="Whose rounds (default: those in the folder 'rounds' here).",
)
@click.option(
    "--sheet",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Also draw before, after and a map of the difference: a PNG file.",
)
@click.option(
    "--map",
    "map_file",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Also draw where two pictures differ: a PNG file.",
)
@click.option("--full", is_flag=True, help="Compare every pixel, not pictures reduced to 1600.")
@click.option("--overwrite", is_flag=True, help="Replace a sheet or map that exists.")
@json_option
def command(
    before: str,
    after: str,
    recipe: Path | None,
    sheet: Path | None,
    map_file: Path | None,
    full: bool,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Compare BEFORE with AFTER: recipes, rounds ('2', 'now') or pictures.

    \b
      evenfall compare 2 now                         what the recipe says that round 2 did not
      evenfall compare view.toml other.toml
      evenfall compare 1 2 --sheet what_changed.png  with the pictures that the rounds keep
      evenfall compare old.png new.png --map where.png

    Recipes and rounds are compared in words, mood by mood and light by light, including what a mood
    inherits; saying the same thing in another way is no difference. Pictures are compared by
    CIEDE2000, averaged down to 1600 pixels in linear light: a difference of 1 can just be seen side
    by side, and from 2 upwards it is noticed (common practice). A picture compared with a recipe
    stands for the recipe it carries.

    The exit code is 0 if they are equal, 1 if they differ, 2 if they cannot be compared.
    """  # noqa: D301 -- click needs the backspace itself
    try:
        compared = _compare(before, after, recipe, sheet, map_file, full=full, overwrite=overwrite)
    except EvenfallError as error:
        say(str(error), err=True)
        sys.exit(_TROUBLE)
    if as_json:
        say_json(_as_json(compared))
    else:
        for line in _lines(compared):
            say(line)
    sys.exit(0 if compared.is_equal else 1)


def _compare(
    before: str,
    after: str,
    recipe: Path | None,
    sheet: Path | None,
    map_file: Path | None,
    *,
    full: bool,
    overwrite: bool,
) -> Compared:
    from evenfall.compare.pictures import COMPARED_WIDTH
    from evenfall.rounds.comparing import compare_states, side_of
    from evenfall.rounds.sheets import check_free, write_map, write_sheet

    for path in (sheet, map_file):
        check_free(path, overwrite=overwrite)
    one, other = side_of(before, recipe), side_of(after, recipe)
    width = None if full else COMPARED_WIDTH
    compared = compare_states(one, other, pictures=sheet is not None, width=width)
    if sheet is not None:
        write_sheet(compared, sheet, overwrite=overwrite)
    if map_file is not None:
        write_map(compared, map_file, overwrite=overwrite)
    return compared


def _lines(compared: Compared) -> list[str]:
    found = compared.recipes
    lines = []
    if found is not None:
        lines += [f"{mood} is new" for mood in found.added]
        lines += [f"{mood} is gone" for mood in found.removed]
        for mood, some in found.moods.items():
            lines += [mood, *difference_lines(some)]
        if found.shared:
            lines += ["of the whole view", *difference_lines(found.shared)]
    lines += [_picture_line(mood, figures) for mood, figures in compared.pictures.items()]
    if compared.is_equal:
        lines.append(f"{compared.before.name} and {compared.after.name} are equal")
    return lines


def _picture_line(mood: str, found: PictureDifference) -> str:
    across, down = (f"{round(100 * share)} %" for share in found.largest_at)
    where = "" if found.is_equal else f" (at {across} across, {down} down)"
    name = f"{mood}: " if mood else ""
    return f"{name}CIEDE2000 {found.figures}{where}"


def _as_json(compared: Compared) -> dict[str, Any]:
    found = compared.recipes
    told: dict[str, Any] = {
        "before": compared.before.name,
        "after": compared.after.name,
        "equal": compared.is_equal,
    }
    if found is not None:
        told |= {
            "added": list(found.added),
            "removed": list(found.removed),
            "moods": {
                mood: [dataclasses.asdict(one) for one in some]
                for mood, some in found.moods.items()
            },
            "shared": [dataclasses.asdict(one) for one in found.shared],
        }
    keys = ("mean", "percentile_95", "largest", "seen_share", "largest_at", "size")
    told["pictures"] = {
        mood: {key: getattr(figures, key) for key in keys}
        for mood, figures in compared.pictures.items()
    }
    return told
