"""What colour a mood has a light: every way of saying it is one case, as with gains."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

__all__ = [
    "TINT_KEYS",
    "AtXy",
    "HexTint",
    "InKelvin",
    "LampClassTint",
    "Locus",
    "MiredShift",
    "PlainRgb",
    "Tint",
    "TintKey",
    "Untinted",
]

TintKey = Literal["kelvin", "mired_shift", "xy", "hex", "rgb", "lamp_class"]

TINT_KEYS: tuple[TintKey, ...] = get_args(TintKey)
"""The keys of a light setting that say what colour; a setting holds at most one of them."""

Locus = Literal["auto", "planckian", "daylight"]


@dataclass(frozen=True)
class Untinted:
    """Nothing is said."""


@dataclass(frozen=True)
class InKelvin:
    """Colour temperature; Duv is measured from the Planckian locus."""

    kelvin: float
    duv: float | None = None
    locus: Locus | None = None


@dataclass(frozen=True)
class MiredShift:
    """Shift in mired, + is warmer."""

    mired: float


@dataclass(frozen=True)
class AtXy:
    """CIE 1931 chromaticity."""

    xy: tuple[float, float]


@dataclass(frozen=True)
class HexTint:
    """Colour as sRGB '#rrggbb'."""

    text: str


@dataclass(frozen=True)
class PlainRgb:
    """Factors for R, G, B in the passes' primaries."""

    factors: tuple[float, float, float]


@dataclass(frozen=True)
class LampClassTint:
    """Nominal lamp class of ANSI C78.377."""

    name: str


Tint = Untinted | InKelvin | MiredShift | AtXy | HexTint | PlainRgb | LampClassTint
