"""Renderings: from scene-linear working values to display-linear ones in an output space.

Per channel and hue preserving
------------------------------
*Per channel*, each of R, G, B of the working space goes through the tone curve by itself. The
largest channel reaches the shoulder first and the others catch up, so that bright colours drift
towards white and dark ones gain colourfulness, as the layers of a colour film do; hues of strong
colours shift a little with brightness (a bright orange leans to yellow).

*Hue preserving*, the curve acts on the largest of R, G, B alone and all three are scaled by the
same factor. Ratios, and with them hue and saturation in linear light, stay as they were at any
brightness: a lamp shade never bleaches, which is faithful for signs and coloured lights and can
look artificial for flames and sun patches.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import numpy as np

from evenfall.light.primaries import ACESCG, BT709, RgbSpace, conversion_matrix
from evenfall.look.arrays import Matrix, Planes, apply_matrix
from evenfall.look.curves import hable, neutral, reinhard
from evenfall.look.filmic import FilmicCurve
from evenfall.look.gamut import GamutCompression
from evenfall.look.scratch import buffer
from evenfall.look.table import CurveTable
from evenfall.recipe.look import Aces, Clip, Filmic, Gamut, Hable, Look, Neutral, Reinhard

__all__ = ["WORKING_SPACE", "Rendering", "make_rendering", "tone_curve"]

WORKING_SPACE = ACESCG
"""Scene-linear space in which the look works."""

_SCENE_TOP = 2.0**16  # tone curves are tabulated up to here, over 18 stops above grey
_SMALLEST = np.float32(1e-30)


class Rendering(Protocol):
    """Turns working values (which it may overwrite) into display-linear output values."""

    def __call__(self, working: Planes) -> Planes:
        """Render a strip."""
        ...


def tone_curve(
    tone: Filmic | Reinhard | Hable | Clip, peak: float = 1.0
) -> Callable[[Matrix], Matrix]:
    """Return the curve of a recipe on one channel, ending at `peak`.

    Examples
    --------
    >>> tone_curve(Reinhard(white=4.0))(np.array([0.0, 1.0, 8.0])).tolist()
    [0.0, 0.53125, 1.0]
    """
    match tone:
        case Filmic():
            return FilmicCurve(tone, peak)
        case Reinhard():
            return lambda x: np.minimum(reinhard(x, tone.white), peak)
        case Hable():
            return lambda x: np.minimum(hable(x, tone.white), peak)
        case Clip():
            return lambda x: np.minimum(x, peak)


class _CurveRendering:
    """A curve per channel or on the largest channel, then the output's primaries and gamut."""

    def __init__(
        self, curve: Callable[[Matrix], Matrix], mode: str, gamut: Gamut, output: RgbSpace
    ) -> None:
        self._keep_hue = mode == "hue preserving"
        self._table = CurveTable(curve, top=_SCENE_TOP)
        self._matrix = conversion_matrix(WORKING_SPACE, output)
        self._fit = _gamut_fit(gamut, output)

    def __call__(self, working: Planes) -> Planes:
        if self._keep_hue:
            largest = np.maximum(np.maximum(working[0], working[1]), working[2])
            np.maximum(largest, _SMALLEST, out=largest)
            working *= self._table(largest) / largest
        else:
            self._table(working, working)
        display = apply_matrix(self._matrix, working, out=buffer("display", working.shape))
        self._fit(display)
        return display


class _NeutralRendering:
    """The Khronos neutral curve, defined in BT.709."""

    def __init__(self, gamut: Gamut, output: RgbSpace) -> None:
        self._inwards = conversion_matrix(WORKING_SPACE, BT709)
        self._outwards = conversion_matrix(BT709, output)
        self._fit = _gamut_fit(gamut, BT709, below_white=False)

    def __call__(self, working: Planes) -> Planes:
        bt709 = apply_matrix(self._inwards, working)
        self._fit(bt709)
        return apply_matrix(self._outwards, neutral(bt709), out=working)


def _gamut_fit(
    gamut: Gamut, output: RgbSpace, *, below_white: bool = True
) -> Callable[[Planes], None]:
    if gamut.method == "clip":
        return lambda planes: None
    return GamutCompression(WORKING_SPACE, output, gamut.threshold, below_white=below_white)


def make_rendering(look: Look, output: RgbSpace, *, peak: float = 1.0) -> Rendering:
    """Choose the rendering of a look.

    Parameters
    ----------
    look : Look
        Tone curve and gamut.
    output : RgbSpace
        Primaries of the result.
    peak : float
        Display-linear value of the brightest white, relative to that of a standard display.
    """
    tone = look.tone
    match tone:
        case Neutral():
            return _NeutralRendering(look.gamut, output)
        case Aces():
            from evenfall.look.aces import AcesRendering

            return AcesRendering(output, peak)
        case _:
            mode = "per channel" if isinstance(tone, Clip) else tone.mode
            return _CurveRendering(tone_curve(tone, peak), mode, look.gamut, output)
