"""Sharpening without halos.

Works on the logarithm of luminance, where an edge is as high in the shadows as in the light. The
difference from a Gaussian blur is added, and the result is held between the smallest and the
largest value that the neighbourhood had: edges become steeper, but nothing overshoots. Colour is
kept: all three channels are scaled by the same factor.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from evenfall.light.primaries import ACESCG, luminance_weights
from evenfall.light.units import MIDDLE_GREY
from evenfall.look.arrays import Plane, Planes, luminance
from evenfall.recipe.look import Sharpen

__all__ = ["sharpen"]

_STRONGEST = 2.0  # how many times the difference is added at strength 1
_BLACK = np.float32(MIDDLE_GREY * 2.0**-10)  # added before the logarithm: black noise stays
_STRIP_ROWS = 256


def sharpen(planes: Planes, settings: Sharpen, workers: int = 1) -> None:
    """Sharpen exposed working values, in place.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, H, W)
        Negative values pass through, scaled like their neighbours.
    settings : Sharpen
        Strength, and the blur's radius as a share of the width.
    workers : int
        Threads; the result does not depend on them.

    Examples
    --------
    >>> planes = np.ones((3, 8, 16), np.float32)
    >>> planes[:, :, 8:] = 2.0
    >>> sharpen(planes, Sharpen(strength=1.0, radius=0.05))
    >>> float(planes.min()) >= 0.999, float(planes.max()) <= 2.001
    (True, True)
    """
    height, width = planes.shape[1:]
    level = _log_luminance(planes)
    sigma = settings.radius * width
    halo = int(np.ceil(3 * sigma)) + 1

    def work(rows: slice) -> None:
        low, high = max(0, rows.start - halo), min(height, rows.stop + halo)
        inner = slice(rows.start - low, rows.stop - low)
        factor = _factor(level[low:high], settings.strength, sigma)[inner]
        planes[:, rows] *= factor

    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(work, _strips(height)))


def _strips(height: int) -> Iterator[slice]:
    for start in range(0, height, _STRIP_ROWS):
        yield slice(start, min(height, start + _STRIP_ROWS))


def _log_luminance(planes: Planes) -> Plane:
    level = luminance(luminance_weights(ACESCG), planes)
    np.maximum(level, np.float32(0), out=level)
    level += _BLACK
    return np.log2(level, out=level)


def _factor(level: Plane, strength: float, sigma: float) -> Plane:
    """Factor for the three channels, from rows of log luminance."""
    from scipy.ndimage import gaussian_filter, maximum_filter, minimum_filter

    blurred = gaussian_filter(level, sigma, mode="nearest", truncate=3.0)
    sharper = level - blurred
    sharper *= np.float32(_STRONGEST * strength)
    sharper += level
    reach = 2 * max(1, round(1.5 * sigma)) + 1
    np.minimum(sharper, maximum_filter(level, reach, mode="nearest"), out=sharper)
    np.maximum(sharper, minimum_filter(level, reach, mode="nearest"), out=sharper)
    sharper -= level
    factor: Plane = np.exp2(sharper, out=sharper)
    return factor
