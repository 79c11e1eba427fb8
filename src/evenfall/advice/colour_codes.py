"""Factors that look as if they were meant as the codes of a colour."""

from __future__ import annotations

from collections.abc import Iterator

from evenfall.errors import Advice
from evenfall.recipe import Recipe
from evenfall.recipe.moods import Mood
from evenfall.recipe.places import Place, dotted

__all__ = ["codes_as_factors"]

_LARGEST_CODE = 255
_HIGH = 16
"""Four stops up, which no colour of a light comes to (common practice); as a code it is dark."""


def codes_as_factors(recipe: Recipe) -> Iterator[Advice]:
    """Factors that are whole numbers up to 255, one of them high."""
    for name, mood in recipe.model.moods.items():
        for place, rgb in _factors(mood):
            if max(rgb) < _HIGH or any(each % 1 or not 0 <= each <= _LARGEST_CODE for each in rgb):
                continue
            codes = [int(each) for each in rgb]
            written = "".join(f"{code:02x}" for code in codes)
            yield Advice(
                "rgb-of-255",
                dotted(("moods", name, *place)),
                f"rgb = {codes} are factors, which make it up to {max(codes)} times as bright",
                f'the colour of these codes is written hex = "#{written}"'
                if place[0] == "lights"
                else "factors of 1 leave it as it is",
            )


def _factors(mood: Mood) -> Iterator[tuple[Place, tuple[float, float, float]]]:
    """Every set of factors that a mood says itself, by its place in the mood."""
    if mood.plate is not None:
        yield ("plate", "rgb"), mood.plate.rgb
    for number, overlay in enumerate(mood.overlays or ()):
        yield ("overlays", number, "rgb"), overlay.rgb
    for light, setting in mood.lights.items():
        if setting.rgb is not None:
            yield ("lights", light, "rgb"), setting.rgb
