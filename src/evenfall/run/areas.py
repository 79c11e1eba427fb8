"""Weights of the areas that a recipe names, with the files they need."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.mix.areas import area_weights
from evenfall.recipe import Area, Recipe

__all__ = ["weights_of"]


def weights_of(recipe: Recipe, area: Area, size: tuple[int, int]) -> npt.NDArray[np.float32]:
    """Weights of an area over a view of this width and height; shape (H, W), 0 to 1.

    Raises
    ------
    PixelSourceError
        When a mask or object-id file cannot be read.
    """

    def read_channel(file: str, channel: str | None) -> npt.NDArray[Any]:
        from evenfall.passes.side.pictures import read_object_ids, read_weights

        path = recipe.pass_path(file) if area.ids else recipe.beside(file)
        return read_object_ids(path, channel) if area.ids else read_weights(path, channel)

    return area_weights(area, *size, read_channel)
