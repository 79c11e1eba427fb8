"""Square cells of pixels: smooth things are computed on their means and interpolated."""

from __future__ import annotations

import numpy as np

from evenfall.look.arrays import Plane
from evenfall.mix.averaging import area_mean
from evenfall.system.scratch import buffer

__all__ = ["cell_means", "from_cells"]

_TAPS = 4


def cell_means(plane: Plane, cell: int) -> Plane:
    """Means over cells of `cell` x `cell` pixels; past the border the picture is mirrored.

    Examples
    --------
    >>> cell_means(np.arange(12, dtype=np.float32).reshape(2, 6), 2).tolist()
    [[3.5, 5.5, 7.5]]
    """
    if cell == 1:
        return plane.copy()
    rows, columns = (-(-count // cell) for count in plane.shape)
    missing = ((0, rows * cell - plane.shape[0]), (0, columns * cell - plane.shape[1]))
    if any(after for _, after in missing):
        plane = np.pad(plane, missing, mode="symmetric")
    return area_mean(plane, (columns, rows))


def from_cells(cells: Plane, cell: int, shape: tuple[int, ...]) -> Plane:
    """Values at the pixels of values given on cells, by cubics (Keys 1981, a = -0.5).

    Past the border the picture is mirrored.

    Examples
    --------
    >>> from_cells(np.full((2, 3), 0.5, np.float32), 4, (8, 11)).shape
    (8, 11)
    """
    if cell == 1:
        return cells
    height, width = shape
    rows, columns = cells.shape
    padded = np.pad(cells, 2, mode="symmetric")
    wide = buffer("wide", (rows + 4, columns * cell))
    for phase in range(cell):
        first, weights = _cubic(phase, cell)
        parts = [padded[:, first + tap :][:, :columns] for tap in range(_TAPS)]
        wide[:, phase::cell] = _weighted(parts, weights)
    whole: Plane = np.empty((rows * cell, columns * cell), np.float32)
    for phase in range(cell):
        first, weights = _cubic(phase, cell)
        parts = [wide[first + tap :][:rows] for tap in range(_TAPS)]
        whole[phase::cell] = _weighted(parts, weights)
    return np.ascontiguousarray(whole[:height, :width])


def _weighted(parts: list[Plane], weights: list[np.float32]) -> Plane:
    total, term = buffer("cubic", parts[0].shape), buffer("cubic term", parts[0].shape)
    np.multiply(parts[0], weights[0], out=total)
    for part, weight in zip(parts[1:], weights[1:], strict=True):
        np.multiply(part, weight, out=term)
        np.add(total, term, out=total)
    result: Plane = total
    return result


def _cubic(phase: int, cell: int) -> tuple[int, list[np.float32]]:
    """Where among cells padded by 2 the pixels of a phase begin, and the weights of their taps."""
    place = (phase + 0.5) / cell - 0.5
    base = int(np.floor(place))
    away = np.abs(place - base + 1 - np.arange(_TAPS))
    near = 1.5 * away**3 - 2.5 * away**2 + 1
    far = -0.5 * away**3 + 2.5 * away**2 - 4 * away + 2
    weights = np.where(away <= 1, near, far)
    return base + 1, [np.float32(weight) for weight in weights]
