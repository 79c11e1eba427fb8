"""`evenfall board`: the moods on pages of paper, as a PDF."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from evenfall.cli.options import moods_option, passes_option, recipes_argument, set_option
from evenfall.cli.saying import say

__all__ = ["command"]


@click.command("board", short_help="The moods on pages of paper, as a PDF.")
@recipes_argument
@passes_option
@set_option
@moods_option
@click.option(
    "--size",
    type=click.Choice(["A4", "A3", "A2", "A1"], case_sensitive=False),
    default="A3",
    show_default=True,
    help="Size of the pages.",
)
@click.option("--upright", is_flag=True, help="Upright pages instead of landscape ones.")
@click.option("--mark", metavar="TEXT", default="", help="Text across every page: --mark DRAFT.")
@click.option(
    "--date",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="Date at the foot (default: today).",
)
@click.option(
    "--before",
    type=click.IntRange(min=1),
    metavar="ROUND",
    help="Add pages of before and after: that round beside now.",
)
@click.option("--draft", is_flag=True, help="Quickly, from reduced passes.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE.pdf",
    help="File to write "
    "(default: RECIPE_board.pdf in the folder pictures, of several PROJECT_board.pdf).",
)
@click.option("--overwrite", is_flag=True, help="Replace a file that exists.")
def command(
    recipes: tuple[Path, ...],
    passes: Path | None,
    changes: tuple[str, ...],
    moods: tuple[str, ...],
    size: str,
    upright: bool,
    mark: str,
    date: datetime.datetime | None,
    before: int | None,
    draft: bool,
    out: Path | None,
    overwrite: bool,
) -> None:
    """Lay the moods of RECIPE out on boards: a PDF with all moods on one page, then each alone.

    Pictures are printed at 300 dpi if the passes have enough pixels; if not, it says so, and
    nothing is enlarged. Title, view, studio and logo come from [project] in the recipe. Several
    recipes, or a folder of them, come into one PDF, one view after the other.

    \b
      evenfall board view.toml --size A2
      evenfall board view.toml --mood dusk --upright --mark DRAFT
    """  # noqa: D301 -- click needs the backspace itself
    from evenfall.view import open_views, write_board

    views = open_views(recipes, changes=changes, passes=passes, draft=draft)
    day = datetime.date.today() if date is None else date.date()
    path, notes = write_board(
        views,
        out,
        moods=moods,
        size=size,
        upright=upright,
        mark=mark,
        date=day,
        before=before,
        overwrite=overwrite,
    )
    for note in notes:
        say(note, err=True)
    say(str(path))
