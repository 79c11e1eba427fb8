"""The camera of a recipe: metering, exposure, white balance."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, field_validator, model_validator

from evenfall.recipe.areas import Area
from evenfall.recipe.base import (
    Adaptation,
    Family,
    NamesFile,
    OrNone,
    Part,
    Percent,
    Point,
    Step,
    Stops,
    StopsOrStep,
    Takes,
)
from evenfall.recipe.colour_temperature import Duv, check_kelvin

__all__ = ["Camera", "CameraSettings", "Meter", "MoodCamera", "WhiteBalance"]


class Meter(Part):
    """How exposure is measured: of what, where, and to which grey."""

    of: str | tuple[str, ...] = Field(
        "key",
        description='What the meter sees: "key" (every light with that role), "mix" (all of the '
        "mood), or names of lights and groups.",
    )
    mood: str | None = Field(
        None,
        description="The mood that is metered; its exposure is held for the others. The first "
        "mood in which the key is on, otherwise.",
    )
    method: Literal["average", "centre", "spot", "highlights"] = Field(
        "average",
        description="average: the log average; centre: the same, weighted to the middle; spot: the "
        "same in a circle around `at`, 1/20 of the width across; highlights: brings a bright "
        "percentile to highlight_percent. The averages leave out pixels more than ten stops under "
        "the mean, which the metered light does not reach.",
    )
    area: Annotated[Area | None, OrNone(Area)] = Field(None, description="Meter only here.")
    at: Point = Field((0.5, 0.5), description="Middle of the spot.")
    grey_percent: Percent = Field(
        18.0, description="The metered light is brought to this reflectance of grey."
    )
    percentile: Percent = Field(
        99.0, description="For highlights: this percentile is brought to highlight_percent."
    )
    highlight_percent: float = Field(
        100.0,
        gt=0,
        le=10000,
        description="For highlights: where the percentile is put, 100 is white.",
    )


class CameraSettings(Part):
    """Exposure as set on a camera; needs passes whose scale in cd/m2 is known."""

    iso: float = Field(100.0, gt=0, le=1_000_000, description="Film speed, ISO.")
    aperture: float = Field(8.0, gt=0.3, le=256, description="f-number.")
    shutter: Annotated[str | float, Takes('an exposure time in seconds such as "1/125" or 0.5')] = (
        Field("1/125", description="Exposure time in seconds.")
    )

    anchor: Literal["grey", "saturation"] = Field(
        "grey",
        description="grey: a luminance that a meter (K = 12.5, ISO 2720) would call right for "
        "these settings lands on 18 % grey; saturation: the luminance that just saturates "
        "(1.2 x 2^EV cd/m2, ISO 12232) lands on white, which is 0.79 stop darker.",
    )

    @field_validator("shutter")
    @classmethod
    def _shutter_reads(cls, value: str | float) -> str | float:
        try:
            seconds = shutter_seconds(value)
        except (ValueError, ZeroDivisionError):
            seconds = 0.0
        if seconds <= 0:
            raise ValueError('expected an exposure time in seconds such as "1/125" or 0.5')
        return value

    @property
    def shutter_seconds(self) -> float:
        """Exposure time in seconds."""
        return shutter_seconds(self.shutter)


def shutter_seconds(value: str | float) -> float:
    """Read an exposure time.

    Examples
    --------
    >>> shutter_seconds("1/125")
    0.008
    """
    if isinstance(value, int | float):
        return float(value)
    top, slash, bottom = value.strip().removesuffix("s").strip().partition("/")
    return float(top) / float(bottom) if slash else float(top)


class WhiteBalance(Part):
    """Which light is to look neutral."""

    families: ClassVar[tuple[Family, ...]] = (
        Family(("kelvin", "neutral"), ("kelvin", "duv", "neutral", "neutral_radius")),
    )

    kelvin: Annotated[float, Field(ge=1000, le=25000)] | None = Field(
        None, description="Light of this colour temperature is rendered neutral."
    )
    duv: Duv | None = Field(
        None, description="Off the Planckian locus in CIE 1960 uv; + is green. With kelvin."
    )
    neutral: Point | None = Field(None, description="A spot of the picture that should be neutral.")
    neutral_radius: float = Field(
        0.01, gt=0, le=0.5, description="Radius of that spot, as a share of the width."
    )
    neutral_mood: str | None = Field(
        None, description="The mood in which the spot is measured; by default each mood itself."
    )
    adaptation: Adaptation = Field("CAT16", description="Chromatic adaptation transform.")

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.kelvin is not None and self.neutral is not None:
            raise ValueError("white balance is by kelvin or by a neutral spot, not both")
        check_kelvin(self.kelvin, self.duv)
        return self


_EXPOSURE_STOPS: Any = Field(
    0.0, description="Stops on top of what the meter or the settings say; + is brighter."
)


class _Camera(Part, defer_build=True):
    """Exposure and white balance; what takes them says which kind of stops."""

    families: ClassVar[tuple[Family, ...]] = (Family(("meter", "settings"), ("meter", "settings")),)

    exposure_stops: float | Step = _EXPOSURE_STOPS
    meter: Meter | Literal["off"] = Field(
        default_factory=Meter,
        description='How exposure is measured; "off" leaves pass values as they are, times '
        "exposure_stops.",
    )
    settings: Annotated[CameraSettings | None, OrNone(CameraSettings)] = Field(
        None, description="ISO, aperture and shutter instead of the meter."
    )
    white_balance: Annotated[WhiteBalance | None, OrNone(WhiteBalance)] = Field(
        None, description="Which light looks neutral; by default the passes' own white."
    )
    as_in: Annotated[
        str | None,
        OrNone(str),
        NamesFile("view"),
        Takes('the recipe of another view such as "living.toml", or "none"'),
    ] = Field(
        None,
        description="Exposure as in another view: that of its mood of the same name, whole, so "
        "that a lamp looks the same in both. Meter, settings and stops are then said there.",
    )

    @model_validator(mode="after")
    def _one_exposure(self) -> Self:
        metered = "meter" in self.model_fields_set and self.meter != "off"
        if metered and self.settings is not None:
            raise ValueError("exposure is by meter or by settings, not both")
        return self


class Camera(_Camera, defer_build=False):
    """Exposure and white balance; every mood shares it unless the mood says otherwise."""

    exposure_stops: Stops = _EXPOSURE_STOPS


class MoodCamera(_Camera, defer_build=False):
    """What a mood changes of exposure and white balance.

    Exposure that begins with up or down is turned from where the mood stands that this one is based
    on, and in a first mood from the recipe's camera.
    """

    exposure_stops: StopsOrStep = _EXPOSURE_STOPS
