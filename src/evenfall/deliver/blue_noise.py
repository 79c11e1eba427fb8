"""A tile of blue noise: thresholds without low frequencies, so that dithering looks like grain.

The tile is made by void and cluster (R. A. Ulichney, "The void-and-cluster method for dither array
generation", Proc. SPIE 1913, 1993) and lies in the package, so that every machine writes the same
bytes. `void_and_cluster` is what made it: ``np.save("blue_noise.npy", void_and_cluster(128))``.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

__all__ = ["TILE", "thresholds", "void_and_cluster"]

TILE = 128
_SIGMA = 1.9  # width of the Gaussian that tells clusters from voids, pixels
_SEED = 1

Ranks = npt.NDArray[np.uint16]


@cache
def thresholds() -> npt.NDArray[np.float32]:
    """Thresholds in (0, 1), each of 16,384 values exactly once; shape (128, 128), read-only.

    Examples
    --------
    >>> tile = thresholds()
    >>> tile.shape, float(tile.mean())
    ((128, 128), 0.5)
    """
    ranks: Ranks = np.load(Path(__file__).with_name("blue_noise.npy"), allow_pickle=False)
    tile = (ranks.astype(np.float32) + np.float32(0.5)) / np.float32(ranks.size)
    tile.setflags(write=False)
    return tile


def void_and_cluster(size: int) -> Ranks:
    """Ranks 0 .. size^2 - 1 in blue-noise order; shape (size, size), wraps around.

    Examples
    --------
    >>> sorted(void_and_cluster(8).ravel().tolist()) == list(range(64))
    True
    """
    minority = size * size // 10
    lit = np.zeros(size * size, dtype=bool)
    lit[np.random.default_rng(_SEED).permutation(size * size)[:minority]] = True
    crowding = _Crowding(size, np.flatnonzero(lit))
    while True:  # even out the first points
        cluster = crowding.tightest(lit)
        lit[cluster] = False
        crowding.change(cluster, -1.0)
        void = crowding.largest_void(lit)
        lit[void] = True
        crowding.change(void, 1.0)
        if void == cluster:
            break
    ranks = np.zeros(size * size, dtype=np.uint16)
    fewer, crowding_of_fewer = lit.copy(), _Crowding(size, np.flatnonzero(lit))
    for rank in range(minority - 1, -1, -1):
        cluster = crowding_of_fewer.tightest(fewer)
        fewer[cluster] = False
        crowding_of_fewer.change(cluster, -1.0)
        ranks[cluster] = rank
    for rank in range(minority, size * size):
        void = crowding.largest_void(lit)
        lit[void] = True
        crowding.change(void, 1.0)
        ranks[void] = rank
    return ranks.reshape(size, size)


class _Crowding:
    """How crowded every place is by lit points, distances measured round the tile's edges."""

    def __init__(self, size: int, points: npt.NDArray[np.intp]) -> None:
        distance = np.minimum(np.arange(size), size - np.arange(size)).astype(float)
        squared = distance[:, None] ** 2 + distance[None, :] ** 2
        self._size = size
        self._kernel = np.tile(np.exp(-squared / (2 * _SIGMA**2)), (2, 2))
        self._field = np.zeros((size, size))
        for point in points:
            self.change(int(point), 1.0)

    def change(self, point: int, sign: float) -> None:
        row, column = divmod(point, self._size)
        size = self._size
        shifted = self._kernel[size - row : 2 * size - row, size - column : 2 * size - column]
        self._field += sign * shifted

    def tightest(self, lit: npt.NDArray[np.bool_]) -> int:
        return int(np.argmax(np.where(lit, self._field.ravel(), -np.inf)))

    def largest_void(self, lit: npt.NDArray[np.bool_]) -> int:
        return int(np.argmin(np.where(lit, np.inf, self._field.ravel())))
