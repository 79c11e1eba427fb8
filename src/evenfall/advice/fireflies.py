"""Advice on passes with fireflies, and the line that mends them."""

from __future__ import annotations

from collections.abc import Mapping

from evenfall.errors import Advice
from evenfall.recipe import Recipe
from evenfall.recipe.words.suggesting import joined

__all__ = ["advise_on_fireflies"]


def advise_on_fireflies(recipe: Recipe, counts: Mapping[str, int]) -> list[Advice]:
    """Name the passes that have fireflies, of lights that are on in a mood.

    Parameters
    ----------
    recipe : Recipe
    counts : mapping of str to int
        Pixels that are fireflies, by light, after what the recipe mends.

    Returns
    -------
    list of Advice
        Without what the recipe silences.
    """
    repair = recipe.model.passes.repair
    found = {light: count for light, count in counts.items() if count}
    if not found or repair.fireflies or repair.denoise or "fireflies" in recipe.model.silence:
        return []
    most = sorted(found, key=lambda light: -found[light])
    named = [f"{_pixels(found[light])} in {light}" for light in most[:2]]
    more = [_passes(len(most) - 2)] if len(most) > 2 else []
    return [
        Advice(
            "fireflies",
            "passes.repair.fireflies",
            f"fireflies, single bright pixels: {joined([*named, *more], 'and')}",
            "they sparkle as soon as their light goes up; passes.repair.fireflies = true replaces "
            "them by their neighbours",
        )
    ]


def _pixels(count: int) -> str:
    return f"{count:,} pixel{'' if count == 1 else 's'}"


def _passes(count: int) -> str:
    return f"some in {count} more passes" if count > 1 else "some in one more pass"
