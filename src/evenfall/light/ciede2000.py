"""CIEDE2000, the colour difference of CIE 15:2018 (8.3.1), in single precision.

Written after G. Sharma, W. Wu and E. N. Dalal, "The CIEDE2000 color-difference formula:
implementation notes, supplementary test data, and mathematical observations", Color Research and
Application 30, 2005; numbers in brackets are its equations.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

__all__ = ["ciede2000"]

Floats = npt.NDArray[np.float32]

_HALF = np.float32(0.5)
_TURN = np.float32(math.tau)
_LARGEST_CHROMA = 1e6  # to the seventh power it is still a number


def ciede2000(lab_1: Floats, lab_2: Floats) -> Floats:
    """Colour differences of L*, a*, b*; all weights of the formula are 1.

    Parameters
    ----------
    lab_1, lab_2 : ndarray of float32, shape (3, ...)

    Returns
    -------
    ndarray of float32, shape (...)

    Examples
    --------
    >>> one, other = np.array([[50, 50], [0, -1], [0, 2]], np.float32).T
    >>> round(float(ciede2000(one, other)), 4)
    2.3669
    """
    (light_1, a_1, b_1), (light_2, a_2, b_2) = lab_1, lab_2
    mean: Floats = _HALF * (_length(a_1, b_1) + _length(a_2, b_2))  # (2, 3)
    stretch = 1.5 - 0.5 * _saturation(mean)  # (4, 5)
    chroma_1, hue_1 = _polar(a_1 * stretch, b_1)
    chroma_2, hue_2 = _polar(a_2 * stretch, b_2)
    turn, hue = _between(hue_1, hue_2, is_grey=(chroma_1 == 0) | (chroma_2 == 0))
    light: Floats = _HALF * (light_1 + light_2)  # (12)
    chroma: Floats = _HALF * (chroma_1 + chroma_2)  # (13)
    away = (light - 50) ** 2
    by_light = (light_2 - light_1) / (1 + 0.015 * away / np.sqrt(20 + away))  # (18)
    by_chroma = (chroma_2 - chroma_1) / (1 + 0.045 * chroma)  # (19)
    by_hue = 2 * np.sqrt(chroma_1 * chroma_2) * np.sin(turn / 2)  # (11)
    by_hue /= 1 + 0.015 * chroma * _hue_weight(hue)  # (20)
    blue = (hue - math.radians(275)) / math.radians(25)
    turned: Floats = np.sin(math.radians(60) * np.exp(-blue * blue))  # (16)
    turned *= -2 * _saturation(chroma)  # (17, 21)
    squared = by_light**2 + by_chroma**2 + by_hue**2 + turned * by_chroma * by_hue  # (22)
    found: Floats = np.sqrt(np.maximum(squared, 0))
    return found


def _length(across: Floats, up: Floats) -> Floats:
    length: Floats = np.sqrt(across * across + up * up)
    return length


def _saturation(chroma: Floats) -> Floats:
    """Root of C^7 / (C^7 + 25^7)."""
    share = np.minimum(chroma, _LARGEST_CHROMA) / 25
    cubed = share * share * share
    power = cubed * cubed * share
    root: Floats = np.sqrt(power / (power + 1))
    return root


def _polar(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Chroma, and hue from 0 to 2 pi; grey has a hue of 0 (6, 7)."""
    hue = np.arctan2(b, a + 0)  # of -0 it would make a hue of pi
    return _length(a, b), np.where(hue < 0, hue + _TURN, hue)


def _between(
    hue_1: Floats, hue_2: Floats, *, is_grey: npt.NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Turn from one hue to the other by the shorter way, and the hue midway (10, 14).

    Of grey, which has no hue, the other's counts.
    """
    turn = hue_2 - hue_1
    turn -= np.where(np.abs(turn) > math.pi, np.copysign(_TURN, turn), 0)
    midway: Floats = np.where(is_grey, hue_1 + hue_2, hue_1 + turn / 2)
    return turn, midway - _TURN * np.floor(midway / _TURN)


def _hue_weight(hue: Floats) -> Floats:
    """T (15), by multiples of one angle."""
    cos, sin = np.cos(hue), np.sin(hue)
    cos_2, sin_2 = cos * cos - sin * sin, 2 * cos * sin
    cos_3, sin_3 = cos * cos_2 - sin * sin_2, sin * cos_2 + cos * sin_2
    cos_4, sin_4 = cos_2 * cos_2 - sin_2 * sin_2, 2 * cos_2 * sin_2
    weight: Floats = 1 + np.float32(0.24) * cos_2
    for size, degrees, (along, across) in (
        (-0.17, 30, (cos, sin)),
        (0.32, -6, (cos_3, sin_3)),
        (-0.20, 63, (cos_4, sin_4)),
    ):  # cos(x - d) = cos x cos d + sin x sin d
        weight += np.float32(size * math.cos(math.radians(degrees))) * along
        weight += np.float32(size * math.sin(math.radians(degrees))) * across
    return weight
