"""Advice on plates that passes do not let through."""

from __future__ import annotations

from collections.abc import Iterable

from evenfall.errors import Advice
from evenfall.passes.header import PassHeader
from evenfall.recipe import Recipe
from evenfall.recipe.places import dotted
from evenfall.recipe.words.suggesting import joined

__all__ = ["advise_on_plates"]


def advise_on_plates(recipe: Recipe, headers: Iterable[PassHeader]) -> list[Advice]:
    """Say, from the passes' headers alone, that plates will not be seen.

    Parameters
    ----------
    recipe : Recipe
    headers : iterable of PassHeader
        Of all passes.

    Returns
    -------
    list of Advice
        Without what the recipe silences.
    """
    behind = [mood.name for mood in recipe.moods.values() if mood.plate is not None]
    opaque = not any(header.has_alpha for header in headers)
    if not behind or not opaque or "plate-not-seen" in recipe.model.silence:
        return []
    return [
        Advice(
            "plate-not-seen",
            dotted(("moods", behind[0], "plate")),
            f"the plate of {joined(behind, 'and')} will not be seen: no pass has alpha",
            "a plate shows where the passes are see-through; render the passes again with alpha "
            "and without a background, or take the plate out",
        )
    ]
