"""A colour for every stop around middle grey: ordered by lightness, so that it reads in print too.

Lightness rises evenly in Oklab (B. Ottosson, "A perceptual color space for image processing",
2020) from the darkest stop to the brightest; what lies below grey goes through teal and blue to
violet, what lies above through ochre to rose, grey itself is grey.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from evenfall.light.oklab import oklab_to_bt709
from evenfall.light.transfer import encode_srgb
from evenfall.light.units import MIDDLE_GREY

__all__ = [
    "BRIGHTEST",
    "DARKEST",
    "FIRST_STOP",
    "LAST_STOP",
    "STEPS_PER_STOP",
    "along",
    "colour_scale",
    "stop_colours",
    "stops_of_light",
]

DARKEST, BRIGHTEST = -8.0, 10.0
"""Stops that have colours of their own: from deep shadow to the lamps themselves."""

FIRST_STOP, LAST_STOP = -12, 10
"""Stops across histogram and tone curve, which can be laid on one another."""

STEPS_PER_STOP = 2
_LIGHTNESS = (0.20, 0.97)
_BELOW_HUES = (215.0, 315.0)  # degrees in Oklab, from next to grey to the darkest
_ABOVE_HUES = (100.0, 40.0)  # from next to grey to the brightest
_BELOW_CHROMA, _ABOVE_CHROMA = 0.13, 0.15

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.uint8]


def stops_of_light(
    luminance: npt.NDArray[np.float32], *, darkest: float = -30.0
) -> npt.NDArray[np.float32]:
    """Convert exposed luminance to stops from middle grey; 0.18 is 0.

    Parameters
    ----------
    luminance : ndarray
        Exposed scene-linear luminance, any shape, float32.
    darkest : float
        What values at 0 or below and NaN become.

    Examples
    --------
    >>> stops_of_light(np.array([0.09, 0.18, 1.44, 0.0], np.float32)).tolist()
    [-1.0, 0.0, 3.0, -30.0]
    """
    floor = np.float32(MIDDLE_GREY * 2.0**darkest)
    found: npt.NDArray[np.float32] = np.log2(np.fmax(luminance, floor) / np.float32(MIDDLE_GREY))
    return found


def along(stops: float, left: float, right: float) -> float:
    """Find where a stop lies on the axis of histogram and curve, in pixels.

    Examples
    --------
    >>> along(-1, 0, 220)
    110.0
    """
    return left + (stops - FIRST_STOP) / (LAST_STOP - FIRST_STOP) * (right - left)


def stop_colours(stops: npt.NDArray[np.float32]) -> Codes:
    """Colours of stops as sRGB codes, in steps of half a stop; shape (..., 3), uint8.

    Below the darkest and above the brightest stop of the scale the colours stay.

    Examples
    --------
    >>> colours = stop_colours(np.array([-6.0, 0.1, 4.0], np.float32))
    >>> colours.sum(axis=1).tolist() == sorted(colours.sum(axis=1).tolist())
    True
    """
    scale = colour_scale()
    step = np.floor((stops - DARKEST) * STEPS_PER_STOP)
    found: Codes = scale[np.clip(step, 0, len(scale) - 1).astype(np.intp)]
    return found


@cache
def colour_scale() -> Codes:
    """Colours of all steps from dark to bright, shape (steps, 3), read-only."""
    steps = round((BRIGHTEST - DARKEST) * STEPS_PER_STOP)
    stops = DARKEST + (np.arange(steps) + 0.5) / STEPS_PER_STOP
    share = (stops - DARKEST) / (BRIGHTEST - DARKEST)
    lightness = _LIGHTNESS[0] + share * (_LIGHTNESS[1] - _LIGHTNESS[0])
    below, above = stops < 0, np.maximum(stops, 0) / BRIGHTEST
    depth = np.where(below, stops / DARKEST, above)
    arch = np.sin(np.pi * np.clip(depth, 0, 1) ** 0.75)  # none at grey, none at the end
    chroma = np.where(below, _BELOW_CHROMA, _ABOVE_CHROMA) * arch
    chroma = np.where(np.abs(stops) < 0.5, 0.0, chroma)
    degrees = np.where(below, *(_between(hues, depth) for hues in (_BELOW_HUES, _ABOVE_HUES)))
    codes = _in_gamut(lightness, chroma, np.radians(degrees))
    codes.setflags(write=False)
    return codes


def _between(ends: tuple[float, float], share: Floats) -> Floats:
    return ends[0] + share * (ends[1] - ends[0])


def _in_gamut(lightness: Floats, chroma: Floats, hue: Floats) -> Codes:
    """Codes with as much of the chroma as sRGB can show."""
    for _ in range(40):
        lab = np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)
        linear = oklab_to_bt709(lab)
        outside = np.any((linear < 0) | (linear > 1), axis=-1)
        if not outside.any():
            break
        chroma = np.where(outside, chroma * 0.95, chroma)
    encoded = encode_srgb(np.clip(linear, 0, 1))
    codes: Codes = np.rint(encoded * 255).astype(np.uint8)
    return codes
