"""`evenfall handback`: what a mood's balance means for the lamps of the scene."""

from __future__ import annotations

from pathlib import Path

import click

from evenfall.cli.options import json_option, passes_option, recipe_argument, set_option
from evenfall.cli.saying import say, say_json_text

__all__ = ["command"]


@click.command("handback", short_help="What a mood's balance means for the lamps of the scene.")
@recipe_argument
@passes_option
@set_option
@click.option("--mood", metavar="NAME", help="Which mood; needed if there are several.")
@click.option(
    "--out",
    "files",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="FILE",
    help="Write a file instead: .txt, .csv, .json, or .usda, a layer over the scene. May be "
    "repeated.",
)
@click.option("--overwrite", is_flag=True, help="Replace files that exist.")
@json_option
def command(
    recipe: Path,
    passes: Path | None,
    changes: tuple[str, ...],
    mood: str | None,
    files: tuple[Path, ...],
    overwrite: bool,
    as_json: bool,
) -> None:
    """Hand the balance of a mood of RECIPE back to the scene.

    For each light: the factor on its power, factors for R, G, B, and lumens, candela and kelvin if
    the recipe says what it was rendered with. The table also serves as a lamp schedule for the
    client.

    A .usda file is a layer of overs for an OpenUSD scene: name the scene in project.stage, give
    each light its place in it (prim = "/House/Lights/Pendants"), and put the layer over the scene
    as its strongest sublayer. The scene itself is not touched.

    \b
      evenfall handback view.toml --mood dusk
      evenfall handback view.toml --mood dusk --out dusk.csv --out dusk.usda
    """  # noqa: D301 -- click needs the backspace itself
    import evenfall
    from evenfall.view import handback_text, write_handbacks

    view = evenfall.open(recipe, passes=passes, changes=changes, draft=True)
    handback = view.handback(mood)
    if files:
        for path in write_handbacks(handback, view.recipe, files, overwrite=overwrite):
            say(f"Handback: {path}", err=True)
    else:
        text = handback_text(handback, view.recipe, ".json" if as_json else ".txt")
        if as_json:
            say_json_text(text)
        else:
            say(text, nl=False)
