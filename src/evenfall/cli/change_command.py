"""`evenfall change`: change a recipe in the words of the trade."""

from __future__ import annotations

import dataclasses
import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenfall.cli.differences import difference_lines
from evenfall.cli.options import json_option, recipe_argument
from evenfall.cli.saying import say, say_json

if TYPE_CHECKING:
    from evenfall.change.changing import Changed
    from evenfall.compare.difference import Difference

__all__ = ["command"]


@click.command("change", short_help="Change a recipe in words: 'pendants +1/3, 2700 K'.")
@recipe_argument
@click.argument("moods")
@click.argument("phrases", nargs=-1, required=True, metavar="PHRASE...")
@click.option(
    "--keep",
    multiple=True,
    metavar="MOOD",
    help="A mood based on these that should stay as it is. May be repeated.",
)
@click.option("--dry-run", is_flag=True, help="Say what would change, and leave the file alone.")
@json_option
def command(
    recipe: Path,
    moods: str,
    phrases: tuple[str, ...],
    keep: tuple[str, ...],
    dry_run: bool,
    as_json: bool,
) -> None:
    """Change RECIPE in MOODS as each PHRASE says.

    MOODS is a name, several names with commas between them, or all. A phrase names a light, a group
    or a dial, and what should happen to it; several changes are separated by commas:

    \b
      evenfall change view.toml dusk "pendants +1/3, 2700 K" "sky down 1/2"
      evenfall change view.toml dusk,night "fixtures warmer 20" "lantern off"
      evenfall change view.toml all "exposure +1/3" "glare = 0.03"

    \b
    For a light, or every light of a group or role (key, sky, fill, fixtures):
      +1/3, up 1/3, -2, down 2      stops, from its present value
      x1.5                          times a factor
      = -1                          stops from the render
      1200 lm, 900 cd, 9 W at 90 lm/W   flux, intensity, power
      on, off                       as rendered; not lit
      4:1 to sun                    solved: the sun is four times as strong
      2700 K                        colour temperature
      warmer 20, cooler 20          mired, from its present colour

    \b
    For a dial:
      exposure +1/3                 also down 1/2, = -1
      white balance 4300 K          also warmer 20: the picture gets warmer
      glare x1.5                    any number of the look, also with + and =: 'tone contrast +0.1',
                                    'saturation = 0.95', 'vignette natural = 0.3'

    Only the figures that must change do; the file's comments, order and spelling stay. Each light
    is printed before and after, also in moods that change because they are based on these. A recipe
    that is not sound, or that somebody else changes meanwhile, is left alone.
    """  # noqa: D301 -- click needs the backspace itself
    from evenfall.change.changing import change_recipe

    changed = change_recipe(recipe, moods, phrases, keep=keep, dry_run=dry_run)
    if as_json:
        say_json(_as_json(changed))
        return
    for line in _lines(changed):
        say(line)


def _lines(changed: Changed) -> list[str]:
    lines = []
    for mood, some in changed.moods.items():
        lines += [mood, *difference_lines(some)]
    for mood, some in changed.carried.items():
        lines += [f"{mood} changes with it", *difference_lines(some)]
    if changed.carried:
        names = " ".join(f"--keep {shlex.quote(mood)}" for mood in changed.carried)
        lines.append(f"To leave {'it' if len(changed.carried) == 1 else 'them'} as before: {names}")
    lines += [f"Note: {note}." for note in changed.notes]
    if changed.kept:
        lines.append(f"Kept as it was: {', '.join(changed.kept)}.")
    lines.append(f"{changed.path} is changed." if changed.written else "Nothing was written.")
    return lines


def _as_json(changed: Changed) -> dict[str, Any]:
    def told(some: Sequence[Difference]) -> list[dict[str, str]]:
        return [dataclasses.asdict(one) for one in some]

    return {
        "recipe": str(changed.path),
        "written": changed.written,
        "moods": {mood: told(some) for mood, some in changed.moods.items()},
        "carried": {mood: told(some) for mood, some in changed.carried.items()},
        "kept": list(changed.kept),
        "notes": list(changed.notes),
    }
