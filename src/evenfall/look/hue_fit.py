"""Colours that a display cannot show are drawn in, along lines of one hue.

On the square roots on which `hue_lines` works, a colour is T + d: a grey and a difference from it.
A display channel of ``T + k d`` is

    v(k) = T^2 + 2 T p k + q k^2,   p = M d,   q = M d^2,

with M the matrix to the display's primaries, whose rows sum to 1. So the share k of the colour at
which a channel meets black or white is a root of a quadratic, without any iteration. Held against
it, the colour's *reach* ``1 / k`` is 1 on the gamut's edge, and it is shortened twice:

- against black, by the channel that is furthest out. This reach does not depend on brightness: a
  saturated colour keeps its saturation from the shadows upwards;
- against white, by all three channels together (the fourth root of the sum of the fourth powers of
  their reaches): a coloured light that grows brighter rounds the corner of the gamut.

Both leave colours alone that reach less than a share of the way, and bring the rest in by
``x / sqrt(1 + x^2)``, which nears 1: whatever comes in is inside, and no two colours become one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.look.arrays import Matrix, Plane, Planes
from evenfall.system.scratch import buffer

__all__ = ["HueFit"]

_FREE_OF_BLACK, _FREE_OF_WHITE = 0.8, 0.65
"""Shares of the way to the gamut's edge up to which a colour is left alone."""

# Which pixels are looked at closely: all whose reach is above those shares, and some more. Such a
# colour has a channel that is lower than this share of T^2 (red, green, blue), or its largest
# channel's root is at least this share of the way from T to white.
_NEAR_BLACK = (0.3, 0.3, 0.15)
_NEAR_WHITE = 0.575

_ENDS = (0, 2)  # the differences that are worked with
_SMALLEST, _DARKEST = np.float32(1e-6), np.float32(1e-12)
_INFINITE = np.float32(np.inf)
_ZERO, _ONE = np.float32(0), np.float32(1)

Places = npt.NDArray[np.intp]


class HueFit:
    """Draws colours into the gamut of a display.

    Parameters
    ----------
    outwards : ndarray of float, shape (3, 3)
        From the primaries on whose square roots colours lie to those of the display.
    weights : tuple of 3 floats
        Of the square roots in lightness; a difference from grey has none: ``w . d = 0``.
    peak : float
        Display-linear value of the brightest white.
    """

    def __init__(self, outwards: Matrix, weights: tuple[float, float, float], peak: float) -> None:
        columns = [  # of M for the first and third difference; the second follows from them
            outwards[:, end] - outwards[:, 1] * weights[end] / weights[1] for end in _ENDS
        ]
        self._columns = [column.astype(np.float32)[:, None] for column in columns]
        self._peak = np.float32(peak)
        self._near_white = np.float32(_NEAR_WHITE * np.sqrt(peak))

    def __call__(self, roots: Planes, toned: Plane, display: Planes) -> None:
        """Draw in what is too far out, in place.

        Parameters
        ----------
        roots : ndarray of float32, shape (3, n)
            ``T + d``; overwritten.
        toned : ndarray of float32, shape (n,)
            T.
        display : ndarray of float32, shape (3, n)
            Display-linear values ``M (T + d)^2``; overwritten where they change.
        """
        self._draw_from_black(roots, toned, display)
        self._draw_from_white(roots, toned, display)

    def _draw_from_black(self, roots: Planes, toned: Plane, display: Planes) -> None:
        light, limit = (buffer(name, toned.shape) for name in ("extreme", "limit"))
        np.multiply(toned, toned, out=light)
        far = [
            channel < np.multiply(light, np.float32(share), out=limit)
            for channel, share in zip(display, _NEAR_BLACK, strict=True)
        ]
        places = np.flatnonzero(far[0] | far[1] | far[2])
        if places.size == 0:
            return
        ray = self._rays(roots, toned, display, places)
        below = np.clip(ray.light, _DARKEST, _INFINITE, out=buffer("room", places.shape))
        reaches = ray.reaches(below, -1)
        reach = np.maximum(np.maximum(reaches[0], reaches[1]), reaches[2])
        kept = _share_kept(reach, _FREE_OF_BLACK)
        ends = np.multiply(ray.differences, kept, out=ray.differences)
        ends += ray.grey
        for end, values in zip(_ENDS, ends, strict=True):
            roots[end, places] = values
        ray.put_shortened(kept, display)

    def _draw_from_white(self, roots: Planes, toned: Plane, display: Planes) -> None:
        highest, limit = (buffer(name, toned.shape) for name in ("extreme", "limit"))
        np.maximum(np.maximum(display[0], display[1], out=highest), display[2], out=highest)
        np.multiply(toned, np.float32(1 - _NEAR_WHITE), out=limit)
        limit += self._near_white
        limit *= limit
        places = np.flatnonzero(highest > limit)
        if places.size == 0:
            return
        ray = self._rays(roots, toned, display, places)
        above = np.subtract(self._peak, ray.light, out=buffer("room", places.shape))
        reaches = ray.reaches(np.clip(above, _SMALLEST, _INFINITE, out=above), 1)
        reaches *= reaches
        reaches *= reaches
        reach = np.add(reaches[0], reaches[1], out=reaches[0])
        reach += reaches[2]
        np.sqrt(np.sqrt(reach, out=reach), out=reach)
        ray.put_shortened(_share_kept(reach, _FREE_OF_WHITE), display)

    def _rays(self, roots: Planes, toned: Plane, display: Planes, places: Places) -> _Rays:
        """Gather some pixels, with what their channels do on the way from grey."""
        size = places.shape
        grey = np.take(toned, places, out=buffer("far grey", size), mode="clip")
        differences = buffer("far differences", (2, *size))
        bend, rise, term = (buffer(name, (3, *size)) for name in ("bend", "rise", "term"))
        for difference, end in zip(differences, _ENDS, strict=True):
            np.take(roots[end], places, out=difference, mode="clip")
        for shown, far in zip(display, bend, strict=True):
            np.take(shown, places, out=far, mode="clip")
        differences -= grey
        np.multiply(differences[0], self._columns[0], out=rise)
        rise += np.multiply(differences[1], self._columns[1], out=term)
        rise *= grey
        light = np.multiply(grey, grey, out=buffer("far light", size))
        bend -= light
        bend -= rise
        bend -= rise
        return _Rays(places, grey, differences, light, rise, bend)


