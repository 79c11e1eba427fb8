"""Lights as rendered, and what a mood asks of them: gain and tint in the units of the trade."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal, Self, TypeVar, assert_never

from pydantic import BeforeValidator, Field, field_validator, model_validator

from evenfall.recipe.base import (
    Family,
    HexColour,
    Name,
    NamesFile,
    Part,
    Rgb,
    Step,
    Stops,
    StopsOrStep,
)
from evenfall.recipe.clock import Clock, clock_seconds
from evenfall.recipe.colour_temperature import Duv, Kelvin, check_chromaticity, check_kelvin
from evenfall.recipe.gains import (
    GAIN_KEYS,
    AsRendered,
    Candela,
    Counted,
    Factor,
    Gain,
    GainKey,
    InStops,
    Lumens,
    Match,
    Off,
    Watts,
    gives_nothing,
)
from evenfall.recipe.rendered import Rendered, Source
from evenfall.recipe.tints import (
    TINT_KEYS,
    AtXy,
    HexTint,
    InKelvin,
    LampClassTint,
    Locus,
    MiredShift,
    PlainRgb,
    Tint,
    TintKey,
    Untinted,
)

__all__ = ["Light", "LightSetting", "MoodSetting", "Rendered", "Role", "Source"]

T = TypeVar("T")

Role = Literal["key", "fill", "sky", "fixture", "outdoor fixture", "glow"]


def _digits(value: Any) -> Any:
    return str(value) if type(value) is int else value


LampClass = Annotated[
    Literal["2700", "3000", "3500", "4000", "4500", "5000", "5700", "6500"],
    BeforeValidator(_digits, json_schema_input_type=str | int),
]
"""A nominal lamp class after ANSI C78.377, as text or as a number."""

_TINT_FAMILY = Family(TINT_KEYS, (*TINT_KEYS, "duv", "locus"))


class Light(Part):
    """One light (or group of lights) of the view, and where its pass lies.

    A light that was saved in several pictures, such as its direct and its indirect light, has lists
    of them; they are added up.
    """

    file: Annotated[Name | tuple[Name, ...], NamesFile("pass")] = Field(
        description="Picture file of the pass, relative to the passes' folder; a list of files "
        "that add up to it."
    )
    layer: Name | tuple[Name, ...] | None = Field(
        None,
        description="Layer inside the file, for files of many layers; a list of layers that add "
        'up, "" for one without a name.',
    )
    part: Name | tuple[Name, ...] | None = Field(
        None,
        description="Part inside the file, for files of many parts; a list of parts that add up, "
        '"" for one without a name.',
    )
    times: tuple[Clock, ...] | None = Field(
        None,
        description='Times of day of a list of passes, such as ["17:00", "18:30"]: they are then '
        "not added up, but one light on its way, and the two that are nearest are blended.",
    )
    sun_altitudes_degrees: tuple[float, ...] | None = Field(
        None, description="The same, by the altitude of the sun, rising or falling throughout."
    )
    role: Role = Field("fixture", description="What the light does in the picture.")
    title: str | None = Field(None, description="Name for people; the key by default.")
    prim: str | tuple[str, ...] | None = Field(
        None,
        description="Where the light stands in the OpenUSD scene of project.stage, such as "
        '"/House/Lights/Pendants"; a list of several. Of a prim that is no light itself, all '
        "lights under it are meant.",
    )
    rendered: Rendered = Field(default_factory=Rendered, description="How it was rendered.")

    @model_validator(mode="after")
    def _lists_of_one_length(self) -> Self:
        lists = {
            key: said
            for key in ("file", "layer", "part")
            if not isinstance(said := getattr(self, key), str | None)
        }
        empty = [key for key, said in lists.items() if not said]
        if empty:
            raise ValueError(f"{empty[0]} is an empty list; name at least one")
        if len({len(said) for said in lists.values()}) > 1:
            counts = " and ".join(f"{key} of {len(said)}" for key, said in lists.items())
            raise ValueError(f"lists go together one by one, found {counts}; give them one length")
        if len(set(self.sources)) < len(self.sources):
            raise ValueError("the same picture is in the list twice, and would count twice")
        return self

    @model_validator(mode="after")
    def _goes_one_way(self) -> Self:
        if self.times is not None and self.sun_altitudes_degrees is not None:
            raise ValueError("say times or sun_altitudes_degrees, not both")
        for key in ("times", "sun_altitudes_degrees"):
            said = getattr(self, key)
            if said is None:
                continue
            count = len(self.sources)
            if count < 2 or len(said) != count:
                raise ValueError(
                    f"{key} go with a list of passes one by one: {len(said)} said, {count} there"
                )
            steps = [b - a for a, b in zip(self.places, self.places[1:], strict=False)]
            if not (all(step > 0 for step in steps) or all(step < 0 for step in steps)):
                raise ValueError(f"{key} rise or fall from pass to pass, each another one")
            if key == "times" and steps[0] < 0:
                raise ValueError(
                    'times go on from pass to pass; after midnight hours run on, such as "24:30"'
                )
        return self

    @property
    def is_on_its_way(self) -> bool:
        """Whether its passes show it in several places, and are not added up."""
        return self.times is not None or self.sun_altitudes_degrees is not None

    @property
    def places(self) -> tuple[float, ...]:
        """Where its passes show it: seconds after midnight, or degrees of altitude."""
        if self.times is not None:
            return tuple(clock_seconds(time) for time in self.times)
        return self.sun_altitudes_degrees or ()

    @property
    def prims(self) -> tuple[str, ...]:
        """Its places in an OpenUSD scene."""
        if self.prim is None:
            return ()
        return (self.prim,) if isinstance(self.prim, str) else self.prim

    @property
    def sources(self) -> tuple[Source, ...]:
        """The pictures that add up to the pass: usually one.

        Examples
        --------
        >>> [str(each) for each in Light(file="a.exr", layer=("sun_direct", "sun_bounced")).sources]
        ['a.exr, layer sun_direct', 'a.exr, layer sun_bounced']
        """
        said = (self.file, self.layer, self.part)
        count = next((len(each) for each in said if isinstance(each, tuple)), 1)
        columns = [each if isinstance(each, tuple) else (each,) * count for each in said]
        return tuple(
            Source(str(file), layer, part) for file, layer, part in zip(*columns, strict=True)
        )


_STOPS: Any = Field(
    None,
    description='Stops relative to how it was rendered; as "up 1/3" or "down 2", relative '
    "to the mood that this one is based on, and in a first mood to the render.",
)


class _Setting(Part, defer_build=True):
    """What is asked of a light; what takes it says which kind of stops."""

    off: Literal[True] | None = Field(None, description="true: the light is off; not even read.")
    on: Literal[True] | None = Field(
        None, description="true: as rendered, whatever the mood it builds on says."
    )
    stops: float | Step | None = _STOPS
    factor: float | None = Field(None, ge=0, description="Plain factor; 1 is as rendered.")
    lumens: float | None = Field(None, ge=0, description="Luminous flux; needs rendered.lumens.")
    watts: float | None = Field(None, ge=0, description="Electric power; with lumens_per_watt.")
    lumens_per_watt: float | None = Field(None, gt=0, description="Efficacy of the lamp.")
    candela: float | None = Field(
        None,
        ge=0,
        description="Luminous intensity in the middle of the beam; needs rendered.candela. For "
        "a lamp of the same beam angle: another beam is another pass.",
    )
    match: Match | None = Field(None, description="Solved from the pixels.")

    kelvin: Kelvin | None = Field(None, description="Colour temperature in kelvin.")
    duv: Duv | None = Field(
        None,
        description="Distance from the Planckian locus in CIE 1960 uv; + is green. Goes with "
        "kelvin, which then counts along that locus.",
    )
    mired_shift: float | None = Field(
        None, ge=-1000, le=1000, description="Shift in mired (10^6/K); + is warmer."
    )
    xy: tuple[float, float] | None = Field(None, description="CIE 1931 chromaticity of the lamp.")
    hex: HexColour | None = Field(None, description="Colour of the light as sRGB '#rrggbb'.")
    rgb: Rgb | None = Field(None, description="Plain factors for R, G, B in the passes' primaries.")
    lamp_class: LampClass | None = Field(None, description="Nominal lamp class of ANSI C78.377.")
    hold_luminance: bool | None = Field(
        None,
        description="Keep the light's luminance when its colour changes (true unless said; plain "
        "rgb factors are taken as they are unless this says true).",
    )
    locus: Locus | None = Field(
        None,
        description="Which locus kelvin lies on: auto is Planckian below 4000 K, CIE daylight "
        "above 5000 K, blended between.",
    )

    @field_validator("rgb")
    @classmethod
    def _rgb_not_negative(cls, value: Rgb | None) -> Rgb | None:
        if value is not None and min(value) < 0:
            raise ValueError("expected three factors of 0 or more")
        return value

    _xy_real = field_validator("xy")(check_chromaticity)

    @model_validator(mode="after")
    def _one_of_each(self) -> Self:
        gains = [key for key in ("on", *GAIN_KEYS) if getattr(self, key) is not None]
        tints = [key for key in TINT_KEYS if getattr(self, key) is not None]
        if len(gains) > 1:
            raise ValueError(f"one gain at a time, found {' and '.join(gains)}; keep one of them")
        if len(tints) > 1:
            raise ValueError(f"one tint at a time, found {' and '.join(tints)}; keep one of them")
        if (self.watts is None) != (self.lumens_per_watt is None):
            raise ValueError(
                "watts and lumens_per_watt go together; say both, as in "
                "{ watts = 9, lumens_per_watt = 90 }, or give lumens"
            )
        check_kelvin(self.kelvin, self.duv, self.locus if self.kelvin is not None else None)
        return self

    @property
    def gain_key(self) -> GainKey | None:
        """Which key says how strong, or None for as rendered."""
        return next((key for key in GAIN_KEYS if getattr(self, key) is not None), None)

    @property
    def tint_key(self) -> TintKey | None:
        """Which key says what colour, or None for as rendered."""
        return next((key for key in TINT_KEYS if getattr(self, key) is not None), None)

    @property
    def tint(self) -> Tint:
        """What colour, as one case.

        Examples
        --------
        >>> LightSetting(kelvin=2700, duv=-0.003).tint
        InKelvin(kelvin=2700.0, duv=-0.003, locus=None)
        """
        key = self.tint_key
        match key:
            case None:
                return Untinted()
            case "kelvin":
                return InKelvin(_said(self.kelvin), self.duv, self.locus)
            case "mired_shift":
                return MiredShift(_said(self.mired_shift))
            case "xy":
                return AtXy(_said(self.xy))
            case "hex":
                return HexTint(_said(self.hex))
            case "rgb":
                return PlainRgb(_said(self.rgb))
            case "lamp_class":
                return LampClassTint(_said(self.lamp_class))
            case _:
                assert_never(key)


def _said(value: T | None) -> T:
    assert value is not None  # as its key was found
    return value


class MoodSetting(_Setting, defer_build=False):
    """What a mood asks of a light: one gain at most, one tint at most.

    A light that a mood does not mention stays as rendered, or as in the mood it builds on.
    """

    families: ClassVar[tuple[Family, ...]] = (
        Family(("on", *GAIN_KEYS), ("on", *GAIN_KEYS, "lumens_per_watt")),
        _TINT_FAMILY,
    )

    stops: StopsOrStep | None = _STOPS


class LightSetting(_Setting, defer_build=False):
    """What a mood comes to ask of a light: one gain at most, one tint at most.

    A gain that was said in steps from another mood is `counted` from there. Beside another gain
    that only tells how it was said; alone it is the gain itself, where that hangs on what the
    other mood solves from pixels or takes from a daylight model.
    """

    families: ClassVar[tuple[Family, ...]] = (
        Family(("on", *GAIN_KEYS, "counted"), ("on", *GAIN_KEYS, "lumens_per_watt", "counted")),
        _TINT_FAMILY,
    )

    stops: Stops | None = _STOPS
    counted: Counted | None = Field(None, description="From which mood the gain was counted.")

    @property
    def gain(self) -> Gain:
        """How strong, as one case.

        Examples
        --------
        >>> LightSetting(watts=8, lumens_per_watt=100).gain
        Watts(watts=8.0, lumens_per_watt=100.0)
        """
        key = self.gain_key
        match key:
            case None:
                return AsRendered() if self.counted is None else self.counted
            case "off":
                return Off()
            case "stops":
                return InStops(_said(self.stops))
            case "factor":
                return Factor(_said(self.factor))
            case "lumens":
                return Lumens(_said(self.lumens))
            case "watts":
                return Watts(_said(self.watts), _said(self.lumens_per_watt))
            case "candela":
                return Candela(_said(self.candela))
            case "match":
                return _said(self.match)
            case _:
                assert_never(key)

    @property
    def is_off(self) -> bool:
        """Whether it is off by word or by number.

        Examples
        --------
        >>> LightSetting(off=True).is_off, LightSetting(factor=0).is_off, LightSetting().is_off
        (True, True, False)
        """
        return gives_nothing(self.gain)
