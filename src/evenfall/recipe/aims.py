"""Aims: what a mood should show somewhere in the picture; `evenfall aim` finds the gains."""

from __future__ import annotations

import re
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from evenfall.recipe.areas import Area
from evenfall.recipe.base import Fraction01, Part, Stops, Takes
from evenfall.recipe.colour_temperature import Kelvin

__all__ = ["Aim"]

_RATIO = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*:\s*(\d+(?:\.\d+)?)\s*$")
_LIGHTNESS = ("stops", "brighter", "darker", "ratio")
_COLOUR = ("kelvin", "neutral")
_LIMITS = ("clipped_at_most", "shadows_at_least")


class Aim(Part):
    """What an area of the picture should show: how light, what colour, within what limits.

    Lightness and colour are those of the area's mean light, as a spot meter sees it: exposed and
    white-balanced, before the look. The limits are of the displayed picture.
    """

    area: Area | None = Field(None, description="Where; the whole picture by default.")
    stops: Stops | None = Field(None, description="Stops from middle grey; 0 is 18 % grey.")
    brighter: Stops | None = Field(
        None,
        description="Stops by which it is to be brighter than it stands when gains are sought.",
    )
    darker: Stops | None = Field(
        None, description="Stops by which it is to be darker than it stands when gains are sought."
    )
    ratio: Annotated[str | None, Takes('a ratio such as "4:1", both numbers above 0')] = Field(
        None, description='"A:B", A for this area and B for the one named in over.'
    )
    over: Annotated[
        str | Area | None, Takes("the name of another aim of the mood, or an area as a table")
    ] = Field(
        None,
        description="The area that a ratio is counted over: that of another aim, by name, or one "
        "of its own.",
    )
    kelvin: Kelvin | None = Field(
        None, description="Colour temperature of the light that the area sends, before the camera."
    )
    neutral: bool = Field(False, description="true: grey in the picture, neither warm nor cool.")
    clipped_at_most: Fraction01 | None = Field(
        None, description="Share of the area that may be at the top of an sRGB display."
    )
    shadows_at_least: Annotated[float, Field(gt=0, lt=100)] | None = Field(
        None,
        description="CIE L* on an sRGB display that all but the darkest tenth of the area is to "
        "reach.",
    )
    weight: Annotated[float, Field(gt=0, le=1000)] = Field(
        1.0, description="How much it counts against the other aims."
    )
    must: bool = Field(False, description="true: it is to be met, whatever becomes of the others.")

    @field_validator("ratio")
    @classmethod
    def _ratio_reads(cls, value: str | None) -> str | None:
        match = None if value is None else _RATIO.match(value)
        if value is not None and (match is None or float(match[1]) <= 0 or float(match[2]) <= 0):
            raise ValueError('expected a ratio such as "4:1", both numbers above 0')
        return value

    @model_validator(mode="after")
    def _says_something_once(self) -> Self:
        lightness = self._said(_LIGHTNESS)
        if len(lightness) > 1:
            raise ValueError(
                f"one lightness at a time, found {' and '.join(lightness)}; keep one of them"
            )
        if len(self._said(_COLOUR)) > 1:
            raise ValueError("one colour at a time, found kelvin and neutral; keep one of them")
        if (self.ratio is None) != (self.over is None):
            raise ValueError(
                'ratio and over go together, as in { ratio = "4:1", over = "wall" }: this area is '
                "four times as bright as that of the aim called wall"
            )
        if not (lightness or self._said(_COLOUR) or self._said(_LIMITS)):
            known = ", ".join((*_LIGHTNESS, *_COLOUR, *_LIMITS))
            raise ValueError(f"nothing is aimed at; say at least one of {known}")
        if self.must and "weight" in self.model_fields_set:
            raise ValueError("an aim has a weight or is a must, not both")
        return self

    def _said(self, keys: tuple[str, ...]) -> list[str]:
        values = {key: getattr(self, key) for key in keys}
        return [key for key, value in values.items() if value is not None and value is not False]

    @property
    def ratio_value(self) -> float | None:
        """The ratio as one number, this area over the other; None where there is none."""
        match = None if self.ratio is None else _RATIO.match(self.ratio)
        return None if match is None else float(match[1]) / float(match[2])
