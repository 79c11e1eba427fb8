"""The pattern of film-like grain: a random field that belongs to the picture, not to its pixels.

A lattice of random numbers, as fine as half the grain size, is spread over its neighbours by a
quadratic B-spline. A pixel shows the field's mean over its own area, so that a small picture shows
the pattern of a large one, softer. Where the grain is far finer than a pixel, a coarser lattice
stands for it.

A pattern is kept in eight bits a channel while anything uses it: moods and displays of one run
share it.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator
from weakref import WeakValueDictionary

import numpy as np
import numpy.typing as npt

from evenfall.system.scratch import buffer

__all__ = ["STEPS", "Pattern", "lattice_noise", "pattern_of"]

_SHARED = 0.8  # root of the correlation of two channels: what grain of one film has in common
_CELLS_PER_GRAIN = 2.0
_MOST_CELLS_PER_PIXEL = 32.0  # along a side; a grain of the usual size is finer below 105 pixels
_MOST_LATTICE = 1 << 22  # lattice numbers made at a time
STEPS = 32.0
"""Codes of eight bits for one deviation of a pixel: four fit, and their steps are not seen."""

Floats = npt.NDArray[np.float32]
Codes = npt.NDArray[np.int8]


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
        # Cells whose spline, 1.5 to either side, reaches into a pixel.
        self.first = np.floor(edges[:-1] - 0.5).astype(np.int64)
        self.taps = int(np.ceil(cells_per_pixel)) + 3
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

    def deviation(self) -> float:
        """Deviation of a pixel for lattice numbers of deviation 1, in the mean over pixels."""
        return float(np.sqrt((self.weights.astype(np.float64) ** 2).sum(axis=1).mean()))


def _spline_integral(x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Integral up to x of the quadratic B-spline centred on 0, which is 1 in all."""
    x = np.clip(x, -1.5, 1.5)
    inner = 0.5 + 0.75 * x - x**3 / 3
    low = (x + 1.5) ** 3 / 6
    high = 1 - (1.5 - x) ** 3 / 6
    result: npt.NDArray[np.float64] = np.where(x < -0.5, low, np.where(x > 0.5, high, inner))
    return result


class Pattern:
    """Grain of one size in a picture of some size, before it has a strength.

    Parameters
    ----------
    grain_size : float
        Share of the picture's width.
    seed : int
    size : tuple of int
        Width and height of the picture in pixels.

    Attributes
    ----------
    deviation : float
        Deviation of a pixel, where 1 is that of the field itself, seen by an infinitely fine grid.
    """

    def __init__(self, grain_size: float, seed: int, size: tuple[int, int]) -> None:
        width, height = size
        wanted = _CELLS_PER_GRAIN / (grain_size * width)
        cells_per_pixel = min(wanted, _MOST_CELLS_PER_PIXEL)
        self._across = _Spread(width, cells_per_pixel)
        self._down = _Spread(height, cells_per_pixel)
        self._seeds = [3 * seed + layer for layer in range(3)]
        of_pixel = self._across.deviation() * self._down.deviation()
        of_field = _Spread(64, 1.0 / 64).deviation() ** 2
        # The deviation of a mean of n x n independent numbers falls with n.
        self.deviation = of_pixel / of_field * cells_per_pixel / wanted
        # Of three equal fields: so much of its own, so much of their sum, and the deviation is 1.
        own = np.sqrt(1 - _SHARED**2)
        self._own, self._common = own, (np.sqrt(1 + 2 * _SHARED**2) - own) / 3
        self._codes_a_unit = STEPS / of_pixel
        self._codes: Codes = np.empty((3, height, width), np.int8)
        self._is_made = np.zeros(height, bool)

    def rows(self, first_row: int, rows: int) -> Codes:
        """Codes of the three channels on rows of the picture; 32 is one deviation of a pixel.

        Parameters
        ----------
        first_row, rows : int
            The first row, and how many.

        Returns
        -------
        ndarray of int8, shape (3, rows, width)
            Not to be changed.
        """
        within = slice(first_row, first_row + rows)
        if not self._is_made[within].all():
            fields = np.stack([self._field(first_row, rows, seed) for seed in self._seeds])
            common = fields.sum(axis=0)
            common *= np.float32(self._common)
            fields *= np.float32(self._own)
            fields += common
            fields *= np.float32(self._codes_a_unit)
            np.rint(np.clip(fields, -127, 127, out=fields), out=fields)
            self._codes[:, within] = fields
            self._is_made[within] = True
        return self._codes[:, within]

    def _field(self, first_row: int, rows: int, seed: int) -> Floats:
        field = np.zeros((rows, len(self._across.first)), np.float32)
        for piece in self._pieces(rows):
            lines, columns = piece
            within = slice(first_row + lines.start, first_row + lines.stop)
            self._add_piece(field[piece], within, columns, seed)
        return field

    def _pieces(self, rows: int) -> Iterator[tuple[slice, slice]]:
        """Cut rows of the picture so that the lattice under each piece stays small."""
        down, across, width = self._down, self._across, len(self._across.first)
        tall = min(rows, down.pixels(_MOST_LATTICE // across.cells(width)))
        wide = min(width, across.pixels(_MOST_LATTICE // down.cells(tall)))
        for top in range(0, rows, tall):
            for left in range(0, width, wide):
                yield (slice(top, min(top + tall, rows)), slice(left, min(left + wide, width)))

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


_patterns: WeakValueDictionary[tuple[float, int, tuple[int, int]], Pattern] = WeakValueDictionary()
_recent: deque[Pattern] = deque(maxlen=4)
"""Small patterns that were asked for last, for pictures that follow one another quickly."""

_SMALL_PIXELS = 1 << 22
_lock = threading.Lock()


def pattern_of(grain_size: float, seed: int, size: tuple[int, int]) -> Pattern:
    """Give the pattern that others are using, or a new one.

    Examples
    --------
    >>> one = pattern_of(0.01, 1, (8, 4))
    >>> one is pattern_of(0.01, 1, (8, 4))
    True
    """
    key = (grain_size, seed, size)
    with _lock:
        pattern = _patterns.get(key)
        if pattern is None:
            pattern = _patterns[key] = Pattern(grain_size, seed, size)
            if size[0] * size[1] <= _SMALL_PIXELS:
                _recent.append(pattern)
        return pattern
