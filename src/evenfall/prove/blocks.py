"""Pictures reduced to blocks: means for fitting, checker differences for telling noise from light.

A block's checker difference is the mean of half of its 2 x 2 cells less the mean of the other half,
as on a draughtboard. Flat light and gradients cancel in it and grain does not, so a quarter of its
square estimates the noise variance of the block's mean. Both are linear in the picture: those of
any combination of passes follow without reading the passes again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["BlockGrid", "BlockPicture", "Float", "Plane", "pool", "reduce_picture"]

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
    """

    height: int
    width: int
    size: int

    @classmethod
    def for_picture(cls, height: int, width: int) -> BlockGrid:
        """Choose a block size that gives about 16,000 blocks.

        Examples
        --------
        >>> BlockGrid.for_picture(2160, 3840)
        BlockGrid(height=2160, width=3840, size=24)
        """
        side = (height * width / _WANTED_BLOCKS) ** 0.5
        return cls(height, width, max(_CELL, round(side / _CELL) * _CELL))

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

    def pixels(self, row: int, column: int) -> tuple[int, int, int, int]:
        """Left, top, right, bottom of a block in pixels; right and bottom outside of it."""
        left, top = column * self.size, row * self.size
        return left, top, min(left + self.size, self.width), min(top + self.size, self.height)


@dataclass(frozen=True, eq=False)
class BlockPicture:
    """Means and checker differences of a picture's blocks, each of shape (3, rows, columns)."""

    means: Float
    checker: Float


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
    means, checker = [], []
    for plane in planes:
        means.append(grid.sums(plane) / counts)
        checker.append(grid.sums(_draughtboard(plane)) * 2 / counts)
    return BlockPicture(np.stack(means), np.stack(checker))


def _draughtboard(plane: Plane) -> npt.NDArray[np.float32]:
    signed = plane.astype(np.float32)
    for row in range(_CELL):
        for column in range(_CELL):
            if (row // 2 + column // 2) % 2:
                view = signed[row::_CELL, column::_CELL]
                np.negative(view, out=view)
    return signed


def pool(blocks: Float, factor: int) -> Float:
    """Means of factor x factor blocks, over the last two axes; edge groups may be smaller."""
    rows = np.arange(0, blocks.shape[-2], factor)
    columns = np.arange(0, blocks.shape[-1], factor)
    sums = np.add.reduceat(np.add.reduceat(blocks, rows, axis=-2), columns, axis=-1)
    heights = np.diff(np.append(rows, blocks.shape[-2]))
    widths = np.diff(np.append(columns, blocks.shape[-1]))
    pooled: Float = sums / np.outer(heights, widths)
    return pooled
