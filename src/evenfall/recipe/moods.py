"""Moods: named variants of the view, each saying only what differs."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, field_validator, model_validator

from evenfall.recipe.aims import Aim
from evenfall.recipe.areas import Area
from evenfall.recipe.base import (
    Fraction01,
    Name,
    NamesFile,
    OrNone,
    OwnTint,
    Part,
    StepAsWritten,
    Stops,
    StopsAsWritten,
    Takes,
    Words,
)
from evenfall.recipe.camera import MoodCamera, WhiteBalance
from evenfall.recipe.lights import MoodSetting
from evenfall.recipe.look import Look

__all__ = ["Daylight", "Mood", "MoodLight", "Overlay", "Plate", "Region"]


def _plain_word(value: object) -> object:
    """Write a short form, or on = false and off = false, out as the table that it stands for."""
    if value in ("on", "off"):
        return {value: True}
    if isinstance(value, str | int | float) and not isinstance(value, bool):
        return {"stops": value}
    if isinstance(value, dict):
        for word, other in (("on", "off"), ("off", "on")):
            if value.get(word) is False:
                value = {key: said for key, said in value.items() if key != word} | {other: True}
    return value


def _iso_text(value: object) -> object:
    return value.isoformat() if isinstance(value, datetime.datetime) else value


MoodLight = Annotated[
    MoodSetting,
    BeforeValidator(
        _plain_word,
        json_schema_input_type=MoodSetting | Literal["on", "off"] | StopsAsWritten | StepAsWritten,
    ),
    Takes('"on", "off", stops such as -2 or "+1 1/3", a step such as "down 2", or a table'),
]
"""A light's setting in a mood: 'on', 'off', stops as a number or text, a step, or a table."""


class Daylight(Part):
    """Sun and sky by the hour: starting gains and tints from published daylight models.

    The lights named here get gain and tint from the model, relative to the altitude of the sun for
    which they were rendered (rendered.sun_altitude_degrees; 45 unless said). A setting of the mood
    for the same light works from there: stops, factor, mired_shift and rgb change it further; any
    other gain or tint takes its place.
    """

    sun: str | None = Field(None, description="The light that is the sun.")
    sky: str | None = Field(None, description="The light that is the sky.")
    sun_altitude_degrees: float | None = Field(
        None, ge=-90, le=90, description="Altitude of the sun's centre above the horizon."
    )
    latitude: float | None = Field(None, ge=-90, le=90, description="Degrees, north positive.")
    longitude: float | None = Field(None, ge=-180, le=180, description="Degrees, east positive.")
    time: Annotated[
        str | None,
        BeforeValidator(_iso_text, json_schema_input_type=str | None),
        Takes("a date and time with offset such as 2026-06-21T21:30:00+02:00"),
    ] = Field(None, description="Date, time and offset from UTC, ISO 8601.")
    state: Literal["clear", "hazy", "overcast"] = Field("clear", description="State of the sky.")

    @field_validator("time")
    @classmethod
    def _time_reads(cls, value: str | None) -> str | None:
        if value is None:
            return None
        try:
            complete = datetime.datetime.fromisoformat(value).tzinfo is not None
        except ValueError:
            complete = False
        if not complete:
            raise ValueError(
                "expected date, time and offset from UTC such as 2026-06-21T21:30:00+02:00"
            )
        return value

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        place = (self.latitude, self.longitude, self.time)
        if (self.sun_altitude_degrees is None) == all(part is None for part in place):
            raise ValueError(
                "say either sun_altitude_degrees, or latitude, longitude and time together"
            )
        if any(part is None for part in place) and not all(part is None for part in place):
            raise ValueError(
                "latitude, longitude and time go together; say all three, or sun_altitude_degrees"
            )
        if self.sun is None and self.sky is None:
            raise ValueError("name the light that is the sun, the sky, or both")
        if self.sun == self.sky:
            raise ValueError("sun and sky are two lights; name the one that a pass shows")
        return self


