"""Fall-off of light towards the corners.

Natural: the illuminance in the image plane of a lens falls with the fourth power of the cosine of
the angle to the axis (the cos^4 law, e.g. Kingslake 1983, "Optical System Design"). A pinhole or
perspective camera in a renderer does not show it. Creative: a smooth darkening towards the corner
furthest from its middle.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenfall.look.arrays import Planes
from evenfall.recipe.look import Vignette as VignetteSettings

__all__ = ["FRAME_WIDTH_MM", "Vignette", "needs_vignette"]

FRAME_WIDTH_MM = 36.0

Floats = npt.NDArray[np.float32]


def needs_vignette(settings: VignetteSettings) -> bool:
    """Whether the settings change anything."""
    return settings.natural > 0 or settings.creative_stops > 0


class Vignette:
    """Factors of a fall-off for a picture of some size.

    Parameters
    ----------
    settings : Vignette
        From the recipe.
    size : tuple of int
        Width and height in pixels.

    Examples
    --------
    >>> vignette = Vignette(VignetteSettings(natural=1.0, focal_length_mm=18.0), (3, 1))
    >>> vignette.factors(0, 3).astype(float).round(4).tolist()
    [0.4793, 1.0, 0.4793]
    """

    def __init__(self, settings: VignetteSettings, size: tuple[int, int]) -> None:
        width, height = size
        self._width = width
        self._exponent = -2.0 * settings.natural
        millimetres = FRAME_WIDTH_MM / width / settings.focal_length_mm
        self._natural = _squares(size, (0.5, 0.5), millimetres)
        self._stops = settings.creative_stops
        centre = settings.centre
        furthest = np.hypot(
            max(centre[0], 1 - centre[0]) * width, max(centre[1], 1 - centre[1]) * height
        )
        self._creative = _squares(size, centre, 1.0 / furthest)

    def factors(self, first_pixel: int, pixels: int) -> Floats:
        """Factors for a run of pixels, counted row by row; shape (pixels,)."""
        first_row = first_pixel // self._width
        rows = slice(first_row, -(-(first_pixel + pixels) // self._width))
        factor = np.ones((rows.stop - rows.start, self._width), np.float32)
        if self._exponent:
            factor *= _power(1 + _sum(self._natural, rows), self._exponent)
        if self._stops:
            square = _sum(self._creative, rows)
            shape = square * (3 - 2 * np.sqrt(square))
            factor *= np.exp2(np.float32(-self._stops) * shape)
        start = first_pixel - first_row * self._width
        run: Floats = factor.reshape(-1)[start : start + pixels]
        return run

    def __call__(self, planes: Planes, first_pixel: int) -> None:
        """Darken a run of pixels in place; planes have the shape (3, n)."""
        planes *= self.factors(first_pixel, planes.shape[1])


def _power(base: Floats, exponent: float) -> Floats:
    raised: Floats = np.power(base, np.float32(exponent))
    return raised


def _squares(
    size: tuple[int, int], centre: tuple[float, float], scale: float
) -> tuple[Floats, Floats]:
    """Squared distances from the centre along x and along y."""
    along = []
    for count, middle in zip(size, centre, strict=True):
        distance = (np.arange(count) + 0.5 - middle * count) * scale
        along.append((distance**2).astype(np.float32))
    return along[0], along[1]


def _sum(squares: tuple[Floats, Floats], rows: slice) -> Floats:
    across, down = squares
    total: Floats = down[rows, None] + across[None, :]
    return total
