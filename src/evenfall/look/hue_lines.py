"""Our rendering: greys through a curve, and colours to white along lines of one hue.

A colour is taken apart into a grey that is as light, and its difference from that grey. This is
done on the square roots of three primaries, in which a straight line from a colour to grey keeps
its hue for the eye: judged in OKLab and in CAM16-UCS alike, as far as those two agree. With x the
square roots, L = w . x the lightness, T the square root of what `GreyCurve` makes of a grey as
light, and c the share of colour that is left at T,

    shown = (T + c (T / L) (x - L))^2 .

In shadows and mid-tones c is one number, so that ratios of light stay: the chroma of a lit wall
rises with its light. Towards white, c falls as ``1 - (T / white)^(2 / to_white)``, steadily, and
so does chroma, from its one maximum to nothing. What a display cannot show even so is drawn in
along the same lines by `HueFit`.

At the most, c is the square root of the contrast. A steeper curve on light alone makes colours look
faint, and film, whose layers each go through the curve, raises them by the whole contrast; half of
it, in stops, was chosen by looking.

The primaries were found by minimising the turns of hue of lamp light from 1900 to 6500 K, and of
the primaries and secondaries of BT.709 and Display P3, on white, skin, wood, brick, foliage and
denim, on their way to white. They are far outside what eyes can see; the square roots of all that
BT.709, Display P3 and Adobe RGB (1998) can hold are real.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from evenfall.light.curve_table import CurveTables
from evenfall.light.primaries import BT709, RgbSpace, conversion_matrix
from evenfall.look.arrays import Matrix, Plane, Planes, apply_matrix
from evenfall.look.grey_curve import GreyCurve
from evenfall.look.hue_fit import HueFit
from evenfall.recipe.look import Evenfall
from evenfall.system.scratch import buffer

__all__ = ["HUE_SPACE", "LIGHTNESS_WEIGHTS", "EvenfallRendering"]

HUE_SPACE = RgbSpace("hue lines", (0.796, 0.216), (-0.202, 1.176), (0.152, 0.019), BT709.white)
"""Primaries on whose square roots straight lines to grey keep their hue."""

LIGHTNESS_WEIGHTS = (0.382, 0.533, 0.085)
"""Weights of the three square roots in lightness: L^2 is close to the cube of OKLab's lightness."""

_FILM = 2.0  # power with which colour goes on the way to white when `to_white` is 1
_BRIGHTEST = np.float32(2.0**18)  # scene-linear; over 20 stops above grey
_TOP = 2.0**9  # its square root
_DARKEST = 1e-9

Curve = Callable[[Matrix], Matrix]


class EvenfallRendering:
    """Our rendering for one output space.

    Parameters
    ----------
    settings : Evenfall
        From the recipe.
    output : RgbSpace
        Primaries of the result.
    fit : bool
        Whether colours that the output cannot show are drawn in; otherwise they are left as they
        are.
    peak : float
        Display-linear value of the brightest white.

    Examples
    --------
    >>> render = EvenfallRendering(Evenfall(), BT709)
    >>> grey = np.full((3, 1), 0.18, np.float32)
    >>> render(grey).astype(float).round(4).ravel().tolist()
    [0.18, 0.18, 0.18]
    """

    def __init__(
        self, settings: Evenfall, output: RgbSpace, *, fit: bool = True, peak: float = 1.0
    ) -> None:
        self.space = HUE_SPACE
        self._tables = _tables(settings, peak)
        self._outwards = conversion_matrix(HUE_SPACE, output)
        self._fit = HueFit(self._outwards, LIGHTNESS_WEIGHTS, peak) if fit else None

    def __call__(self, scene_linear: Planes) -> Planes:
        """Render a strip of `space`, which is overwritten; shape (3, n)."""
        roots = np.clip(scene_linear, np.float32(0), _BRIGHTEST, out=scene_linear)
        np.sqrt(roots, out=roots)
        grey, colour = (buffer(name, roots.shape[1:]) for name in ("grey part", "colour part"))
        lightness = _lightness(roots)
        self._tables(lightness, (grey, colour))
        roots *= colour
        roots += grey
        toned = lightness  # T = grey + colour L
        toned *= colour
        toned += grey
        squares = np.multiply(roots, roots, out=buffer("squares", roots.shape))
        display: Planes = apply_matrix(self._outwards, squares, out=buffer("display", roots.shape))
        if self._fit is not None:
            self._fit(roots, toned, display)
        return display


def _lightness(roots: Planes) -> Plane:
    total: Plane = buffer("lightness", roots.shape[1:])
    term = buffer("weighted", roots.shape[1:])
    first, *others = zip(LIGHTNESS_WEIGHTS, roots, strict=True)
    np.multiply(first[1], np.float32(first[0]), out=total)
    for weight, plane in others:
        total += np.multiply(plane, np.float32(weight), out=term)
    return total


@lru_cache(maxsize=16)
def _tables(settings: Evenfall, peak: float) -> CurveTables:
    """Two tables over lightness L: ``T (1 - c)``, and ``c T / L``; moods of one look share them."""
    toned, kept = _toned(settings, peak), _colour_kept(settings, peak)
    return CurveTables(
        [
            lambda lightness: toned(lightness) * (1.0 - kept(toned(lightness))),
            lambda lightness: (
                toned(lightness) * kept(toned(lightness)) / np.maximum(lightness, _DARKEST)
            ),
        ],
        top=_TOP,
    )


def _toned(settings: Evenfall, peak: float) -> Curve:
    curve = GreyCurve(settings, peak)
    return lambda lightness: np.sqrt(curve(lightness**2))


def _colour_kept(settings: Evenfall, peak: float) -> Curve:
    most, white = float(np.sqrt(settings.contrast)), float(np.sqrt(peak))
    if settings.to_white == 0:
        return lambda toned: np.full_like(toned, most)
    power = _FILM / settings.to_white
    return lambda toned: most * (1.0 - np.minimum(toned / white, 1.0) ** power)
