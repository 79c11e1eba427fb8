"""Cosine transforms of planes, by real Fourier transforms of as many numbers.

Makhoul 1980, "A fast cosine transform in one and two dimensions", IEEE Transactions on Acoustics,
Speech, and Signal Processing 28: what is even about its ends is transformed by taking every second
number forth and the others back. SciPy has these transforms, too; importing it takes 0.3 s, as long
as all else that a picture of a draft needs.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from evenfall.look.arrays import Plane

__all__ = ["even_spectrum", "from_spectrum", "spectrum_of"]

Floats = npt.NDArray[np.float64]
_CHUNK = 1 << 16  # numbers at a time, which stay in a near cache
_MINUS = np.float32(-1)  # numpy.negative of 2.4 mistakes the steps of such views


def spectrum_of(plane: Plane) -> Plane:
    """Cosine transform of a plane that is continued by its own mirror image; columns first.

    Parameters
    ----------
    plane : ndarray of float32, shape (H, W)

    Returns
    -------
    ndarray of float32, shape (W, H)
        Half of what is known as DCT-II, along both ways.

    Examples
    --------
    >>> abs(spectrum_of(np.ones((2, 3), np.float32))).tolist()
    [[6.0, 0.0], [0.0, 0.0], [0.0, 0.0]]
    """
    return _forth(_forth(plane).T)


def from_spectrum(spectrum: Plane) -> Plane:
    """Give the plane, shape (H, W), of a spectrum of shape (W, H).

    Examples
    --------
    >>> plane = np.arange(6, dtype=np.float32).reshape(2, 3)
    >>> bool(np.allclose(from_spectrum(spectrum_of(plane)), plane, atol=1e-6))
    True
    """
    return _back(_back(spectrum).T)


def even_spectrum(plane: Floats) -> Floats:
    """Fourier transform of a plane that is mirrored about its first and last numbers.

    Known as DCT-I.

    Examples
    --------
    >>> even_spectrum(np.array([[1.0, 2.0, 3.0], [0.0, 0.0, 0.0]])).tolist()
    [[8.0, -2.0, 0.0], [8.0, -2.0, 0.0]]
    """
    return _evenly(_evenly(plane).T).T


def _forth(plane: Plane) -> Plane:
    count, length = plane.shape
    half, middle = (length + 1) // 2, length // 2 + 1
    turn, result = _turn(length), np.empty((count, length), np.float32)
    for rows in _chunks(count, length):
        part, out = plane[rows], result[rows]
        mixed = np.empty(out.shape, np.float32)
        mixed[:, :half], mixed[:, half:] = part[:, ::2], part[:, 1::2][:, ::-1]
        waves = np.fft.rfft(mixed)
        waves *= turn
        out[:, :middle] = waves.real
        np.multiply(waves.imag[:, length - middle : 0 : -1], _MINUS, out=out[:, middle:])
    return result


def _back(plane: Plane) -> Plane:
    count, length = plane.shape
    half, middle = (length + 1) // 2, length // 2 + 1
    turn, result = _turn(length).conj(), np.empty((count, length), np.float32)
    for rows in _chunks(count, length):
        part, out = plane[rows], result[rows]
        waves = np.zeros((len(part), middle), np.complex64)
        waves.real = part[:, :middle]
        np.multiply(part[:, ::-1][:, : middle - 1], _MINUS, out=waves.imag[:, 1:])
        waves *= turn
        mixed = np.fft.irfft(waves, length)
        out[:, ::2], out[:, 1::2] = mixed[:, :half], mixed[:, half:][:, ::-1]
    return result


def _evenly(plane: Floats) -> Floats:
    result = np.empty(plane.shape)
    for rows in _chunks(*plane.shape):
        part = plane[rows]
        result[rows] = np.fft.rfft(np.concatenate([part, part[:, -2:0:-1]], axis=1)).real
    return result


def _turn(length: int) -> npt.NDArray[np.complex64]:
    """By how much each wave is turned, as the numbers lie half a step beside its own."""
    waves = np.arange(length // 2 + 1)
    turn: npt.NDArray[np.complex64] = np.exp(-0.5j * np.pi * waves / length).astype(np.complex64)
    return turn


def _chunks(count: int, length: int) -> Iterator[slice]:
    rows = max(1, _CHUNK // length)
    for top in range(0, count, rows):
        yield slice(top, top + rows)
