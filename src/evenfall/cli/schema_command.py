"""`evenfall schema`: the recipe's JSON Schema."""

from __future__ import annotations

import click

from evenfall.cli.saying import say_json

__all__ = ["command"]


@click.command()
def command() -> None:
    """Print the recipe's JSON Schema.

    Editors that know TOML complete and check a recipe with it: save it beside the recipe and
    write '#:schema ./recipe.schema.json' in the recipe's first line.
    """
    from evenfall.recipe.schema import recipe_schema

    say_json(recipe_schema())
