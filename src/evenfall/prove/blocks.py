"""Pictures reduced to blocks: means for fitting, checker differences for telling noise from light.

A block's checker difference is the mean of half of its 2 x 2 cells less the mean of the other half,
as on a draughtboard. Flat light and gradients cancel in it and grain does not, so a quarter of its
square estimates the noise variance of the block's mean. Two more differences, of columns and of
rows of cells, say the same where light is flat, and three tell it far better than one. All are
linear in the picture: those of any combination of passes follow without reading the passes again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["BlockGrid", "BlockPicture", "Float", "Plane", "block_sums", "pool", "reduce_picture"]

Float = npt.NDArray[np.float64]
Plane = npt.NDArray[np.float32] | npt.NDArray[np.float16]

_WANTED_BLOCKS = 16_000  # enough for 40 factors, small enough for any machine
_CELL = 4  # one draughtboard period, pixels


@dataclass(frozen=True)
class BlockGrid:
    """How a picture of height x width pixels is cut into square blocks.

    Parameters
    ----------
    height, width : int
        Size of the picture in pixels.
    size : int
        Side of a block in pixels, a multiple of 4. Blocks at the right and bottom edge hold the
        rest and may be smaller.
    left, top : int
        Pixels of the picture that are left away before the first block.
    """

    height: int
    width: int
    size: int
    left: int = 0
    top: int = 0

    @classmethod
    def for_picture(cls, height: int, width: int) -> BlockGrid:
        """Choose a block size that gives about 16,000 blocks.

        Examples
        --------
        >>> BlockGrid.for_picture(2160, 3840)
        BlockGrid(height=2160, width=3840, size=24, left=0, top=0)
        """
        side = (height * width / _WANTED_BLOCKS) ** 0.5
        return cls(height, width, max(_CELL, round(side / _CELL) * _CELL))

    def without_rest(self) -> BlockGrid:
        """Leave away what makes no whole blocks, at all sides: it is noisier than it can tell.

        Examples
        --------
        >>> BlockGrid(450, 803, 4).without_rest()
        BlockGrid(height=448, width=800, size=4, left=1, top=1)
        """
        height, width = (
            side // self.size * self.size or side for side in (self.height, self.width)
        )
        left, top = (self.width - width) // 2, (self.height - height) // 2
        return BlockGrid(height, width, self.size, left, top)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of blocks."""
        return -(-self.height // self.size), -(-self.width // self.size)

    def counts(self) -> Float:
        """Pixels in each block, shape of the grid."""
        rows = np.diff(np.append(np.arange(0, self.height, self.size), self.height))
        columns = np.diff(np.append(np.arange(0, self.width, self.size), self.width))
        return np.outer(rows, columns).astype(np.float64)

    def sums(self, plane: npt.NDArray[np.generic]) -> Float:
        """Sum of each block of a plane of shape (H, W); shape of the grid."""
        across = np.add.reduceat(
            plane, np.arange(0, self.width, self.size), axis=1, dtype=np.float64
        )
        return np.add.reduceat(across, np.arange(0, self.height, self.size), axis=0)

    def pixels(self, row: int, column: int, group: int = 1) -> tuple[int, int, int, int]:
        """Left, top, right, bottom of a block, or of group x group of them, in the picture.

        Right and bottom lie outside of it.
        """
        side = group * self.size
        left, top = column * side, row * side
        right, bottom = min(left + side, self.width), min(top + side, self.height)
        return self.left + left, self.top + top, self.left + right, self.top + bottom


@dataclass(frozen=True, eq=False)
class BlockPicture:
    """A picture's blocks.

    Parameters
    ----------
    means, checker : ndarray
        Means and checker differences, each of shape (3, rows, columns).
    stripes : ndarray or None
        Differences of columns and of rows of cells, shape (2, 3, rows, columns); None where they
        were not kept.
    """

    means: Float
    checker: Float
    stripes: Float | None = None

    @property
    def contrasts(self) -> Float:
        """All differences that are known, shape (1 or 3, 3, rows, columns)."""
        if self.stripes is None:
            return self.checker[None]
        return np.concatenate([self.checker[None], self.stripes])

    def scaled(self, factors: float | Float) -> BlockPicture:
        """Multiply the picture by a factor, or one a channel: shape (3, 1, 1)."""
        stripes = None if self.stripes is None else factors * self.stripes
        return BlockPicture(factors * self.means, factors * self.checker, stripes)

    def less(self, other: BlockPicture) -> BlockPicture:
        """Take another picture away."""
        both = self.stripes is not None and other.stripes is not None
        stripes = self.stripes - other.stripes if both else None  # type: ignore[operator]
        return BlockPicture(self.means - other.means, self.checker - other.checker, stripes)


def reduce_picture(planes: Sequence[Plane], grid: BlockGrid) -> BlockPicture:
    """Reduce a picture to blocks.

    Parameters
    ----------
    planes : sequence of 3 ndarray
        R, G, B of shape (H, W), scene-linear, finite.
    grid : BlockGrid
        How to cut it.

    Examples
    --------
    >>> grid = BlockGrid(8, 8, 4)
    >>> flat = reduce_picture([np.full((8, 8), 0.5, np.float32)] * 3, grid)
    >>> flat.means[0].tolist(), flat.checker[0].tolist()
    ([[0.5, 0.5], [0.5, 0.5]], [[0.0, 0.0], [0.0, 0.0]])
    """
    counts = grid.counts()
    coarse = BlockGrid(-(-grid.height // _CELL), -(-grid.width // _CELL), grid.size // _CELL)
    reduced = np.stack([_reduced_plane(plane, coarse) for plane in planes], 1) / counts
    return BlockPicture(reduced[0], 2 * reduced[1], 2 * reduced[2:])


def _reduced_plane(plane: Plane, coarse: BlockGrid) -> Float:
    """Sum, draughtboard, columns and rows of each block; shape (4, rows, columns)."""
    quarters = _quarters(plane)
    (upper_left, upper_right), (lower_left, lower_right) = quarters
    total = upper_left + upper_right + lower_left + lower_right
    whole = np.zeros_like(total, dtype=bool)
    whole[: plane.shape[0] // _CELL, : plane.shape[1] // _CELL] = True  # of 4 x 4 pixels
    differences = (
        upper_left + lower_right - upper_right - lower_left,
        upper_left + lower_left - upper_right - lower_right,
        upper_left + upper_right - lower_left - lower_right,
    )
    return np.stack([coarse.sums(total), *(coarse.sums(each * whole) for each in differences)])


def _quarters(plane: Plane) -> npt.NDArray[np.float32]:
    """Sum 2 x 2 pixels, by their place in 4 x 4 pixels; shape (2, 2, rows, columns)."""
    light = plane.astype(np.float32, copy=False)
    missing = [(0, -side % _CELL) for side in light.shape]
    if any(after for _, after in missing):
        light = np.pad(light, missing)
    rows = light[0::2] + light[1::2]
    cells = rows[:, 0::2] + rows[:, 1::2]
    return np.stack([[cells[y::2, x::2] for x in (0, 1)] for y in (0, 1)])


def block_sums(blocks: Float, factor: int) -> Float:
    """Sum factor x factor blocks, over the last two axes; edge groups may be smaller."""
    rows = np.arange(0, blocks.shape[-2], factor)
    columns = np.arange(0, blocks.shape[-1], factor)
    summed: Float = np.add.reduceat(np.add.reduceat(blocks, rows, axis=-2), columns, axis=-1)
    return summed


def pool(blocks: Float, factor: int) -> Float:
    """Means of factor x factor blocks, over the last two axes; edge groups may be smaller."""
    heights = np.diff(np.append(np.arange(0, blocks.shape[-2], factor), blocks.shape[-2]))
    widths = np.diff(np.append(np.arange(0, blocks.shape[-1], factor), blocks.shape[-1]))
    pooled: Float = block_sums(blocks, factor) / np.outer(heights, widths)
    return pooled
