"""`evenfall aim`: gains from what a mood should show."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenfall.cli.differences import difference_lines
from evenfall.cli.options import json_option, passes_option, recipe_argument
from evenfall.cli.saying import make_console, say, say_json

if TYPE_CHECKING:
    from rich.table import Table

    from evenfall.solve.aimed import Aimed, Moved
    from evenfall.solve.matched import Matched
    from evenfall.view import View

__all__ = ["command", "moves_table", "names_said", "solved_lines"]


@click.command("aim", short_help="Solve gains from what a mood should show.")
@recipe_argument
@click.argument("mood", required=False)
@passes_option
@click.option(
    "--first",
    is_flag=True,
    help="Balance day, dusk and night by the rules of the trade instead; MOOD is one of them, or "
    "left out for all.",
)
@click.option(
    "--move",
    metavar="NAMES",
    help="Lights, groups or 'exposure' that may move, with commas between them; a group moves as "
    "one. Every light that is on, otherwise.",
)
@click.option(
    "--hold", metavar="NAMES", help="Lights and groups that stay, with commas between them."
)
@click.option("--tints", is_flag=True, help="Let colours change, too.")
@click.option(
    "--within",
    type=float,
    default=4.0,
    show_default=True,
    metavar="STOPS",
    help="The most that a gain may change, up or down.",
)
@click.option("--draft", is_flag=True, help="Measure reduced passes, which are kept: much quicker.")
@click.option("--dry-run", is_flag=True, help="Only say what would change.")
@json_option
def command(
    recipe: Path,
    mood: str | None,
    passes: Path | None,
    first: bool,
    move: str | None,
    hold: str | None,
    tints: bool,
    within: float,
    draft: bool,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Meet the aims of MOOD: solve gains, and write them into RECIPE.

    The recipe says what the mood should show, area by area:

    \b
      [moods.dusk.aims]
      table  = { area = { rectangle = [0.3, 0.6, 0.5, 0.7] }, brighter = "1/2" }
      window = { area = { mask = "window.png" }, ratio = "1:2", over = "table" }
      lamps  = { clipped_at_most = 0.01, must = true }

    \b
      evenfall aim view.toml dusk --dry-run
      evenfall aim view.toml dusk --move pendants,shelf_strip --hold sun
      evenfall aim view.toml --first

    Gains stay as near to the balance as the aims allow. For each aim you learn whether it is met,
    by how much it misses and why: which light is missing, which other aim contradicts it. For each
    light you learn how sure its gain is: how far it could still move, the others following, before
    an aim is missed. If an aim that must be met cannot be, the recipe stays as it is.
    """  # noqa: D301 -- click needs the backspace itself
    import evenfall

    view = evenfall.open(recipe, passes=passes, draft=draft)
    if first:
        _first(view, mood, refused=[move, hold, tints or None], dry_run=dry_run, as_json=as_json)
        return
    if mood is None:
        raise click.UsageError("say the mood whose aims are to be met, or --first")
    aimed = view.aim(
        mood,
        move=names_said(move),
        hold=names_said(hold),
        tints=tints,
        within=within,
        dry_run=dry_run,
    )
    if as_json:
        from dataclasses import asdict

        say_json(asdict(aimed) | {"path": str(aimed.path)})
    else:
        _print(aimed)
    if any(result.must and not result.is_met for result in aimed.aims):
        raise SystemExit(1)


def _first(
    view: View,
    mood: str | None,
    *,
    refused: Sequence[object],
    dry_run: bool,
    as_json: bool,
) -> None:
    if any(each is not None for each in refused):
        raise click.UsageError(
            "--first turns all lights by their roles: no --move, --hold, --tints"
        )
    found = view.aim_first(() if mood is None else mood, dry_run=dry_run)
    if as_json:
        from dataclasses import asdict

        say_json(asdict(found) | {"path": str(found.path)})
        return
    for name, words in found.moods.items():
        say(f"{name}: {words}")
        for line in difference_lines(found.changes.get(name, ())):
            say(line)
    for name, some in found.changes.items():
        if name not in found.moods:
            say(f"{name} changes with it")
            for line in difference_lines(some):
                say(line)
    for note in found.notes:
        say(f"Note: {note}.")
    say(f"{found.path} is changed." if found.written else "Nothing was written.")


def names_said(text: str | None) -> Sequence[str]:
    """Read names with commas between them."""
    return [name.strip() for name in text.split(",") if name.strip()] if text else ()


def _print(aimed: Aimed) -> None:
    console = make_console()
    console.print(_aims(aimed))
    for result in aimed.aims:
        if result.why:
            say(f"{result.aim}: {result.why}.")
    console.print(moves_table(aimed.moved))
    for line in solved_lines(aimed):
        say(line)
    for note in aimed.notes:
        say(f"Note: {note}.")
    if not aimed.changes:
        say("Nothing is to change.")
    say(f"{aimed.path} is changed." if aimed.written else "Nothing was written.")


def _aims(aimed: Aimed) -> Table:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    for name in ("aim", "asks for", "stood at", "comes to", ""):
        table.add_column(name)
    for result in aimed.aims:
        missed = "met" if result.is_met else f"misses by {result.missed}"
        asks = f"{result.asks}, must" if result.must else result.asks
        table.add_row(result.aim, asks, result.stood, result.comes_to, missed)
    return table


def moves_table(moves: Sequence[Moved]) -> Table:
    """Set out what could move, how far it went, and how sure that is."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    table.add_column("may move")
    table.add_column("goes", justify="right")
    table.add_column("how sure")
    for moved in moves:
        bound = ", as far as it may" if moved.at_bound else ""
        table.add_row(moved.name, f"{moved.stops:+z.2f}", f"{_sureness(moved.play)}{bound}")
    return table


def solved_lines(solved: Aimed | Matched) -> list[str]:
    """Say which lights cannot be told apart, and what changes in the recipe, mood by mood."""
    lines = [
        f"{one} and {other} light this view alike: what one does, the other could do as well."
        for one, other in solved.alike
    ]
    for mood, some in solved.changes.items():
        lines += [mood if mood == solved.mood else f"{mood} changes with it"]
        lines += difference_lines(some)
    return lines


def _sureness(play: float) -> str:
    """Say how sure a gain is that could still go some stops either way."""
    if play < 0.15:
        return f"sure, within {max(play, 0.01):.2f} stops"
    if play < 1.0:
        return f"within {play:.1f} stops"
    return "open: other gains would do as well"
