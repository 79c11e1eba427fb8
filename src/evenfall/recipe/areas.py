"""Areas of the picture: where to meter, to balance, or to change something only there."""

from __future__ import annotations

import itertools
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from evenfall.recipe.base import Fraction01, Name, NamesFile, Part, Point

__all__ = ["Area", "Gradient"]

_FLAT = 1e-9  # twice the area of a triangle, as a share of the picture


class Gradient(Part):
    """A straight ramp from nothing to everything."""

    start: Point = Field(description="Where the weight is 0: shares of width and height.")
    end: Point = Field(description="Where the weight reaches 1.")

    @model_validator(mode="after")
    def _has_length(self) -> Self:
        if self.start == self.end:
            raise ValueError("a gradient needs a start and an end that differ")
        return self


class Area(Part):
    """A part of the picture: one shape, feathered and inverted as asked.

    Places are shares of the picture's width and height from the top left, so that an area means
    the same on a draft and at full size.
    """

    rectangle: tuple[Fraction01, Fraction01, Fraction01, Fraction01] | None = Field(
        None, description="Left, top, right, bottom, as shares of width and height."
    )
    ellipse: tuple[Fraction01, Fraction01, Fraction01, Fraction01] | None = Field(
        None,
        description="Centre x, centre y, half width, half height, as shares of width and height.",
    )
    polygon: Annotated[tuple[Point, ...], Field(min_length=3, max_length=64)] | None = Field(
        None,
        description="Corners one after the other, each across and down, as shares of width and "
        "height; the last is joined to the first.",
    )
    gradient: Gradient | None = Field(None, description="A straight ramp between two points.")
    mask: Annotated[Name | None, NamesFile("weights")] = Field(
        None,
        description="Picture whose values 0 to 1 are the weight, relative to the recipe; scaled to "
        "the view.",
    )
    channel: str | None = Field(
        None, description="Channel of the mask or of the object-id file; R or the first by default."
    )
    ids: Annotated[Name | None, NamesFile("numbers")] = Field(
        None, description="File with an object-id pass, in the passes' folder."
    )
    id: tuple[int, ...] = Field((), description="Object numbers that belong to the area.")
    feather: Fraction01 = Field(
        0.0, description="Width of the soft edge, as a share of the picture's width."
    )
    invert: bool = Field(False, description="Everything except the shape.")

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        shapes = {
            name
            for name in ("rectangle", "ellipse", "polygon", "gradient", "mask", "ids")
            if getattr(self, name) is not None
        }
        if len(shapes) != 1:
            named = " and ".join(sorted(shapes)) or "none"
            raise ValueError(
                "an area is exactly one of rectangle, ellipse, polygon, gradient, mask, ids; "
                f"found {named}"
            )
        if "ids" in shapes and not self.id:
            raise ValueError("an area by object ids needs id = [number, ...]")
        if self.id and "ids" not in shapes:
            raise ValueError("id goes with ids, the file of the object-id pass")
        if self.channel is not None and not shapes & {"mask", "ids"}:
            raise ValueError("channel goes with mask or ids, which are files")
        if self.feather and "gradient" in shapes:
            raise ValueError("a gradient has no edge to feather; move its start and end apart")
        if self.rectangle is not None:
            left, top, right, bottom = self.rectangle
            if left >= right or top >= bottom:
                raise ValueError(
                    "a rectangle is left, top, right, bottom with left < right, top < bottom"
                )
        return self

    @field_validator("polygon")
    @classmethod
    def _encloses_something(cls, value: tuple[Point, ...] | None) -> tuple[Point, ...] | None:
        if value is not None and _lie_on_one_line(value):
            raise ValueError("the corners of a polygon must not lie on one line")
        return value


def _lie_on_one_line(corners: tuple[Point, ...]) -> bool:
    (x0, y0), *others = corners
    steps = [(x - x0, y - y0) for x, y in others]
    return all(
        abs(x1 * y2 - x2 * y1) < _FLAT for (x1, y1), (x2, y2) in itertools.combinations(steps, 2)
    )
