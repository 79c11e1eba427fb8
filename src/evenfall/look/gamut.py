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

import numpy as np

from evenfall.light.primaries import RgbSpace, conversion_matrix
from evenfall.look.arrays import Matrix, Plane, Planes

__all__ = ["GamutCompression", "compress_distance", "furthest_distances"]

_POWER = 1.2  # of the ACES reference gamut compression
_BLEACHING = np.float32(0.5)
_GREY = np.float32(1e-3)  # saturation below which a colour is left to the final cut at white
_SMALLEST = np.float32(1e-7)


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
    return distances


def compress_distance(distance: Plane, threshold: float, limit: float) -> Plane:
    """Compress distances above a threshold so that `limit` lands on 1.

    Source: the parametric compression of the ACES reference gamut compression, power 1.2.

    Parameters
    ----------
    distance : ndarray of float32
        Distances from the achromatic axis; 1 is the gamut's edge.
    threshold : float
        Distances up to here stay as they are; 0 to below 1.
    limit : float
        Above 1.

    Examples
    --------
    >>> shorter = compress_distance(np.array([0.5, 1.147], np.float32), 0.815, 1.147)
    >>> shorter.astype(float).round(4).tolist()
    [0.5, 1.0]
    """
    steepness = ((1.0 - threshold) / (limit - threshold)) ** -_POWER - 1.0
    scale = (limit - threshold) / steepness ** (1.0 / _POWER)
    over = np.maximum(distance - np.float32(threshold), np.float32(0))
    bent = over * _bent(over * np.float32(1 / scale))
    return np.where(over > 0, np.float32(threshold) + bent, distance)


def _bent(over: Plane) -> Plane:
    """Factor by which what lies over a threshold is shortened: ``(1 + over^p)^(-1/p)``."""
    bent = np.power(over, np.float32(_POWER))
    bent += 1
    shortened: Plane = np.power(bent, np.float32(-1 / _POWER), out=bent)
    return shortened


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
        self._limits = [float(limit) for limit in limits]
        self._peak = np.float32(peak)

    def __call__(self, planes: Planes) -> None:
        """Compress in place.

        Parameters
        ----------
        planes : ndarray of float32, C-contiguous, shape (3, ...)
            Linear values in the output's primaries.
        """
        flat = planes.reshape(3, -1)
        self._draw_in(flat)
        if np.isfinite(self._peak):
            self._hold_below_white(flat)

    def _draw_in(self, flat: Planes) -> None:
        largest = np.maximum(np.maximum(flat[0], flat[1]), flat[2])
        smallest = np.minimum(np.minimum(flat[0], flat[1]), flat[2])
        far = np.flatnonzero(smallest < largest * (1 - self._threshold))
        if far.size == 0:
            return
        top = np.maximum(largest[far], _SMALLEST)
        colours = [channel[far] - top for channel in flat]
        factor = np.ones_like(top)
        for channel, limit in zip(colours, self._limits, strict=True):
            if limit > 1.0:  # otherwise nothing lies outside on this side
                distance = np.maximum(channel / -top, _SMALLEST)
                shorter = compress_distance(distance, float(self._threshold), limit)
                np.minimum(factor, shorter / distance, out=factor)
        for channel, colour in zip(flat, colours, strict=True):
            channel[far] = colour * factor + top

    def _hold_below_white(self, flat: Planes) -> None:
        largest = np.maximum(np.maximum(flat[0], flat[1]), flat[2])
        bright = np.flatnonzero(largest > self._threshold * self._peak)
        if bright.size == 0:
            return
        largest = largest[bright]
        red, green, blue = (channel[bright] for channel in flat)
        smallest = np.minimum(np.minimum(red, green), blue)
        saturation = np.clip((largest - smallest) / largest, 0, 1)
        room = np.maximum((1 - self._threshold) * saturation, _SMALLEST)
        over = largest / self._peak - (1 - room)
        high = np.flatnonzero((over > 0) & (saturation > _GREY))
        if high.size == 0:
            return
        largest, room, over, place = largest[high], room[high], over[high], bright[high]
        held = self._peak * (1 - room + over * _bent(over / room))
        scale = held / largest
        bleaching = _BLEACHING * (1 - scale)
        for channel, values in zip(flat, (red, green, blue), strict=True):
            colour = values[high]
            colour *= scale
            colour += bleaching * (held - colour)
            channel[place] = colour
