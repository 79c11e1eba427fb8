"""Film-like grain: the same for a pixel's place in the picture, whatever the strip or the size.

The grain is a random field that belongs to the picture, not to its pixels: a lattice of random
numbers, as fine as half the grain size, each spread over its neighbours by a quadratic B-spline. A
pixel shows the field's mean over its own area, so that a small picture shows the pattern of a large
one, softer. Where the grain is far finer than a pixel, a coarser lattice stands for it, with the
deviation that the finer one's means would have.

The deviation follows a developed film as a sheet of random dots that either cover or do not: with a
share v of them developed the variance is proportional to ``v (1 - v)``, most in the mid-tones and
none in black and white. It is added to the display-encoded values, where equal steps look about
equal.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from evenfall.look.arrays import Planes
from evenfall.recipe.look import Grain as GrainSettings
from evenfall.system.scratch import buffer

__all__ = ["Grain", "lattice_noise"]

_STRONGEST = 0.05  # deviation of the field in encoded values at strength 1, in the mid-tones
_SHARED = 0.8  # share of the grain's deviation common to the three channels
_CELLS_PER_GRAIN = 2.0
_MOST_CELLS_PER_PIXEL = 32.0  # along a side; a grain of the usual size is finer below 105 pixels
_MOST_LATTICE = 1 << 22  # lattice numbers made at a time

Floats = npt.NDArray[np.float32]


def lattice_noise(
    rows: npt.NDArray[np.int64], columns: int, seed: int, first_column: int = 0
) -> Floats:
    """Random numbers of mean 0 and variance 1 on lattice rows.

    Each number is a hash of its place and the seed (the 32-bit finaliser of MurmurHash3, public
    domain, A. Appleby), four bytes of which are added: about normal, bounded, and the same on
    every machine.

    Parameters
    ----------
    rows : ndarray of int, shape (n,)
        Row numbers.
    columns : int
        How many columns.
    seed : int
    first_column : int
        Number of the first column, from 0.

    Returns
    -------
    ndarray of float32, shape (n, columns)

    Examples
    --------
    >>> first = lattice_noise(np.array([5]), 8, seed=1)
    >>> again = lattice_noise(np.array([4, 5]), 8, seed=1)[1:]
    >>> bool((first == again).all())
    True
    """
    across = np.arange(first_column, first_column + columns, dtype=np.uint32)
    across *= np.uint32(0x9E3779B1)
    down = rows.astype(np.uint32) * np.uint32(0x85EBCA77)
    down = _scramble(down + _scramble(np.array([seed], np.uint32)))
    shape = (len(rows), columns)
    hashed = np.bitwise_xor(across, down[:, None], out=buffer("lattice", shape, np.uint32))
    pairs = np.right_shift(_scramble(hashed), np.uint32(8), out=buffer("pairs", shape, np.uint32))
    for number in (hashed, pairs):
        np.bitwise_and(number, np.uint32(0x00FF00FF), out=number)
    pairs += hashed
    np.right_shift(pairs, np.uint32(16), out=hashed)
    pairs &= np.uint32(0xFFFF)
    pairs += hashed
    noise: Floats = pairs.astype(np.float32)
    noise -= np.float32(4 * 127.5)
    noise *= np.float32(1 / np.sqrt(4 * (256.0**2 - 1) / 12))
    return noise


def _scramble(numbers: npt.NDArray[np.uint32]) -> npt.NDArray[np.uint32]:
    """Mix the bits of numbers, in place."""
    shifted = buffer("scramble", numbers.shape, np.uint32)
    for shift, factor in ((16, 0x85EBCA6B), (13, 0xC2B2AE35), (16, 1)):
        np.right_shift(numbers, np.uint32(shift), out=shifted)
        numbers ^= shifted
        if factor != 1:
            numbers *= np.uint32(factor)
    return numbers


class _Spread:
    """How lattice numbers along one axis add up in pixels: a band of weights."""

    def __init__(self, pixels: int, cells_per_pixel: float) -> None:
        self._cells_per_pixel = cells_per_pixel
        edges = np.arange(pixels + 1) * cells_per_pixel
        self.first = np.floor(edges[:-1] - 1.5).astype(np.int64)
        self.taps = int(np.ceil(cells_per_pixel)) + 4
        cells = self.first[:, None] + np.arange(self.taps)
        left = edges[:-1, None] - cells
        right = edges[1:, None] - cells
        mean = (_spline_integral(right) - _spline_integral(left)) / cells_per_pixel
        self.weights = mean.astype(np.float32)

    def cells(self, pixels: int) -> int:
        """Lattice cells under so many pixels, or one more."""
        return int(np.ceil(pixels * self._cells_per_pixel)) + self.taps + 1

    def pixels(self, cells: int) -> int:
        """Pixels that need no more lattice cells than that, at least 1."""
        return max(1, int((cells - self.taps - 1) / self._cells_per_pixel))

    def variance(self) -> float:
        """Mean over pixels of the sum of squared weights."""
        return float((self.weights.astype(np.float64) ** 2).sum(axis=1).mean())


def _spline_integral(x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Integral up to x of the quadratic B-spline centred on 0, which is 1 in all."""
    x = np.clip(x, -1.5, 1.5)
    inner = 0.5 + 0.75 * x - x**3 / 3
    low = (x + 1.5) ** 3 / 6
    high = 1 - (1.5 - x) ** 3 / 6
    result: npt.NDArray[np.float64] = np.where(x < -0.5, low, np.where(x > 0.5, high, inner))
    return result


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
        self._width = size[0]
        wanted = _CELLS_PER_GRAIN / (settings.size * size[0])
        cells_per_pixel = min(wanted, _MOST_CELLS_PER_PIXEL)
        self._across = _Spread(size[0], cells_per_pixel)
        self._down = _Spread(size[1], cells_per_pixel)
        self._seeds = [4 * settings.seed + layer for layer in range(4)]
        # Unit deviation is that of the field itself, seen by an infinitely fine grid.
        fine = _Spread(64, 1.0 / 64).variance()
        self._scale = settings.strength * _STRONGEST / fine
        # The deviation of a mean of n x n independent numbers falls with n.
        self._scale *= cells_per_pixel / wanted

    def field(self, first_row: int, rows: int, seed: int) -> Floats:
        """Field of one layer on rows of the picture; shape (rows, width)."""
        field = np.zeros((rows, self._width), np.float32)
        for piece in self._pieces(rows):
            lines, columns = piece
            within = slice(first_row + lines.start, first_row + lines.stop)
            self._add_piece(field[piece], within, columns, seed)
        return field

    def _pieces(self, rows: int) -> Iterator[tuple[slice, slice]]:
        """Cut rows of the picture so that the lattice under each piece stays small."""
        down, across = self._down, self._across
        tall = min(rows, down.pixels(_MOST_LATTICE // across.cells(self._width)))
        wide = min(self._width, across.pixels(_MOST_LATTICE // down.cells(tall)))
        for top in range(0, rows, tall):
            for left in range(0, self._width, wide):
                yield (
                    slice(top, min(top + tall, rows)),
                    slice(left, min(left + wide, self._width)),
                )

    def _add_piece(self, field: Floats, rows: slice, columns: slice, seed: int) -> None:
        down, across = self._down, self._across
        first_down, first_across = down.first[rows], across.first[columns]
        top, left = int(first_down[0]), int(first_across[0])
        lattice = lattice_noise(
            np.arange(top, int(first_down[-1]) + down.taps) + 2,
            int(first_across[-1]) + across.taps - left,
            seed,
            left + 2,
        )
        blurred = np.zeros((lattice.shape[0], field.shape[1]), np.float32)
        term = buffer("grain across", blurred.shape)
        for tap in range(across.taps):
            np.take(lattice, first_across - left + tap, axis=1, out=term, mode="clip")
            term *= across.weights[columns, tap]
            blurred += term
        term = buffer("grain down", field.shape)
        for tap in range(down.taps):
            np.take(blurred, first_down - top + tap, axis=0, out=term, mode="clip")
            term *= down.weights[rows, tap, None]
            field += term

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
        shared = self.field(first_row, rows, self._seeds[3])
        shared *= np.float32(_SHARED * self._scale)
        own = np.float32(np.sqrt(1 - _SHARED**2) * self._scale)
        grain = np.empty((3, rows, self._width), np.float32)
        for channel in range(3):
            np.multiply(self.field(first_row, rows, self._seeds[channel]), own, out=grain[channel])
            grain[channel] += shared
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
