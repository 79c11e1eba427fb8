"""`evenfall page`: the review page of a view, one file that a client opens."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from evenfall.cli.options import moods_option, passes_option, recipes_argument, set_option
from evenfall.cli.saying import say

__all__ = ["command"]


@click.command("page", short_help="A review page for the client: one file, no network.")
@recipes_argument
@passes_option
@set_option
@moods_option
@click.option(
    "--width",
    type=click.IntRange(320, 7680),
    default=1920,
    show_default=True,
    help="Width of the widest pictures, in pixels.",
)
@click.option(
    "--date",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="Date at the top (default: today).",
)
@click.option(
    "--rounds",
    type=click.IntRange(0, 20),
    default=1,
    show_default=True,
    help="How many earlier rounds to show pictures of.",
)
@click.option("--figures", is_flag=True, help="Show the settings of the lights, too.")
@click.option("--draft", is_flag=True, help="Quickly, from reduced passes.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE.html",
    help="File to write "
    "(default: RECIPE_review.html in the folder pictures, of several PROJECT_review.html).",
)
@click.option("--overwrite", is_flag=True, help="Replace a page that exists.")
def command(
    recipes: tuple[Path, ...],
    passes: Path | None,
    changes: tuple[str, ...],
    moods: tuple[str, ...],
    width: int,
    date: datetime.datetime | None,
    rounds: int,
    figures: bool,
    draft: bool,
    out: Path | None,
    overwrite: bool,
) -> None:
    """Write a review page of RECIPE's moods: one HTML file to open from a mail or a USB stick.

    Several recipes, or a folder of them, come on one page, with a choice of views at its top.

    The page shows all moods, and compares any two along an edge that you drag. A client touches a
    spot or draws a rectangle, and writes; comments stay in the browser until they are saved as one
    small file to mail back. 'evenfall comments add' reads that file, and the next page shows each
    comment with its answer.
    """
    from evenfall.view import open_views, write_page

    views = open_views(recipes, changes=changes, passes=passes, draft=draft)
    path, notes = write_page(
        views,
        out,
        moods=moods,
        width=width,
        date=datetime.date.today() if date is None else date.date(),
        rounds=rounds,
        figures=figures,
        overwrite=overwrite,
    )
    for note in notes:
        say(note, err=True)
    say(f"Review page of {path.stat().st_size / 1e6:.1f} MB", err=True)
    say(str(path))