class Plate(Part):
    """A background picture behind the view's alpha."""

    file: Annotated[Name, NamesFile("picture")] = Field(
        description="JPEG, PNG, TIFF, WebP, BMP, HDR or EXR file, relative to the recipe."
    )
    stops: Stops = Field(0.0, description="Its own exposure, in stops.")
    rgb: OwnTint = Field(
        (1.0, 1.0, 1.0), description="Its own tint: factors in scene-linear light."
    )
    encoding: Literal["auto", "linear", "sRGB"] = Field(
        "auto", description="How its values are stored; auto: by the file's kind and profile."
    )
    fit: Literal["cover", "contain", "stretch"] = Field(
        "cover", description="How it fills the view."
    )
    position: tuple[Fraction01, Fraction01] = Field(
        (0.5, 0.5), description="Which part is kept when it is cropped; 0.5, 0.5 is the middle."
    )
    light_wrap: Fraction01 = Field(
        0.0, description="How much of the plate's light spills over the edges in front of it."
    )


Near = Annotated[float, Field(ge=-100, le=100)]
"""A share of the view's width or height, which may lie outside the view."""


class Overlay(Part):
    """A cut-out in front of the view: people, foliage."""

    file: Annotated[Name, NamesFile("picture")] = Field(
        description="Picture with alpha, relative to the recipe."
    )
    stops: Stops = Field(0.0, description="Its own exposure, in stops.")
    rgb: OwnTint = Field(
        (1.0, 1.0, 1.0), description="Its own tint: factors in scene-linear light."
    )
    encoding: Literal["auto", "linear", "sRGB"] = Field("auto", description="As for a plate.")
    alpha: Literal["auto", "straight", "premultiplied"] = Field(
        "auto",
        description="Whether its colours are already multiplied by alpha; auto: as the kind of "
        "file says, EXR is and PNG is not.",
    )
    position: tuple[Near, Near] = Field(
        (0.5, 1.0), description="Where its bottom middle stands: shares of width and height."
    )
    height: float = Field(0.5, ge=0.001, le=10, description="Its height as a share of the view's.")
    opacity: Fraction01 = Field(1.0, description="How solid it is.")


class Region(Part):
    """A change only in one area of the picture."""

    area: Area = Field(description="Where.")
    lights: dict[str, Stops] = Field(
        default_factory=dict, description="Stops by which lights or groups change there."
    )
    exposure_stops: Stops = Field(0.0, description="Stops by which everything changes there.")
    white_balance: WhiteBalance | None = Field(None, description="White balance there.")
    saturation: float = Field(1.0, ge=0, le=4, description="Saturation there.")


class Mood(Part):
    """One variant of the view: day, dusk, night, or any other."""

    title: Words | None = Field(None, description="Name for people; the key by default.")
    based_on: str | None = Field(None, description="The mood this one builds on.")
    time_of_day: Literal["day", "dusk", "night"] | None = Field(
        None, description="What it shows, for advice; guessed from its name otherwise."
    )
    daylight: Annotated[Daylight | None, OrNone(Daylight)] = Field(
        None, description="Sun and sky from a daylight model."
    )
    lights: dict[str, MoodLight] = Field(
        default_factory=dict, description="Settings by name of light or group; only what differs."
    )
    camera: MoodCamera | None = Field(None, description="What differs from the recipe's camera.")
    look: Look | None = Field(None, description="What differs from the recipe's look.")
    plate: Annotated[Plate | None, OrNone(Plate)] = Field(
        None, description="Background behind alpha."
    )
    overlays: tuple[Overlay, ...] | None = Field(None, description="Cut-outs in front.")
    regions: tuple[Region, ...] | None = Field(None, description="Changes in parts of the picture.")
    aims: dict[str, Aim] = Field(
        default_factory=dict,
        description="What it should show, by any name; `evenfall aim` finds the gains. Moods based "
        "on this one do not inherit them.",
    )
