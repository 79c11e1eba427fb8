"""A developed mood as plain sRGB codes of a width, for pages and boards."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenfall.deliver.quantise import quantise
from evenfall.deliver.resize import resize_linear
from evenfall.develop.developed import DevelopedMood
from evenfall.light.output_spaces import output_space

__all__ = ["srgb_still"]


def srgb_still(mood: DevelopedMood, width: int) -> npt.NDArray[np.uint8]:
    """Bring a mood to at most a width, with square pixels, in linear light; never enlarged.

    Parameters
    ----------
    mood : DevelopedMood
        What is shown, whole.
    width : int
        Pixels.

    Returns
    -------
    ndarray, shape (h, w, 3), uint8
        sRGB codes.

    Examples
    --------
    >>> from evenfall.develop.engine import develop_mood
    >>> from evenfall.develop.example import example_recipe
    >>> dusk = develop_mood(example_recipe(), "dusk")
    >>> srgb_still(dusk, 24).shape, srgb_still(dusk, 4000).shape
    ((16, 24, 3), (32, 48, 3))
    """
    full, tall = mood.size
    width = min(full, width)
    height = max(1, round(width * tall / (full * mood.pixel_aspect)))
    space = output_space("sRGB")
    encoded = np.ascontiguousarray(np.moveaxis(mood.encoded(), -1, 0))
    if (width, height) != (full, tall):
        encoded = space.encode(resize_linear(space.decode(encoded), width, height))
    return quantise(encoded, 8, dither=False).astype(np.uint8, copy=False)
