"""`evenfall plan`: which passes to render, before anything is rendered."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from evenfall.cli.options import json_option
from evenfall.cli.saying import say, say_json

__all__ = ["command"]

_WIDEST_TEXT = 100  # characters of a line that still read well


@click.command("plan", short_help="Which passes to render, before anything is rendered.")
@click.argument("lights", nargs=-1, required=True, metavar="RECIPE | LIGHT...")
@click.option("--title", metavar="TEXT", default="", help="Project and view, for a list of lights.")
@click.option(
    "--prefix", metavar="TEXT", default="", help="What file names begin with, for a list of lights."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a page to print (.html) or plain text (.txt) instead of printing it here.",
)
@click.option("--overwrite", is_flag=True, help="Replace a file that exists.")
@json_option
def command(
    lights: tuple[str, ...],
    title: str,
    prefix: str,
    out: Path | None,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Plan the passes of a view: what is on and off in each, names, format and cautions.

    Give a RECIPE (its files need not exist yet), or LIGHTs by name, each as NAME or NAME:ROLE with
    a role out of key, fill, sky, fixture, outdoor fixture and glow.

    \b
      evenfall plan view.toml --out passes.html
      evenfall plan sun sky fill pendants "garden lamps" --title "Living room"
    """  # noqa: D301 -- click needs the backspace itself
    from evenfall.view import plan_view, write_plan

    plan = plan_view(lights, title=title, prefix=prefix)
    if out is not None:
        write_plan(plan, out, overwrite=overwrite)
        say(f"Pass plan: {out}", err=True)
    if as_json:
        rows = [list(row) for row in plan.matrix()]
        say_json({**asdict(plan), "matrix": rows})
    elif out is None:
        from shutil import get_terminal_size

        from evenfall.survey.plan_text import TEXT_WIDTH, sheet_text

        room = get_terminal_size((TEXT_WIDTH + 1, 24)).columns - 1
        say(sheet_text(plan, width=min(max(room, 40), _WIDEST_TEXT)))
