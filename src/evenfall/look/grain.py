"""Film-like grain: the same for a pixel's place in the picture, whatever the strip or the size.

The deviation follows a developed film as a sheet of random dots that either cover or do not: with a
share v of them developed the variance is proportional to ``v (1 - v)``, most in the mid-tones and
none in black and white. It is added to the display-encoded values, where equal steps look about
equal.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenfall.look.arrays import Planes
from evenfall.look.grain_pattern import STEPS, pattern_of
from evenfall.recipe.look import Grain as GrainSettings
from evenfall.system.scratch import buffer

__all__ = ["Grain"]

_STRONGEST = 0.05  # deviation of the field in encoded values at strength 1, in the mid-tones

Floats = npt.NDArray[np.float32]


class Grain:
    """Grain for a picture of some size.

    Parameters
    ----------
    settings : Grain
        From the recipe.
    size : tuple of int
        Width and height in pixels.
    """

    def __init__(self, settings: GrainSettings, size: tuple[int, int]) -> None:
        self._pattern = pattern_of(settings.size, settings.seed, size)
        self._scale = settings.strength * _STRONGEST * self._pattern.deviation / STEPS

    def rows(self, first_row: int, rows: int) -> Floats:
        """Grain of the three channels on rows of the picture, before it meets the tone.

        Parameters
        ----------
        first_row, rows : int
            The first row, and how many.

        Returns
        -------
        ndarray of float32, shape (3, rows, width)
        """
        codes = self._pattern.rows(first_row, rows)
        grain: Floats = np.multiply(codes, np.float32(self._scale), dtype=np.float32)
        return grain

    def add(self, encoded: Planes, grain: Planes) -> None:
        """Add grain to display-encoded values in place; both have the shape (3, n)."""
        weight = buffer("grain", encoded.shape)
        np.clip(encoded, np.float32(0), np.float32(1), out=encoded)
        np.subtract(np.float32(1), encoded, out=weight)
        weight *= encoded
        np.sqrt(weight, out=weight)
        weight *= np.float32(2)
        weight *= grain
        encoded += weight
        np.clip(encoded, np.float32(0), np.float32(1), out=encoded)
