"""Counting what is wrong with the numbers of a pass, and replacing NaN and Inf by a stated rule.

Floating-point numbers of one sign are ordered like their bits taken as integers (IEEE 754), and
those below 0 have the highest bit, so that the largest integer without a sign tells at the speed of
memory that a plane is in order.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from evenfall.passes.image import HUGE, Array, Brightest, PixelCensus

__all__ = ["NonFiniteRule", "count_and_replace"]

NonFiniteRule = Literal["black", "neighbours"]

_STRIP_ROWS = 128
_WIDEST_RADIUS = 4
_BATCH = 1 << 16


class _Bits(NamedTuple):
    """Bit patterns of a floating-point type as integers, with a sign and without.

    `in_order` is the least magnitude at which something is to be told.
    """

    integer: type[np.signedinteger]
    whole: type[np.unsignedinteger]
    infinity: int
    in_order: int
    minus_zero: int


_LAYOUTS = {
    np.dtype(np.float16): _Bits(np.int16, np.uint16, 0x7C00, 0x7BFF, -0x8000),
    np.dtype(np.float32): _Bits(
        np.int32, np.uint32, 0x7F800000, int(np.float32(HUGE).view(np.int32)), -0x80000000
    ),
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
        Shape (H, W), float16 or float32. Where it is NaN or Inf it becomes 1 if the pixel has light
        and 0 if it is black, whatever the rule; the colour is kept.
    rule : {"black", "neighbours"}
        A pixel with NaN or Inf in R, G or B becomes 0 in all of them, or in each channel the
        median of the sound pixels among its 8 neighbours (of a wider square, up to 9 x 9, where
        none is sound; 0 beyond). Its alpha is kept.

    Returns
    -------
    PixelCensus
        Counted before the replacement.

    Examples
    --------
    >>> plane = np.array([[1.0, np.nan, 3.0]], np.float32)
    >>> census = count_and_replace([plane], None, "neighbours")
    >>> census.nan, census.replaced, plane.tolist()
    (1, 1, [[1.0, 2.0, 3.0]])
    """
    census = PixelCensus()
    if not all(_in_order(plane) for plane in planes):
        census, places = _counted(planes)
        if len(places):
            _replace(planes, places, rule)
    if alpha is not None and not _in_order(alpha):
        census = dataclasses.replace(census, alpha=_mend_alpha(alpha, planes))
    return census


def _counted(planes: Sequence[Array]) -> tuple[PixelCensus, npt.NDArray[np.intp]]:
    """Census of planes, and the places that hold NaN or Inf."""
    census = PixelCensus()
    broken: list[npt.NDArray[np.intp]] = []
    for top in range(0, planes[0].shape[0], _STRIP_ROWS):
        strips = [plane[top : top + _STRIP_ROWS] for plane in planes]
        faults = [_faults(strip) for strip in strips]
        is_nan = np.logical_or.reduce([fault.nan for fault in faults])
        is_infinite = np.logical_or.reduce([fault.infinite for fault in faults])
        is_huge = np.logical_or.reduce([fault.huge for fault in faults])
        found = np.argwhere(is_nan | is_infinite)
        if len(found):
            broken.append(found + np.array([top, 0]))
        census += PixelCensus(
            nan=int(np.count_nonzero(is_nan)),
            infinite=int(np.count_nonzero(is_infinite)),
            negative=_count_any([fault.negative for fault in faults]),
            overflow=_count_any([fault.overflow for fault in faults]),
            replaced=len(found),
            huge=int(np.count_nonzero(is_huge)),
            brightest=_brightest(strips, is_huge),
        ).lowered(top)
    return census, np.concatenate(broken) if broken else np.empty((0, 2), np.intp)


def _brightest(strips: Sequence[Array], is_huge: npt.NDArray[np.bool_]) -> Brightest | None:
    places = np.argwhere(is_huge)
    if not len(places):
        return None
    rows, columns = places.T
    values = np.stack([strip[rows, columns] for strip in strips])
    values = np.where(np.isfinite(values), values, 0)
    channel, at = np.unravel_index(np.argmax(np.abs(values)), values.shape)
    return Brightest(int(columns[at]), int(rows[at]), float(values[channel, at]))


def _mend_alpha(alpha: Array, planes: Sequence[Array]) -> int:
    """Mend alpha that is not finite, in place; the number of pixels."""
    broken = ~np.isfinite(alpha)
    lit = np.logical_or.reduce([plane[broken] > 0 for plane in planes])
    alpha[broken] = lit
    return int(np.count_nonzero(broken))


def _count_any(masks: Sequence[npt.NDArray[np.bool_]]) -> int:
    return int(np.count_nonzero(np.logical_or.reduce(masks)))


def _in_order(channel: Array) -> bool:
    """Say whether all values are finite, not negative, and below what has to be told."""
    layout = _LAYOUTS[channel.dtype]
    bits = channel.view(layout.whole)
    return bool(bits.max(initial=0) < layout.in_order)


class _Faults(NamedTuple):
    nan: npt.NDArray[np.bool_]
    infinite: npt.NDArray[np.bool_]
    negative: npt.NDArray[np.bool_]
    overflow: npt.NDArray[np.bool_]
    huge: npt.NDArray[np.bool_]


def _faults(values: Array) -> _Faults:
    layout = _LAYOUTS[values.dtype]
    bits = values.view(layout.integer)
    # The sign bit is the smallest integer: xor-ing it away leaves the magnitude.
    magnitude = bits & layout.integer(-(layout.minus_zero + 1))
    nan = magnitude > layout.infinity
    infinite = magnitude == layout.infinity
    negative = (bits < 0) & (magnitude > 0) & ~nan
    far = magnitude >= layout.in_order
    none = np.zeros(values.shape, bool)
    if values.dtype == np.float16:
        return _Faults(nan, infinite, negative, far & ~nan, none)
    return _Faults(nan, infinite, negative, none, far & ~nan & ~infinite)


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
