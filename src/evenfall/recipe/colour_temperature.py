"""Colours of light as a recipe may say them: kelvin with Duv, or a chromaticity."""

from __future__ import annotations

import math
from bisect import bisect_left
from typing import Annotated

from pydantic import Field

from evenfall.recipe.tints import Locus

__all__ = ["Duv", "Kelvin", "check_chromaticity", "check_kelvin"]

Kelvin = Annotated[float, Field(ge=1000, le=25000, description="Colour temperature in kelvin.")]
Duv = Annotated[float, Field(ge=-0.05, le=0.05)]

_GREATEST_DUV = (
    *((1000, 0.0005), (1100, 0.0009), (1250, 0.0017), (1400, 0.0028), (1600, 0.0049)),
    *((1800, 0.0074), (2000, 0.0104), (2250, 0.0146), (2500, 0.0193), (2750, 0.0245)),
    *((3000, 0.0300), (3250, 0.0360), (3500, 0.0422), (3800, 0.05)),
)
"""By kelvin, up to which Duv there are colours: beyond it, x + y is over 1."""


def check_chromaticity(value: tuple[float, float] | None) -> tuple[float, float] | None:
    """Return a CIE 1931 chromaticity if it is one.

    Raises
    ------
    ValueError
        With what is expected.
    """
    if value is not None and not (0 < value[0] < 1 and 0 < value[1] < 1 and sum(value) < 1):
        raise ValueError("expected a CIE xy chromaticity such as [0.4476, 0.4074]")
    return value


def check_kelvin(kelvin: float | None, duv: float | None, locus: Locus | None = None) -> None:
    """Hold kelvin, Duv and locus against each other.

    Raises
    ------
    ValueError
        When they do not go together, or no light has this colour.

    Examples
    --------
    >>> check_kelvin(1500, 0.02)
    Traceback (most recent call last):
        ...
    ValueError: at 1500 K no light is greener than a Duv of +0.0038
    """
    if duv is not None and kelvin is None:
        raise ValueError("duv goes with kelvin")
    if duv is not None and locus == "daylight":
        raise ValueError("duv is measured from the Planckian locus; say either duv or daylight")
    if kelvin is not None and kelvin < 4000 and locus == "daylight":
        raise ValueError('the daylight locus starts at 4000 K; use locus = "planckian" below')
    if kelvin is not None and duv is not None and duv > (greatest := _greatest_duv(kelvin)):
        raise ValueError(f"at {kelvin:g} K no light is greener than a Duv of {greatest:+.4f}")


def _greatest_duv(kelvin: float) -> float:
    """Interpolate between the tabulated temperatures, down to a ten-thousandth."""
    above = bisect_left(_GREATEST_DUV, (kelvin, 0.0))
    if above in (0, len(_GREATEST_DUV)):
        return _GREATEST_DUV[min(above, len(_GREATEST_DUV) - 1)][1]
    (low, low_duv), (high, high_duv) = _GREATEST_DUV[above - 1 : above + 1]
    between = low_duv + (kelvin - low) / (high - low) * (high_duv - low_duv)
    return math.floor(1e4 * between) / 1e4
