"""`evenfall plan`: which passes to render, before anything is rendered."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenfall.cli.options import json_option

if TYPE_CHECKING:
    from evenfall.survey.plan import PassPlan

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
    plan = _plan(lights, title, prefix)
    if out is not None:
        _write(out, plan, overwrite=overwrite)
    if as_json:
        rows = [list(row) for row in plan.matrix()]
        click.echo(json.dumps({**asdict(plan), "matrix": rows}, indent=2))
    elif out is None:
        from shutil import get_terminal_size

        from evenfall.survey.plan_text import TEXT_WIDTH, sheet_text

        room = get_terminal_size((TEXT_WIDTH + 1, 24)).columns - 1
        click.echo(sheet_text(plan, width=min(max(room, 40), _WIDEST_TEXT)))


def _plan(lights: tuple[str, ...], title: str, prefix: str) -> PassPlan:
    from evenfall.survey.plan import plan_from_recipe, plan_passes

    path = Path(lights[0])
    if len(lights) == 1 and (path.suffix.lower() == ".toml" or path.is_file()):
        from evenfall.recipe import load

        return plan_from_recipe(load(path, check_files=False))
    return plan_passes(lights, title=title, prefix=prefix)


def _write(out: Path, plan: PassPlan, *, overwrite: bool) -> None:
    from evenfall.errors import UsageError
    from evenfall.survey.plan_page import sheet_page
    from evenfall.survey.plan_text import sheet_text
    from evenfall.system.atomic import write_atomically

    kind = out.suffix.lower()
    if kind in (".html", ".htm"):
        text = sheet_page(plan)
    elif kind == ".txt":
        text = f"{sheet_text(plan)}\n"
    else:
        raise UsageError(f"{out}: a pass plan is written as .html (to print) or .txt")
    write_atomically(out, text.encode(), overwrite=overwrite)
    click.echo(f"Pass plan: {out}", err=True)
