"""Pictures brought down by averaging areas, in scene-linear light; this commutes with the mix."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.mix.halves import widen

__all__ = ["area_mean", "area_mean_of_pixels", "area_mean_of_rows", "mean_of", "narrowed"]

Array = npt.NDArray[Any]

_ROOM = np.float32(2.0**20)  # more than are added up at once: sums of huge values stay finite
_BAND_PIXELS = 1 << 17  # widened, they stay in the processor's cache


def area_mean(plane: Array, size: tuple[int, int]) -> npt.NDArray[np.float32]:
    """Bring a plane down by averaging areas.

    Parameters
    ----------
    plane : ndarray, shape (H, W), float16 or float32
        Scene-linear values.
    size : tuple of int
        New width and height, not larger.

    Returns
    -------
    ndarray, shape (height, width), float32
        Each value is the mean over the area that the pixel covers, also where sizes do not divide.

    Examples
    --------
    >>> area_mean(np.array([[1, 3, 5, 7]], np.float16), (2, 1)).tolist()
    [[2.0, 6.0]]
    >>> area_mean(np.array([[1, 1, 4]], np.float32), (2, 1)).tolist()
    [[1.0, 3.0]]
    """
    width, height = size
    if plane.dtype != np.float32:
        return narrowed(_lower(plane, height), width)
    with np.errstate(over="ignore", invalid="ignore"):
        reduced = narrowed(_lower(plane, height), width)
        if np.isfinite(reduced).all():
            return reduced
        return narrowed(_lower(plane / _ROOM, height), width) * _ROOM


def area_mean_of_pixels(pixels: Array, size: tuple[int, int]) -> npt.NDArray[np.float32]:
    """Bring a picture down whose channels lie beside each other; each as `area_mean` does.

    Parameters
    ----------
    pixels : ndarray, C-contiguous, shape (H, W, C), float16 or float32
        Scene-linear values.
    size : tuple of int
        New width and height, not larger.

    Returns
    -------
    ndarray, shape (C, height, width), float32

    Examples
    --------
    >>> area_mean_of_pixels(np.array([[[1, 2], [3, 4]]], np.float32), (1, 1)).tolist()
    [[[2.0]], [[3.0]]]
    """
    width, height = size
    rows, columns, channels = pixels.shape
    with np.errstate(over="ignore", invalid="ignore"):
        lowered = _lower(pixels.reshape(rows, columns * channels), height)
        apart = np.moveaxis(lowered.reshape(height, columns, channels), -1, 0)
        reduced = np.stack([narrowed(np.ascontiguousarray(plane), width) for plane in apart])
    if np.isfinite(reduced).all():
        return reduced
    return np.stack([area_mean(plane, size) for plane in np.moveaxis(pixels, -1, 0)])


def area_mean_of_rows(
    rows: Callable[[slice], npt.NDArray[np.float32]],
    full: tuple[int, int],
    size: tuple[int, int],
    *,
    channels: int = 3,
    workers: int = 1,
) -> npt.NDArray[np.float32]:
    """Bring a picture down that is made some rows at a time, as `area_mean_of_pixels` does.

    Parameters
    ----------
    rows : callable
        Gives the pixels of some rows, shape (h, W, C), whose sums are finite.
    full, size : tuple of int
        Width and height of all, and the new ones, not larger.
    channels : int
        How many a pixel has.
    workers : int
        Threads; the result does not depend on them.

    Returns
    -------
    ndarray, shape (C, height, width), float32

    Examples
    --------
    >>> pixels = np.array([[[1, 2, 0], [3, 4, 0]]], np.float32)
    >>> area_mean_of_rows(lambda rows: pixels[rows], (2, 1), (1, 1)).tolist()
    [[[2.0]], [[3.0]], [[0.0]]]
    """
    (columns, lines), (width, height) = full, size
    first, weights = _shares(lines, height)
    taps = len(weights)
    reduced = np.empty((channels, height, width), np.float32)
    step = max(1, _BAND_PIXELS * height // (columns * lines))

    def band(top: int) -> None:
        bottom = min(top + step, height)
        strip = rows(slice(int(first[top]), min(int(first[bottom - 1]) + taps, lines)))
        low = np.empty((bottom - top, columns, channels), np.float32)
        for row in range(top, bottom):
            lowered = strip[first[row] - first[top] :]
            np.multiply(lowered[0], weights[0, row], out=low[row - top])
            for tap in range(1, taps):
                if weights[tap, row]:
                    low[row - top] += lowered[tap] * weights[tap, row]
        for channel in range(channels):
            plane = np.ascontiguousarray(low[..., channel])
            reduced[channel, top:bottom] = narrowed(plane, width)

    with ThreadPoolExecutor(workers, "rows") as pool:
        list(pool.map(band, range(0, height, step)))
    return reduced


def mean_of(plane: Array) -> float:
    """Mean of a plane, float16 or float32; summed in bands that stay in the processor's cache.

    Examples
    --------
    >>> mean_of(np.array([[1, 2], [3, 6]], np.float16))
    3.0
    """
    flat, total = plane.reshape(-1), 0.0
    scratch = np.empty(min(_BAND_PIXELS, flat.size), np.float32)
    for start in range(0, flat.size, _BAND_PIXELS):
        band = flat[start : start + _BAND_PIXELS]
        total += float(widen(band, scratch[: band.size]).sum(dtype=np.float64))
    return total / flat.size


def _shares(length: int, count: int) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.float32]]:
    """Say which source pixels each new one averages: the first of them, and weights (taps, count).

    Weights beyond the covered area are 0.
    """
    edges = np.arange(count + 1) * (length / count)
    first = np.floor(edges[:-1] + 1e-9).astype(np.intp)
    taps = int(np.max(np.ceil(edges[1:] - 1e-9).astype(np.intp) - first))
    left = first + np.arange(taps)[:, None]
    covered = np.minimum(left + 1, edges[1:]) - np.maximum(left, edges[:-1])
    weights = np.where(covered > 1e-9, covered, 0.0) * (count / length)
    return first, weights.astype(np.float32)


def _lower(plane: Array, height: int) -> npt.NDArray[np.float32]:
    """Bring the height of a plane down by area averaging."""
    if plane.shape[0] % height == 0:
        return _lower_evenly(plane, height)
    first, weights = _shares(plane.shape[0], height)
    taps, width = len(weights), plane.shape[1]
    reduced = np.empty((height, width), np.float32)
    scratch = np.empty(taps * width, np.float32)
    for row, start in enumerate(first):
        band = plane[start : start + taps]
        rows = widen(band.reshape(-1), scratch[: band.size]).reshape(band.shape)
        np.multiply(rows[0], weights[0, row], out=reduced[row])
        for tap in range(1, len(rows)):
            if weights[tap, row]:
                reduced[row] += rows[tap] * weights[tap, row]
    return reduced


def _lower_evenly(plane: Array, height: int) -> npt.NDArray[np.float32]:
    """Average whole rows, in bands of many."""
    taps, width = plane.shape[0] // height, plane.shape[1]
    reduced = np.empty((height, width), np.float32)
    rows = max(1, _BAND_PIXELS // (taps * width))
    scratch = np.empty(rows * taps * width, np.float32)
    for top in range(0, height, rows):
        target = reduced[top : top + rows]
        band = plane[top * taps : (top + len(target)) * taps]
        wide = widen(band.reshape(-1), scratch[: band.size]).reshape(len(target), taps, width)
        np.copyto(target, wide[:, 0])
        for tap in range(1, taps):
            np.add(target, wide[:, tap], out=target)
        np.multiply(target, np.float32(1 / taps), out=target)
    return reduced


def narrowed(plane: npt.NDArray[np.float32], width: int) -> npt.NDArray[np.float32]:
    """Bring the width of a plane down by area averaging."""
    if plane.shape[1] % width == 0:
        taps = plane.shape[1] // width
        evenly = plane[:, ::taps].copy()
        for tap in range(1, taps):
            np.add(evenly, plane[:, tap::taps], out=evenly)
        return np.multiply(evenly, np.float32(1 / taps), out=evenly)
    first, weights = _shares(plane.shape[1], width)
    reduced: npt.NDArray[np.float32] = np.take(plane, first, axis=1) * weights[0]
    for tap in range(1, len(weights)):
        column = np.minimum(first + tap, plane.shape[1] - 1)
        reduced += np.take(plane, column, axis=1) * weights[tap]
    return reduced
