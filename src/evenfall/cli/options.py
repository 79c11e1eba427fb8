"""Arguments and options that several commands share, each defined once."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = [
    "json_option",
    "moods_option",
    "passes_option",
    "recipe_argument",
    "recipes_argument",
    "set_option",
]

recipe_argument = click.argument("recipe", type=click.Path(path_type=Path))

recipes_argument = click.argument(
    "recipes", nargs=-1, required=True, metavar="RECIPE...", type=click.Path(path_type=Path)
)

passes_option = click.option(
    "--passes",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder of the passes, instead of the recipe's own.",
)

set_option = click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="PLACE=VALUE",
    help="Change one value, for this call only: moods.dusk.lights.sun.stops=-1. May be repeated.",
)

moods_option = click.option(
    "--mood",
    "moods",
    multiple=True,
    metavar="NAME",
    help="Only this mood. May be repeated.",
)

json_option = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
