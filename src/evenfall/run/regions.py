"""Changes that a mood makes only in parts of the picture."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from evenfall.mix.plan import RegionalGain
from evenfall.recipe import Area, Recipe, ResolvedMood

__all__ = ["regional_gains"]

Weigh = Callable[[Area], npt.NDArray[np.float32]]


def regional_gains(recipe: Recipe, mood: ResolvedMood, weigh: Weigh) -> tuple[RegionalGain, ...]:
    """Gains of lights in the regions of a mood; regions that overlap multiply.

    Parameters
    ----------
    recipe : Recipe
        For groups.
    mood : ResolvedMood
        Its regions.
    weigh : callable
        Gives the weights of an area over the view.
    """
    found = []
    for region in mood.regions:
        gains: dict[str, float] = {}
        for name, stops in region.lights.items():
            for light in recipe.members(name):
                gains[light] = gains.get(light, 1.0) * 2.0**stops
        if any(gain != 1.0 for gain in gains.values()):
            found.append(RegionalGain(weigh(region.area), gains))
    return tuple(found)
