"""The colour of a lamp that is seen directly in its own pass.

A lamp that fills some pixels shows one and the same colour in all of them: the colour that it was
rendered with. Where many pixels share the largest value of the pass, or the brightest hardly differ
in brightness and colour, it is read off them; where they differ more, it is a proposal. A top that
is white in the passes' primaries may be a clamp, and tells nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.light.colour import xy_to_kelvin_duv
from evenfall.light.primaries import RgbSpace, Xy
from evenfall.light.tint import rgb_to_xy
from evenfall.passes.mending.clean import Flaws

__all__ = ["LampColour", "lamp_colour"]

Floats = npt.NDArray[np.float64]
Plane = npt.NDArray[np.float16] | npt.NDArray[np.float32]

_SAMPLE = 60_000  # pixels
_BRIGHTEST = 48  # pixels that a proposal rests on
_LEAST = 12  # pixels of one colour among them
_ALIKE = 0.03  # of a ratio of two channels
_SURE = 32  # pixels of a flat top
_EVEN = (0.03, 0.005)  # how little brightness and shares of channels spread over a lamp
_OVER_REST = 4.0  # times the brightest fiftieth of what else is lit: a lamp, no lit surface
_REST = 0.98
_WHITE = 0.005
_ROUND_KELVIN = 50
_NEAR_LOCUS = 0.012  # Duv; light beyond it has a colour, and no colour temperature
_KELVIN = (1200.0, 15000.0)


@dataclass(frozen=True)
class LampColour:
    """Colour of a lamp, as seen.

    Parameters
    ----------
    xy : tuple of float
        CIE 1931 chromaticity.
    kelvin : float or None
        Colour temperature, to 50 K; None where the colour is too far from the locus.
    pixels : int
        Of how many pixels it was read.
    place : tuple of int
        Column and row of one of them.
    sure : bool
        Whether it was read off a lamp; otherwise the brightest pixels propose it.
    """

    xy: Xy
    kelvin: float | None
    pixels: int
    place: tuple[int, int]
    sure: bool


def lamp_colour(planes: Sequence[Plane], flaws: Flaws, space: RgbSpace) -> LampColour | None:
    """Read the colour of a lamp off the brightest pixels of its pass.

    Parameters
    ----------
    planes : sequence of 3 ndarray
        R, G, B of shape (H, W), finite.
    flaws : Flaws
        Of the same picture; fireflies are left out.
    space : RgbSpace
        Its primaries.

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> from evenfall.light.tint import light_rgb
    >>> from evenfall.passes.mending.clean import find_flaws
    >>> colour, _ = light_rgb((0.4599, 0.4106), BT709)  # 2700 K, CIE 15:2018
    >>> level = np.full((60, 80), 0.1, np.float32)
    >>> level[20:28, 30:38] = 40.0
    >>> planes = [level * np.float32(each) for each in colour]
    >>> lamp_colour(planes, find_flaws(planes), BT709).kelvin
    2700.0
    """
    brightness = np.maximum(np.maximum(planes[0], planes[1]), planes[2])
    brightness[flaws.fireflies] = 0
    rest = brightness[:: _every(brightness), :: _every(brightness)]
    rest = rest[rest > 0]
    if brightness.size < 2 * _BRIGHTEST or rest.size < _LEAST:
        return None
    flat = flaws.flat_top & ~flaws.fireflies
    sure = int(np.count_nonzero(flat)) >= _SURE
    order = np.argpartition(brightness, -_BRIGHTEST, axis=None)[-_BRIGHTEST:]
    chosen = np.flatnonzero(flat) if sure else order
    values = np.stack([plane.reshape(-1)[chosen].astype(np.float64) for plane in planes])
    values = values[:, values.sum(axis=0) > 0]
    if values.shape[1] < _LEAST:
        return None
    lamp = float(np.median(values.max(axis=0)))
    lit = rest[rest < lamp / 2].astype(np.float64)
    if lamp <= 0 or (lit.size and lamp < _OVER_REST * float(np.quantile(lit, _REST))):
        return None
    shares = values / values.sum(axis=0)
    middle = np.median(shares, axis=1)
    away = np.abs(shares - middle[:, None])
    near = (away <= _ALIKE * middle[:, None] + 1e-4).all(axis=0)
    if near.sum() < max(_LEAST, near.size // 2) or np.ptp(middle) < _WHITE:
        return None
    xy = rgb_to_xy(values[:, near].mean(axis=1), space)
    if xy is None:
        return None
    sure = sure or (bool(near.all()) and _is_even(values, shares))
    row, column = divmod(int(chosen[np.flatnonzero(near)[0]]), brightness.shape[1])
    return LampColour(xy, _kelvin(xy), int(near.sum()), (column, row), sure)


def _is_even(values: Floats, shares: Floats) -> bool:
    top = values.max(axis=0)
    return bool(np.ptp(top) <= _EVEN[0] * top.max() and np.ptp(shares, axis=1).max() <= _EVEN[1])


def _every(plane: Plane) -> int:
    """Step at which a plane is sampled."""
    return max(1, int((plane.size / _SAMPLE) ** 0.5))


def _kelvin(xy: Xy) -> float | None:
    found = xy_to_kelvin_duv(xy)
    if found is None or abs(found[1]) > _NEAR_LOCUS or not _KELVIN[0] <= found[0] <= _KELVIN[1]:
        return None
    return float(round(found[0] / _ROUND_KELVIN) * _ROUND_KELVIN)
