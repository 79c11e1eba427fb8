"""`evenfall schema`: the recipe's JSON Schema."""

from __future__ import annotations

import json

import click

__all__ = ["command"]


@click.command()
def command() -> None:
    """Print the recipe's JSON Schema.

    Editors that know TOML complete and check a recipe with it: save it beside the recipe and
    write '#:schema ./recipe.schema.json' in the recipe's first line.
    """
    from evenfall.recipe.schema import recipe_schema

    click.echo(json.dumps(recipe_schema(), indent=2, ensure_ascii=False))
