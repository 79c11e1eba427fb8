"""Smooth gamut compression: colours outside the display's gamut are drawn in, not cut off.

Two steps, both on display-linear values in the output's primaries.

*Towards the achromatic axis.* The parametric distance compression of the ACES reference gamut
compression (Academy S-2020-001 working group; published with ACES 1.3): the distance of a channel
from the largest one, as a share of it, is compressed above a threshold so that the furthest
colour of the working space lands on the gamut's edge. The limits are those of our working space in
the output's primaries instead of those of particular cameras.

*Below white.* A saturated highlight can still be too bright for the display in one channel. It is
mixed with the grey of its own luminance: with Y the luminance and m the largest channel, the share
``q = (m - Y) / (1 - Y)`` of the way from that grey to the gamut's ceiling is compressed in the same
manner, with the limit at infinity. Luminance and dominant wavelength stay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenfall.light.primaries import RgbSpace, conversion_matrix, luminance_weights
from evenfall.look.arrays import Matrix, Plane, Planes

__all__ = ["GamutCompression", "furthest_distances"]

_POWER = 1.2  # of the ACES reference gamut compression
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
    share = np.linspace(0.0, 1.0, 1025)
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


@dataclass(frozen=True)
class _Knee:
    """Compression of a distance above a threshold; the limit lands on 1."""

    threshold: float
    scale: float

    def __call__(self, distance: Plane) -> Plane:
        over = (distance - np.float32(self.threshold)) * np.float32(1 / self.scale)
        bent = 1 + np.power(np.maximum(over, np.float32(0)), np.float32(_POWER))
        inner = np.power(bent, np.float32(-1 / _POWER))
        compressed: Plane = np.float32(self.threshold) + np.float32(self.scale) * over * inner
        return np.where(over > 0, compressed, distance)


def _knee(threshold: float, limit: float) -> _Knee | None:
    """Knee for a limit, or None when no colour needs one."""
    if limit <= 1.0:
        return None
    if np.isinf(limit):
        return _Knee(threshold, 1.0 - threshold)
    steepness = ((1.0 - threshold) / (limit - threshold)) ** -_POWER - 1.0
    return _Knee(threshold, (limit - threshold) / steepness ** (1.0 / _POWER))


class GamutCompression:
    """Gamut compression from a working space into an output space.

    Parameters
    ----------
    working, output : RgbSpace
    threshold : float
        Share of the way to the gamut's edge below which nothing changes; 0 to below 1.
    below_white : bool
        Whether the second step is taken; not for scene-linear values, which have no ceiling.

    Examples
    --------
    >>> from evenfall.light.primaries import ACESCG, BT709
    >>> compress = GamutCompression(ACESCG, BT709, threshold=0.8)
    >>> planes = np.array([[0.5, 0.5], [0.3, -0.1], [0.4, 0.1]], np.float32)
    >>> compress(planes)
    >>> (planes * 1000).round().tolist()
    [[500.0, 500.0], [300.0, -21.0], [400.0, 100.0]]
    """

    def __init__(
        self,
        working: RgbSpace,
        output: RgbSpace,
        threshold: float,
        *,
        below_white: bool = True,
    ) -> None:
        limits = furthest_distances(working, output)
        self._threshold = np.float32(threshold)
        self._knees = [_knee(threshold, float(limit)) for limit in limits]
        self._below_white = below_white
        self._ceiling = _Knee(threshold, 1.0 - threshold)
        self._weights = luminance_weights(output).astype(np.float32)

    def __call__(self, planes: Planes) -> None:
        """Compress in place.

        Parameters
        ----------
        planes : ndarray of float32, C-contiguous, shape (3, ...)
            Display-linear values in the output's primaries; white is 1.
        """
        flat = planes.reshape(3, -1)
        self._draw_in(flat)
        if self._below_white:
            self._hold_below_white(flat)

    def _draw_in(self, flat: Planes) -> None:
        largest = np.maximum(np.maximum(flat[0], flat[1]), flat[2])
        edge = largest * (1 - self._threshold)
        for channel, knee in zip(flat, self._knees, strict=True):
            if knee is None:
                continue
            far = np.flatnonzero(channel < edge)
            if far.size == 0:
                continue
            top = np.maximum(largest[far], _SMALLEST)
            distance = (top - channel[far]) / top
            channel[far] = top - knee(distance) * top

    def _hold_below_white(self, flat: Planes) -> None:
        largest = np.maximum(np.maximum(flat[0], flat[1]), flat[2])
        bright = np.flatnonzero(largest > self._threshold)
        if bright.size == 0:
            return
        colours = flat[:, bright]
        grey = colours[0] * self._weights[0]
        grey += colours[1] * self._weights[1]
        grey += colours[2] * self._weights[2]
        np.minimum(grey, np.float32(1), out=grey)
        reach = (largest[bright] - grey) / np.maximum(1 - grey, _SMALLEST)
        over = reach > self._threshold
        if not over.any():
            return
        bright, colours, grey, reach = bright[over], colours[:, over], grey[over], reach[over]
        colours -= grey
        colours *= self._ceiling(reach) / reach
        colours += grey
        flat[:, bright] = colours
