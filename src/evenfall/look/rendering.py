"""Renderings: from scene-linear values to display-linear ones in an output space.

Our own keeps the hue of light (`hue_lines`). Published curves are used as published: on each of R,
G, B (in primaries of their own, see `RENDERING_SPACE`), or as their formula says. Per channel the
largest reaches the shoulder first and the others catch up, so that bright colours drift towards
white and turn on the way.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Protocol

import numpy as np

from evenfall.light.curve_table import CurveTable
from evenfall.light.primaries import BT709, RgbSpace, conversion_matrix
from evenfall.look.arrays import Matrix, Planes, apply_matrix
from evenfall.look.curves import hable, neutral, reinhard
from evenfall.look.gamut import GamutCompression
from evenfall.look.hue_lines import EvenfallRendering
from evenfall.recipe.look import Aces, Clip, Evenfall, Gamut, Hable, Look, Neutral, Reinhard
from evenfall.system.scratch import buffer

__all__ = ["RENDERING_SPACE", "Rendering", "make_rendering", "tone_curve"]

RENDERING_SPACE = RgbSpace(
    "rendering", (0.714, 0.314), (0.275, 0.746), (0.125, 0.0), white=BT709.white
)
"""Primaries in which published curves act on each channel.

They contain Display P3 and are turned so that the primaries and secondaries of BT.709 turn little
in hue (in OKLab) while a curve bleaches them: in ACEScg a bright blue light would turn violet and a
red one orange."""

_SCENE_TOP = 2.0**16  # tone curves are tabulated up to here, over 18 stops above grey
_FREE = 0.8  # share of the way to the edge up to which colours stay as published curves make them


class Rendering(Protocol):
    """Turns scene-linear values into display-linear output values."""

    @property
    def space(self) -> RgbSpace:
        """Primaries of the values it takes."""
        ...

    def __call__(self, scene_linear: Planes) -> Planes:
        """Render a strip, which is overwritten."""
        ...


def tone_curve(tone: Reinhard | Hable | Clip) -> Callable[[Matrix], Matrix]:
    """Return the published curve of a recipe on one channel.

    Examples
    --------
    >>> tone_curve(Reinhard(white=4.0))(np.array([0.0, 1.0, 4.0])).tolist()
    [0.0, 0.53125, 1.0]
    """
    match tone:
        case Reinhard():
            return lambda x: reinhard(x, tone.white)
        case Hable():
            return lambda x: hable(x, tone.white)
        case Clip():
            return lambda x: x


@lru_cache(maxsize=16)
def _tone_table(tone: Reinhard | Hable | Clip, peak: float) -> CurveTable:
    """Curve as a table, which moods of the same look share."""
    return CurveTable(tone_curve(tone), top=_SCENE_TOP, ceiling=peak)


class _ChannelRendering:
    """A published curve on each channel, then the output's primaries and gamut."""

    def __init__(self, table: CurveTable, gamut: Gamut, output: RgbSpace, peak: float) -> None:
        self.space = RENDERING_SPACE
        self._table = table
        self._matrix = conversion_matrix(RENDERING_SPACE, output)
        self._fit = _gamut_fit(gamut, output, peak)

    def __call__(self, scene_linear: Planes) -> Planes:
        self._table(scene_linear, scene_linear)
        display: Planes = buffer("display", scene_linear.shape)
        apply_matrix(self._matrix, scene_linear, out=display)
        self._fit(display)
        return display


class _NeutralRendering:
    """The Khronos neutral curve, defined in BT.709."""

    def __init__(self, gamut: Gamut, output: RgbSpace) -> None:
        self.space = BT709
        self._outwards = conversion_matrix(BT709, output)
        self._fit = _gamut_fit(gamut, BT709, peak=np.inf)

    def __call__(self, scene_linear: Planes) -> Planes:
        self._fit(scene_linear)
        display: Planes = buffer("display", scene_linear.shape)
        return apply_matrix(self._outwards, neutral(scene_linear), out=display)


def _gamut_fit(gamut: Gamut, output: RgbSpace, peak: float) -> Callable[[Planes], None]:
    if gamut.method == "clip":
        return lambda planes: None
    return GamutCompression(RENDERING_SPACE, output, _FREE, peak=peak)


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
        case Evenfall():
            fit = look.gamut.method == "compress"
            return EvenfallRendering(tone, output, fit=fit, peak=peak)
        case Neutral():
            return _NeutralRendering(look.gamut, output)
        case Aces():
            from evenfall.look.aces import AcesRendering

            return AcesRendering(output, peak)
        case _:
            return _ChannelRendering(_tone_table(tone, peak), look.gamut, output, peak)
