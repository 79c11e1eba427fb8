"""Counting what is wrong with the numbers of a pass, and replacing NaN and Inf by a stated rule.

Floating-point numbers of one sign are ordered like their bits taken as integers (IEEE 754), so
two integer extremes tell at the speed of memory that a plane is in order.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from evenfall.passes.image import Array, PixelCensus

__all__ = ["NonFiniteRule", "count_and_replace"]

NonFiniteRule = Literal["black", "neighbours"]

_STRIP_ROWS = 128
_WIDEST_RADIUS = 4
_BATCH = 1 << 16


class _Bits(NamedTuple):
    """Bit patterns of a floating-point type as signed integers."""

    integer: type[np.signedinteger]
    infinity: int
    largest_half: int | None
    minus_zero: int


_LAYOUTS = {
    np.dtype(np.float16): _Bits(np.int16, 0x7C00, 0x7BFF, -0x8000),
    np.dtype(np.float32): _Bits(np.int32, 0x7F800000, None, -0x80000000),
}


def count_and_replace(
    planes: Sequence[Array], alpha: Array | None, rule: NonFiniteRule
) -> PixelCensus:
    """Count broken pixels and replace those with NaN or Inf, in place.

    Parameters
    ----------
    planes : sequence of ndarray, each of shape (H, W)
        float16 or float32, all of the same type.
    alpha : ndarray or None
        Shape (H, W), float16 or float32.
    rule : {"black", "neighbours"}
        A pixel with NaN or Inf in any channel becomes 0 in all of them, or in each channel the
        median of the sound pixels among its 8 neighbours (of a wider square, up to 9 x 9, where
        none is sound; 0 beyond).

    Returns
    -------
    PixelCensus
        Counted before the replacement.

    Examples
    --------
    >>> plane = np.array([[1.0, np.nan, 3.0]], np.float32)
    >>> count_and_replace([plane], None, "neighbours")
    PixelCensus(nan=1, infinite=0, negative=0, overflow=0, replaced=1)
    >>> plane.tolist()
    [[1.0, 2.0, 3.0]]
    """
    channels = [*planes, *([] if alpha is None else [alpha])]
    if all(_in_order(channel) for channel in channels):
        return PixelCensus()
    nan = infinite = negative = overflow = 0
    broken: list[npt.NDArray[np.intp]] = []
    for top in range(0, channels[0].shape[0], _STRIP_ROWS):
        strips = [channel[top : top + _STRIP_ROWS] for channel in channels]
        faults = [_faults(strip) for strip in strips]
        is_nan = np.logical_or.reduce([fault.nan for fault in faults])
        is_infinite = np.logical_or.reduce([fault.infinite for fault in faults])
        nan += int(np.count_nonzero(is_nan))
        infinite += int(np.count_nonzero(is_infinite))
        light = faults[: len(planes)]
        negative += _count_any([fault.negative for fault in light])
        overflow += _count_any([fault.overflow for fault in light])
        found = np.argwhere(is_nan | is_infinite)
        if len(found):
            broken.append(found + np.array([top, 0]))
    places = np.concatenate(broken) if broken else np.empty((0, 2), np.intp)
    if len(places):
        _replace(channels, places, rule)
    return PixelCensus(nan, infinite, negative, overflow, len(places))


def _count_any(masks: Sequence[npt.NDArray[np.bool_]]) -> int:
    return int(np.count_nonzero(np.logical_or.reduce(masks)))


def _in_order(channel: Array) -> bool:
    """Say whether all values are finite, not negative and below the largest half."""
    layout = _LAYOUTS[channel.dtype]
    bits = channel.view(layout.integer)
    bound = layout.infinity if layout.largest_half is None else layout.largest_half
    return bool(bits.min(initial=0) >= 0 and bits.max(initial=0) < bound)


class _Faults(NamedTuple):
    nan: npt.NDArray[np.bool_]
    infinite: npt.NDArray[np.bool_]
    negative: npt.NDArray[np.bool_]
    overflow: npt.NDArray[np.bool_]


def _faults(values: Array) -> _Faults:
    layout = _LAYOUTS[values.dtype]
    bits = values.view(layout.integer)
    # The sign bit is the smallest integer: xor-ing it away leaves the magnitude.
    magnitude = bits & layout.integer(-(layout.minus_zero + 1))
    nan = magnitude > layout.infinity
    infinite = magnitude == layout.infinity
    negative = (bits < 0) & (magnitude > 0) & ~nan
    if layout.largest_half is None:
        overflow = infinite
    else:
        overflow = (magnitude >= layout.largest_half) & ~nan
    return _Faults(nan, infinite, negative, overflow)


def _replace(channels: Sequence[Array], places: npt.NDArray[np.intp], rule: NonFiniteRule) -> None:
    rows, columns = places[:, 0], places[:, 1]
    if rule == "black":
        for channel in channels:
            channel[rows, columns] = 0
        return
    sound = np.ones(channels[0].shape, bool)
    sound[rows, columns] = False
    medians = [
        np.concatenate(
            [
                _medians(channel, sound, places[first : first + _BATCH])
                for first in range(0, len(places), _BATCH)
            ]
        )
        for channel in channels
    ]
    for channel, values in zip(channels, medians, strict=True):
        channel[rows, columns] = values


def _medians(
    channel: Array, sound: npt.NDArray[np.bool_], places: npt.NDArray[np.intp]
) -> npt.NDArray[np.float32]:
    height, width = channel.shape
    values = np.zeros(len(places), np.float32)
    open_ = np.arange(len(places))
    for radius in range(1, _WIDEST_RADIUS + 1):
        steps = np.arange(-radius, radius + 1)
        y = places[open_, 0, None, None] + steps[None, :, None]
        x = places[open_, 1, None, None] + steps[None, None, :]
        inside = (y >= 0) & (y < height) & (x >= 0) & (x < width)
        y, x = np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)
        usable = (inside & sound[y, x]).reshape(len(open_), -1)
        around = channel[y, x].astype(np.float32).reshape(len(open_), -1)
        counts = usable.sum(axis=1)
        ordered = np.sort(np.where(usable, around, np.float32(np.inf)), axis=1)
        some = counts > 0
        row = np.flatnonzero(some)
        low = ordered[row, (counts[some] - 1) // 2]
        high = ordered[row, counts[some] // 2]
        values[open_[some]] = low / 2 + high / 2
        open_ = open_[~some]
        if not len(open_):
            break
    return values
