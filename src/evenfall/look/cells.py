"""Square cells of pixels: smooth things are computed on their means and interpolated."""

from __future__ import annotations

import numpy as np

from evenfall.look.arrays import Plane

__all__ = ["cell_means", "from_cells"]


def cell_means(plane: Plane, cell: int) -> Plane:
    """Means over cells of `cell` x `cell` pixels; past the border the picture is mirrored.

    Examples
    --------
    >>> cell_means(np.arange(12, dtype=np.float32).reshape(2, 6), 2).tolist()
    [[3.5, 5.5, 7.5]]
    """
    rows, columns = (-(-count // cell) for count in plane.shape)
    missing = ((0, rows * cell - plane.shape[0]), (0, columns * cell - plane.shape[1]))
    if any(after for _, after in missing):
        plane = np.pad(plane, missing, mode="symmetric")
    summed = plane.reshape(rows, cell, columns * cell).sum(axis=1)
    means: Plane = summed.reshape(rows, columns, cell).sum(axis=2) / np.float32(cell * cell)
    return means


def from_cells(cells: Plane, cell: int, shape: tuple[int, ...]) -> Plane:
    """Values at the pixels of values given on cells, by cubics (Keys 1981, a = -0.5).

    Examples
    --------
    >>> from_cells(np.full((2, 3), 0.5, np.float32), 4, (8, 11)).shape
    (8, 11)
    """
    if cell == 1:
        return cells
    from PIL import Image

    height, width = shape
    box = (0.0, 0.0, width / cell, height / cell)
    image = Image.fromarray(cells).resize((width, height), Image.Resampling.BICUBIC, box)
    return np.asarray(image)
