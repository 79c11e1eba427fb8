"""Smooth gamut compression: colours outside the display's gamut are drawn in, not cut off.

Two steps, both on display-linear values in the output's primaries.

*Towards the achromatic axis.* The distance of a channel from the largest one, as a share of it, is
compressed above a threshold by the parametric curve of the ACES reference gamut compression
(published with ACES 1.3), so that the furthest colour of the rendering space lands on the gamut's
edge. That method compresses each channel on its own, which turns hues; here the channel that has to
move most decides, and all three move towards the largest by the same factor: the dominant
wavelength stays.

*Below white.* A saturated highlight can still be too bright for the display in one channel. With m
the largest channel and s = (m - min) / m the saturation, m is compressed above
``t = 1 - s (1 - threshold)`` towards the display's peak in the same manner, with the limit at
infinity; greys, with s = 0, are left alone up to white. The colour is scaled down with its largest
channel, and half of the share that this takes away is given back as white, as between dimming and
bleaching. The dominant wavelength stays.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from evenfall.light.curve_table import PIECE_WIDTH, CurveTable
from evenfall.light.primaries import RgbSpace, conversion_matrix
from evenfall.look.arrays import Matrix, Plane, Planes
from evenfall.system.scratch import buffer

__all__ = ["GamutCompression", "compress_distance", "furthest_distances"]

_POWER = 1.2  # of the ACES reference gamut compression
_BLEACHING = np.float32(0.5)
_GREY = np.float32(1e-3)  # saturation below which a colour is left to the final cut at white
_SMALLEST = np.float32(1e-7)
_FURTHEST = 2.0**24  # distances are told apart up to here: the largest channel over _SMALLEST


@cache
def furthest_distances(working: RgbSpace, output: RgbSpace) -> Matrix:
    """Largest distance of any colour of one space from the achromatic axis of another.

    Parameters
    ----------
    working, output : RgbSpace
        The space the colours come from, and the one in which distance is measured.

    Returns
    -------
    ndarray of float, shape (3,)
        For R, G, B of `output`: the largest ``(max - channel) / max``; 1 is the gamut's edge.
        Read-only.

    Examples
    --------
    >>> from evenfall.light.primaries import ACESCG, BT709
    >>> furthest_distances(ACESCG, BT709).round(3).tolist()
    [1.631, 1.091, 1.15]
    """
    share = np.linspace(0.0, 1.0, 16_385)
    edges = []
    for full in range(3):
        for varied in range(3):
            if full != varied:
                edge = np.zeros((3, share.size))
                edge[full], edge[varied] = 1.0, share
                edges.append(edge)
    colours = conversion_matrix(working, output) @ np.concatenate(edges, axis=1)
    largest = colours.max(axis=0)
    distances: Matrix = ((largest - colours) / largest).max(axis=1)
    distances.setflags(write=False)
    return distances


def compress_distance(distance: Matrix, threshold: float, limit: float) -> Matrix:
    """Compress distances above a threshold so that `limit` lands on 1.

    Source: the parametric compression of the ACES reference gamut compression, power 1.2.

    Parameters
    ----------
    distance : ndarray of float
        Distances from the achromatic axis; 1 is the gamut's edge.
    threshold : float
        Distances up to here stay as they are; 0 to below 1.
    limit : float
        Above 1.

    Examples
    --------
    >>> compress_distance(np.array([0.5, 1.147]), 0.815, 1.147).round(4).tolist()
    [0.5, 1.0]
    """
    steepness = ((1.0 - threshold) / (limit - threshold)) ** -_POWER - 1.0
    scale = (limit - threshold) / steepness ** (1.0 / _POWER)
    over = np.maximum(distance - threshold, 0.0)
    return np.where(over > 0, threshold + scale * _bent(over / scale), distance)


def _bent(over: Matrix) -> Matrix:
    """Shorten what lies over a threshold: ``x (1 + x^p)^(-1/p)``, which nears 1."""
    shortened: Matrix = over * (1.0 + over**_POWER) ** (-1 / _POWER)
    return shortened


@cache
def _shortening(threshold: float, limit: float) -> CurveTable:
    """Factor by which a distance is shortened, as a table."""

    def factor(distance: Matrix) -> Matrix:
        far = np.maximum(distance, _FURTHEST**-1)
        return compress_distance(far, threshold, limit) / far

    return CurveTable(factor, top=_FURTHEST)


@cache
def _bent_table() -> CurveTable:
    return CurveTable(_bent, top=_FURTHEST)


class GamutCompression:
    """Gamut compression from a working space into an output space.

    Parameters
    ----------
    working, output : RgbSpace
    threshold : float
        Share of the way to the gamut's edge below which nothing changes; 0 to below 1.
    peak : float
        Largest value that can be shown; infinite for scene-linear values, which have no ceiling.

    Examples
    --------
    >>> from evenfall.light.primaries import ACESCG, BT709
    >>> compress = GamutCompression(ACESCG, BT709, threshold=0.8)
    >>> planes = np.array([[0.5, 0.5], [0.3, -0.1], [0.4, 0.1]], np.float32)
    >>> compress(planes)
    >>> (planes * 1000).round().tolist()
    [[500.0, 500.0], [300.0, -21.0], [400.0, 153.0]]
    """

    def __init__(
        self,
        working: RgbSpace,
        output: RgbSpace,
        threshold: float,
        *,
        peak: float = 1.0,
    ) -> None:
        limits = furthest_distances(working, output)
        self._threshold = np.float32(threshold)
        # The table rounds the corner at the threshold a little; below that it is exactly 1, and
        # whether it is asked makes no difference to a pixel, whatever its neighbours are.
        self._unshortened = np.float32(threshold * (1 - PIECE_WIDTH))
        self._shortenings = [
            (channel, _shortening(threshold, float(limit)))
            for channel, limit in enumerate(limits)
            if limit > 1.0  # otherwise nothing lies outside on this side
        ]
        self._peak = np.float32(peak)

    def __call__(self, planes: Planes) -> None:
        """Compress in place.

        Parameters
        ----------
        planes : ndarray of float32, C-contiguous, shape (3, ...)
            Linear values in the output's primaries.
        """
        flat = planes.reshape(3, -1)
        largest: Plane = buffer("largest channel", flat.shape[1:])
        np.maximum(np.maximum(flat[0], flat[1], out=largest), flat[2], out=largest)
        self._draw_in(flat, largest)
        if np.isfinite(self._peak):
            self._hold_below_white(flat, largest)

    def _draw_in(self, flat: Planes, largest: Plane) -> None:
        """Bring all three channels nearer to the largest, which stays."""
        smallest: Plane = buffer("smallest channel", largest.shape)
        np.minimum(np.minimum(flat[0], flat[1], out=smallest), flat[2], out=smallest)
        near = np.multiply(largest, 1 - self._threshold, out=buffer("near", largest.shape))
        far = np.flatnonzero(smallest < near)
        if far.size == 0:
            return
        top = np.maximum(largest[far], _SMALLEST)
        colours = _gather(flat, far)
        distances = np.subtract(top, colours, out=buffer("distances", colours.shape))
        distances /= top
        factor = np.ones_like(top)
        for channel, shortening in self._shortenings:
            if distances[channel].max() > self._unshortened:
                np.minimum(factor, shortening(distances[channel]), out=factor)
        colours -= top
        colours *= factor
        colours += top
        _scatter(colours, flat, far)

    def _hold_below_white(self, flat: Planes, largest: Plane) -> None:
        """Bring the largest channel down to the display's peak, the others with it."""
        bright = np.flatnonzero(largest > self._threshold * self._peak)
        if bright.size == 0:
            return
        colours, largest = _gather(flat, bright), largest[bright]
        saturation = np.clip((largest - colours.min(axis=0)) / largest, 0, 1)
        room = np.maximum((1 - self._threshold) * saturation, _SMALLEST)
        over = largest / self._peak - (1 - room)
        high = np.flatnonzero((over > 0) & (saturation > _GREY))
        if high.size == 0:
            return
        colours, largest = colours.take(high, axis=1), largest[high]
        room, over, place = room[high], over[high], bright[high]
        held = self._peak * (1 - room + room * _bent_table()(over / room))
        scale = held / largest
        colours *= scale
        colours += _BLEACHING * (1 - scale) * (held - colours)
        _scatter(colours, flat, place)


def _gather(flat: Planes, places: npt.NDArray[np.intp]) -> Planes:
    """Colours at some places, channel by channel, in memory that is used again."""
    gathered: Planes = buffer("gathered", (3, places.size))
    for channel, values in enumerate(flat):
        np.take(values, places, out=gathered[channel], mode="clip")
    return gathered


def _scatter(colours: Planes, flat: Planes, places: npt.NDArray[np.intp]) -> None:
    for channel, values in enumerate(flat):
        values[places] = colours[channel]
