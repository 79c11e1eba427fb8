"""How strong a mood has a light: every unit is one case.

Whoever takes a gain apart does it by `match` over all cases and ends in `assert_never`, so that
mypy names every place that a new unit has to be told of.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Literal, Self, assert_never, get_args

from pydantic import Field, field_validator, model_validator

from evenfall.recipe.areas import Area
from evenfall.recipe.base import Part, Takes

__all__ = [
    "GAIN_KEYS",
    "AsRendered",
    "Candela",
    "Counted",
    "Factor",
    "Figure",
    "Gain",
    "GainKey",
    "InStops",
    "Lumens",
    "Match",
    "Off",
    "Watts",
    "figure_needed",
    "gives_nothing",
    "is_relative",
]

GainKey = Literal["off", "stops", "factor", "lumens", "watts", "candela", "match"]

GAIN_KEYS: tuple[GainKey, ...] = get_args(GainKey)
"""The keys of a light setting that say how strong; a setting holds at most one of them."""

Figure = Literal["lumens", "candela"]
"""What `rendered` may say of a light's strength."""

_RATIO = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*:\s*(\d+(?:\.\d+)?)\s*$")


class Match(Part):
    """A gain that is solved from the pixels, so that two lights stand in a ratio."""

    to: str = Field(description="The light or group it is measured against.")
    ratio: Annotated[str, Takes('a ratio such as "4:1", both numbers above 0')] = Field(
        "1:1",
        description='"A:B", A for the light named in `to`, B for this one: 4:1 makes this light '
        "a quarter of the other.",
    )
    convention: Literal["key:fill", "(key+fill):fill"] = Field(
        "key:fill",
        description="What the ratio compares: the two lights alone, or the side lit by both "
        "against the side lit by this one only.",
    )
    area: Area | None = Field(None, description="Where to compare; the whole picture by default.")

    @field_validator("ratio")
    @classmethod
    def _ratio_reads(cls, value: str) -> str:
        match = _RATIO.match(value)
        if match is None or float(match[1]) <= 0 or float(match[2]) <= 0:
            raise ValueError('expected a ratio such as "4:1", both numbers above 0')
        return value

    @model_validator(mode="after")
    def _ratio_possible(self) -> Self:
        if self.convention == "(key+fill):fill" and self.ratio_value <= 1:
            raise ValueError("a (key+fill):fill ratio must be above 1:1")
        return self

    @property
    def ratio_value(self) -> float:
        """The ratio as one number, the other light over this one."""
        match = _RATIO.match(self.ratio)
        assert match is not None  # held by the validator
        return float(match[1]) / float(match[2])


@dataclass(frozen=True)
class AsRendered:
    """Nothing is said."""


@dataclass(frozen=True)
class Off:
    """Off by word; the pass is not even read."""


@dataclass(frozen=True)
class InStops:
    """Stops above the light as rendered, or as a daylight model has it."""

    stops: float


@dataclass(frozen=True)
class Factor:
    """A plain factor on the light as rendered, or as a daylight model has it."""

    factor: float


@dataclass(frozen=True)
class Lumens:
    """Luminous flux."""

    lumens: float


@dataclass(frozen=True)
class Watts:
    """Electric power of a lamp, and its efficacy in lm/W."""

    watts: float
    lumens_per_watt: float


@dataclass(frozen=True)
class Candela:
    """Luminous intensity of a directed lamp in the middle of its beam."""

    candela: float


@dataclass(frozen=True)
class Counted:
    """Stops by which a gain or an exposure stands above that of another mood."""

    mood: str
    stops: float


Gain = AsRendered | Off | InStops | Factor | Lumens | Watts | Candela | Match | Counted


def figure_needed(key: GainKey) -> Figure | None:
    """Return what must be known of the light as rendered; None where nothing need be.

    Examples
    --------
    >>> figure_needed("watts"), figure_needed("candela"), figure_needed("stops")
    ('lumens', 'candela', None)
    """
    match key:
        case "lumens" | "watts":
            return "lumens"
        case "candela":
            return "candela"
        case "off" | "stops" | "factor" | "match":
            return None
        case _:
            assert_never(key)


def gives_nothing(gain: Gain) -> bool:
    """Whether a light is off, by word or by number.

    Examples
    --------
    >>> gives_nothing(Off()), gives_nothing(Candela(0)), gives_nothing(InStops(-9))
    (True, True, False)
    """
    match gain:
        case Off():
            return True
        case Factor(amount) | Lumens(amount) | Watts(amount) | Candela(amount):
            return amount == 0
        case AsRendered() | InStops() | Match() | Counted():
            return False
        case _:
            assert_never(gain)


def is_relative(gain: Gain) -> bool:
    """Whether a daylight model is multiplied by it, where the light is one's sun or sky.

    Examples
    --------
    >>> is_relative(InStops(-1)), is_relative(Lumens(800))
    (True, False)
    """
    match gain:
        case AsRendered() | InStops() | Factor():
            return True
        case Off() | Lumens() | Watts() | Candela() | Match() | Counted():
            return False
        case _:
            assert_never(gain)
