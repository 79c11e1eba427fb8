"""Passes that do not lie on the beauty: the camera, or what is before it, moved between them.

A picture moved by (across, down) pixels differs from itself, to first order, by that many times its
slopes. The difference between beauty and passes is therefore fitted by the slopes of one pass, or
of all together. Such a difference looks much like grain at edges, so it is asked for by itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from evenfall.prove.blocks import BlockGrid, Float, Plane

__all__ = ["Shift", "Slopes", "fit_shift", "slopes_of", "whole_pixels"]

_LEAST_PIXELS = 0.25
_MOST_PIXELS = 4.5  # slopes tell no more
_SURE = 12.0  # standard errors; noise is skewed, and edges are where it is largest
_NEAR_PIXELS = 0.7  # grain draws a fitted shift towards 0
_ROUNDS = 6
_HUBER = 1.5


@dataclass(frozen=True, eq=False)
class Slopes:
    """Mean change of a picture a pixel across and down, shape (3, rows, columns) of blocks."""

    across: Float
    down: Float


@dataclass(frozen=True)
class Shift:
    """How far a pass stands off the beauty, in pixels right and down.

    Parameters
    ----------
    index : int or None
        Which pass; None if all stand off alike, that is the beauty does.
    across, down : float
        Pixels; of the passes against the beauty.
    """

    index: int | None
    across: float
    down: float

    @property
    def words(self) -> str:
        """The shift in words.

        Examples
        --------
        >>> Shift(0, 1.0, -2.04).words
        '1.0 pixels right, 2.0 pixels up'
        """
        sides = (
            (self.across, "right" if self.across > 0 else "left"),
            (self.down, "down" if self.down > 0 else "up"),
        )
        told = [f"{abs(size):.1f} pixels {side}" for size, side in sides if abs(size) > 0.1]
        return ", ".join(told)

    @property
    def numbers(self) -> tuple[float, float]:
        """Pixels right and down."""
        return self.across, self.down

    def taken_from(self, means: Float, slopes: Sequence[Slopes]) -> Float:
        """Give a difference without what the shift makes of it; slopes of all that moved."""
        left = means.copy()
        for slope in slopes:
            left -= self.across * slope.across + self.down * slope.down
        return left


def whole_pixels(across: float, down: float) -> Iterator[tuple[float, float]]:
    """Shifts that a fitted one may be: as it is, and of whole pixels around it.

    Examples
    --------
    >>> list(whole_pixels(0.62, 0.0))
    [(0.6, 0.0), (1.0, 0.0)]
    """
    yield round(across, 1), round(down, 1)
    sides = ({float(np.floor(each)), float(np.ceil(each))} for each in (across, down))
    for right, lower in product(*sides):
        if (right or lower) and np.hypot(right - across, lower - down) < _NEAR_PIXELS:
            yield right, lower


def slopes_of(planes: Sequence[Plane], grid: BlockGrid) -> Slopes:
    """Reduce the slopes of a picture to blocks.

    Examples
    --------
    >>> ramp = np.tile(np.arange(8, dtype=np.float32), (8, 1))
    >>> bool(slopes_of([ramp] * 3, BlockGrid(8, 8, 4)).down.any())
    False
    """
    counts = grid.counts()
    across = [_change(plane, grid) for plane in planes]
    turned = BlockGrid(grid.width, grid.height, grid.size)
    down = [_change(plane.T, turned).T for plane in planes]
    return Slopes(np.stack(across) / counts, np.stack(down) / counts)


def _change(plane: Plane, grid: BlockGrid) -> Float:
    """Sum over each block of central differences across: what telescopes to its two edges."""
    starts = np.arange(0, grid.width, grid.size)
    ends = np.append(starts[1:], grid.width)
    last = grid.width - 1

    def edge(columns: npt.NDArray[np.int_]) -> Float:
        before, after = np.clip(columns - 1, 0, last), np.clip(columns, 0, last)
        pairs = plane[:, before].astype(np.float64) + plane[:, after]
        rows = np.arange(0, grid.height, grid.size)
        summed: Float = np.add.reduceat(pairs, rows, axis=0) / 2
        return summed

    return edge(ends) - edge(starts)


def fit_shift(
    means: Float, weights: Float, spread: float, slopes: Sequence[Slopes], index: int | None
) -> Shift | None:
    """Fit how far a pass, or all together, stand off the beauty.

    Parameters
    ----------
    means : ndarray
        Beauty less the passes, shape (3, rows, columns) of blocks.
    weights : ndarray
        Inverse variances, 0 for blocks left out.
    spread : float
        How much more than independent blocks groups of them vary.
    slopes : sequence of Slopes
        Of the pass, or of all.
    index : int or None
        Which pass it is.

    Returns
    -------
    Shift or None
        None if it did not move by a quarter of a pixel or more, as far as noise lets tell. Shifts
        up to a few pixels are found.
    """
    across = np.sum([slope.across for slope in slopes], axis=0)
    down = np.sum([slope.down for slope in slopes], axis=0)
    kept = weights > 0
    columns = np.stack([across[kept], down[kept]], 1)
    wanted, base = means[kept], weights[kept]
    shift, inverse = np.zeros(2), np.zeros((2, 2))
    for _ in range(_ROUNDS):
        off = np.abs(wanted - columns @ shift) * np.sqrt(base)
        weighted = columns * (base * _HUBER / np.maximum(off, _HUBER))[:, None]
        gram = weighted.T @ columns
        if not np.all(np.diag(gram) > 0):
            return None
        inverse = np.linalg.pinv(gram, hermitian=True)
        shift = inverse @ (weighted.T @ wanted)
    error = float(np.sqrt(np.trace(inverse) * spread))
    if not max(_LEAST_PIXELS, _SURE * error) < float(np.hypot(*shift)) < _MOST_PIXELS:
        return None
    return Shift(index, float(shift[0]), float(shift[1]))