@dataclass(frozen=True, eq=False)
class _Rays:
    """Colours of some pixels, each on its line from grey: ``v(k) = light + 2 k rise + k^2 bend``.

    All arrays are of this thread's working memory.
    """

    places: Places
    grey: Plane
    differences: Planes
    light: Plane
    rise: Planes
    bend: Planes

    def reaches(self, room: Plane, sign: int) -> Planes:
        """``1 / k`` at which a channel is as far as `room` above (sign 1) or below grey (-1).

        From 0. A channel that turns round before it is there is taken for one that turns there.
        """
        reaches: Planes = np.multiply(self.bend, room, out=buffer("reaches", self.bend.shape))
        squares = np.multiply(self.rise, self.rise, out=buffer("term", self.rise.shape))
        forward = np.add if sign > 0 else np.subtract
        forward(squares, reaches, out=reaches)
        np.sqrt(np.clip(reaches, _ZERO, _INFINITE, out=reaches), out=reaches)
        forward(reaches, self.rise, out=reaches)
        np.clip(reaches, _ZERO, _INFINITE, out=reaches)
        reaches /= room
        return reaches

    def put_shortened(self, kept: Plane, display: Planes) -> None:
        """Write display values of colours of which a share is kept; `bend` is used up."""
        shown = self.bend
        shown *= kept
        shown += self.rise
        shown += self.rise
        shown *= kept
        shown += self.light
        for channel, values in zip(display, shown, strict=True):
            channel[self.places] = values


def _share_kept(reach: Plane, free: float) -> Plane:
    """Shorten reaches above `free` so that none is above 1; the share of each that is kept."""
    kept: Plane = buffer("kept", reach.shape)
    term: Plane = buffer("term", reach.shape)
    np.clip(reach, np.float32(free), _INFINITE, out=kept)
    kept -= np.float32(free)
    kept *= np.float32(1 / (1 - free))
    np.multiply(kept, kept, out=term)
    term += _ONE
    kept /= np.sqrt(term, out=term)
    kept *= np.float32(1 - free)
    kept += np.clip(reach, _ZERO, np.float32(free), out=term)
    kept /= np.clip(reach, _SMALLEST, _INFINITE, out=term)
    return kept
