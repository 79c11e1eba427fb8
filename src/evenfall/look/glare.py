"""Glare: the share of light that a lens scatters, with its energy kept.

Every point loses `strength` of its light, which comes back around it as a glow. The glow's shape is
that of the photopic point spread of Spencer, Shirley, Zimmerman and Greenberg 1995 ("Physically-
based glare effects for digital images", SIGGRAPH 95) without its narrow core, which is the sharp
image itself: a skirt that falls with the third power of distance and a veil that falls with the
second,

    K(r) = 1 / (1 + r/r0)^3 + 0.02 / (1 + r/r0)^2,   normalised to 1,

with r0 the `radius`. (In the paper r0 is 0.02 degrees, and 0.02 follows from its weights 0.478 x
20.91 and 0.138 x 72.37; constants quoted from memory of the paper.)

The glow is smooth, so it is computed on means over square cells an eighth of r0 wide, whatever the
picture's size, and interpolated. At the borders the picture is continued by its own mirror image:
a flat picture stays flat, and no light is lost.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from evenfall.look.arrays import Plane, Planes
from evenfall.look.cells import cell_means, from_cells
from evenfall.look.cosines import even_spectrum, from_spectrum, spectrum_of
from evenfall.recipe.look import Glare
from evenfall.system.overtaken import going_on

__all__ = ["add_glare", "point_spread"]

_VEIL = 0.02
_CELLS_PER_RADIUS = 8.0
_SUBSAMPLES = 8  # along each side of the middle cell, where the spread is steep

Floats = npt.NDArray[np.float64]


def point_spread(distance: Floats) -> Floats:
    """Spread at a distance in units of r0, not normalised.

    Examples
    --------
    >>> point_spread(np.array([0.0, 1.0])).tolist()
    [1.02, 0.13]
    """
    nearness = 1.0 / (1.0 + distance)
    spread: Floats = nearness**3 + _VEIL * nearness**2
    return spread


def add_glare(planes: Planes, glare: Glare, workers: int = 1) -> None:
    """Scatter light, in place.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, H, W)
        Scene-linear values.
    glare : Glare
        Strength and radius.
    workers : int
        Threads, of which three have work.

    Examples
    --------
    >>> planes = np.zeros((3, 32, 48), np.float32)
    >>> planes[:, 16, 24] = 100.0
    >>> add_glare(planes, Glare(strength=0.1, radius=0.05))
    >>> round(float(planes[0].sum()), 2)
    100.0
    """
    height, width = planes.shape[1:]
    radius = glare.radius * width
    cell = max(1, int(radius / _CELLS_PER_RADIUS))
    rows, columns = -(-height // cell), -(-width // cell)
    transfer = _transfer(rows, columns, radius / cell)

    go_on = going_on()

    def scatter(plane: Plane) -> None:
        go_on()
        spectrum = spectrum_of(cell_means(plane, cell))
        spectrum *= transfer
        go_on()
        glow = from_cells(from_spectrum(spectrum), cell, plane.shape)
        go_on()
        _exchange(plane, glow, glare.strength)

    with ThreadPoolExecutor(min(workers, len(planes)), "glare") as pool:
        list(pool.map(scatter, planes))


def _exchange(plane: Plane, glow: Plane, strength: float) -> None:
    """Replace a share of the light by its glow, which gets exactly the light that is taken."""
    taken, given = plane.sum(dtype=np.float64), glow.sum(dtype=np.float64)
    # Not quite equal where the last cells reach over the border.
    level = taken / given if taken > 0 and given > 0 else 1.0
    plane *= np.float32(1.0 - strength)
    glow *= np.float32(strength * level)
    plane += glow


@lru_cache(maxsize=8)
def _transfer(rows: int, columns: int, radius: float) -> npt.NDArray[np.float32]:
    """Transfer factors of the spread for the spectrum of rows x columns cells."""
    down, across = np.arange(rows + 1.0), np.arange(columns + 1.0)
    spread = point_spread(np.hypot(down[:, None], across[None, :]) / radius)
    inner = (np.arange(_SUBSAMPLES) + 0.5) / _SUBSAMPLES - 0.5
    spread[0, 0] = point_spread(np.hypot(inner[:, None], inner[None, :]) / radius).mean()
    # The spectrum of an even spread on the period 2 rows x 2 columns of the mirrored picture.
    spectrum = even_spectrum(spread)[:rows, :columns].T
    transfer = np.ascontiguousarray(spectrum / spectrum[0, 0], np.float32)
    return transfer
