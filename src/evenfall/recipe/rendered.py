"""How a light was rendered, and in which picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Self

from pydantic import Field, field_validator, model_validator

from evenfall.recipe.base import Part
from evenfall.recipe.colour_temperature import Duv, Kelvin, check_chromaticity, check_kelvin
from evenfall.recipe.tints import Locus

__all__ = ["Rendered", "Source"]


class Rendered(Part):
    """How a light was rendered, as far as known; gains and tints are relative to it."""

    kelvin: Kelvin | None = Field(None, description="Colour temperature it was rendered at.")
    duv: Duv | None = Field(
        None,
        description="Distance from the Planckian locus in CIE 1960 uv; + is green. Goes with "
        "kelvin, which then counts along that locus.",
    )
    locus: Locus | None = Field(None, description="Which locus kelvin lies on, as in a mood.")
    xy: tuple[float, float] | None = Field(
        None, description="CIE 1931 chromaticity instead of kelvin."
    )
    lumens: float | None = Field(None, gt=0, description="Luminous flux it was rendered with.")
    candela: float | None = Field(
        None,
        gt=0,
        description="Luminous intensity it was rendered with, in the middle of the beam: of "
        "spots and other directed lamps.",
    )
    sun_altitude_degrees: float | None = Field(
        None,
        ge=-90,
        le=90,
        description="Altitude of the sun for which sun or sky was rendered; for daylight moods.",
    )
    sky_state: Literal["clear", "hazy", "overcast"] | None = Field(
        None, description="Sky for which sun or sky was rendered; clear by default."
    )

    _xy_real = field_validator("xy")(check_chromaticity)

    @model_validator(mode="after")
    def _one_colour(self) -> Self:
        if self.kelvin is not None and self.xy is not None:
            raise ValueError("say either kelvin or xy, not both")
        check_kelvin(self.kelvin, self.duv, self.locus)
        return self


@dataclass(frozen=True)
class Source:
    """A picture that a recipe names: a file, and where in it.

    Examples
    --------
    >>> source = Source("living.exr", layer="sun")
    >>> str(source), source.place
    ('living.exr, layer sun', 'living.exr / sun')
    """

    file: str
    layer: str | None = None
    part: str | None = None

    def __str__(self) -> str:
        inside = (("layer", self.layer), ("part", self.part))
        return ", ".join([self.file, *(f"{what} {name}" for what, name in inside if name)])

    @property
    def place(self) -> str:
        """In short, for tables: file, part and layer."""
        return " / ".join(each for each in (self.file, self.part, self.layer) if each)
