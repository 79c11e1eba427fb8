"""Choosing moods by name."""

from __future__ import annotations

from collections.abc import Collection

from evenfall.errors import Fault, UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.words.suggesting import did_you_mean
from evenfall.system.arguments import given_texts

__all__ = ["choose_moods"]


def choose_moods(recipe: Recipe, moods: str | Collection[str]) -> tuple[str, ...]:
    """Moods by name in the recipe's order; all when none is named.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    moods : str or collection of str
        One name, or several.

    Raises
    ------
    UsageError
        When there is no mood of a name, with what was probably meant, or no names are given.
    """
    wanted = dict.fromkeys(given_texts(moods, "a mood's name"))
    faults = [
        Fault(
            str(recipe.path),
            "moods",
            f'found no mood "{name}"',
            f"expected one of {', '.join(recipe.moods)}",
            did_you_mean(name, recipe.moods),
        )
        for name in wanted
        if name not in recipe.moods
    ]
    if faults:
        raise UsageError(faults)
    return tuple(name for name in recipe.moods if not wanted or name in wanted)
