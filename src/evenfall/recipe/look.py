"""The look of a recipe: from the exposed mix to display light."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from evenfall.recipe.base import (
    Fraction01,
    HexColour,
    Name,
    NamesFile,
    OrNone,
    Part,
    Point,
    Rgb,
    Stops,
    Takes,
)

__all__ = [
    "Aces",
    "Cdl",
    "Clip",
    "Denoise",
    "Evenfall",
    "Fringe",
    "Gamut",
    "Glare",
    "Grade",
    "Grain",
    "Hable",
    "Look",
    "Lut",
    "Neutral",
    "Reinhard",
    "Sharpen",
    "SplitTint",
    "Tone",
    "View",
    "Vignette",
]


class Evenfall(Part):
    """Our own curve: middle grey stays, and light keeps its hue all the way to white."""

    curve: Literal["evenfall"] = Field("evenfall", description="Which curve it is.")
    contrast: float = Field(
        1.25,
        ge=0.5,
        le=3,
        description="How steep contrast is around middle grey; 1 is the scene's own.",
    )
    highlight_stops: float = Field(
        5.0, ge=1, le=20, description="Stops of scene above middle grey before all is white."
    )
    shadow_stops: float = Field(
        9.0, ge=1, le=20, description="Stops of scene below middle grey before all is black."
    )
    soft_highlights: Fraction01 = Field(
        0.6,
        description="How gently bright tones roll off into white; 0 stops hard.",
    )
    soft_shadows: Fraction01 = Field(
        0.8, description="How gently dark tones roll off into black; 0 stops hard."
    )
    to_white: Fraction01 = Field(
        0.4,
        description="How early bright coloured light goes to white: 0 keeps its colour to the "
        "end, 1 lets it go as early as photographic film does.",
    )


class Reinhard(Part):
    """Extended curve of Reinhard et al. 2002, with a white point."""

    curve: Literal["reinhard"] = Field("reinhard", description="Which curve it is.")
    white: float = Field(4.0, ge=0.1, le=1e6, description="Scene value that becomes display white.")


class Hable(Part):
    """Hable's 2010 curve with the constants of the talk."""

    ends_at_white: ClassVar[bool] = True  # a tenth above it at the most
    curve: Literal["hable"] = Field("hable", description="Which curve it is.")
    white: float = Field(
        11.2, ge=0.1, le=1e6, description="Scene value that becomes display white."
    )


class Neutral(Part):
    """The Khronos neutral curve: colours kept up to 0.8, highlights compressed and bleached."""

    ends_at_white: ClassVar[bool] = True
    curve: Literal["neutral"] = Field("neutral", description="Which curve it is.")


class Clip(Part):
    """No curve: scene values as they are, white at 1."""

    curve: Literal["clip"] = Field("clip", description="Which curve it is.")


class Aces(Part):
    """The ACES 2.0 output transform for the deliverable's display."""

    curve: Literal["aces2"] = Field("aces2", description="Which curve it is.")


CurveName = Literal["evenfall", "reinhard", "hable", "neutral", "clip", "aces2"]


def _named_curve(value: object) -> object:
    return {"curve": value} if isinstance(value, str) else value


Tone = Annotated[
    Annotated[Evenfall | Reinhard | Hable | Neutral | Clip | Aces, Field(discriminator="curve")],
    BeforeValidator(
        _named_curve,
        json_schema_input_type=Evenfall | Reinhard | Hable | Neutral | Clip | Aces | CurveName,
    ),
    Takes(
        '"evenfall", "reinhard", "hable", "neutral", "clip" or "aces2", or a table with curve and '
        "its settings"
    ),
]
"""A tone curve: its name alone, or a table with `curve` and its settings."""


_FARTHEST, _STEEPEST = 1000, 100
_CDL_NUMBERS = ("slope", "offset", "power", "saturation")


class Cdl(Part):
    """An ASC CDL, inline or from a .cc, .ccc or .cdl file."""

    slope: Rgb = Field((1.0, 1.0, 1.0), description="Factor per channel.")
    offset: Rgb = Field((0.0, 0.0, 0.0), description="Added per channel.")
    power: Rgb = Field((1.0, 1.0, 1.0), description="Exponent per channel.")
    saturation: float = Field(1.0, ge=0, le=100, description="Saturation, BT.709 weights.")
    file: Annotated[Name | None, NamesFile("look")] = Field(
        None, description="A .cc, .ccc or .cdl file instead of numbers."
    )
    id: str | None = Field(None, description="Which correction of the file; the first by default.")
    input: Literal["linear", "log"] = Field(
        "linear",
        description="What it is applied to: linear working values (ACEScg), or log (ACEScct), for "
        "which corrections made on a set are usually meant.",
    )
    clamp: bool = Field(False, description="Clamp to 0..1 as ASC CDL v1.2 asks.")

    @model_validator(mode="after")
    def _sound(self) -> Self:
        if not all(0 <= slope <= _FARTHEST for slope in self.slope):
            raise ValueError(f"slope is from 0 to {_FARTHEST}")
        if not all(abs(offset) <= _FARTHEST for offset in self.offset):
            raise ValueError(f"offset is from -{_FARTHEST} to {_FARTHEST}")
        if not all(0 < power <= _STEEPEST for power in self.power):
            raise ValueError(f"power is above 0, up to {_STEEPEST}")
        if self.id is not None and self.file is None:
            raise ValueError("id goes with file")
        numbers = [key for key in _CDL_NUMBERS if key in self.model_fields_set]
        if self.file is not None and numbers:
            raise ValueError(f"a CDL is numbers or a file, found file and {' and '.join(numbers)}")
        return self


class Lut(Part):
    """A 3D or 1D LUT file, at a stated place in the chain and in a stated input space."""

    file: Annotated[Name, NamesFile("look")] = Field(
        description=".cube, or any LUT file that OpenColorIO reads."
    )
    place: Literal["scene", "display"] = Field(
        "display",
        description="scene: before the tone curve; display: after the display encoding.",
    )
    input: Literal["encoded", "linear", "log"] = Field(
        "encoded",
        description="What the LUT expects, at place scene: linear working values, or log "
        "(ACEScct); at place display: encoded values of the deliverable's space.",
    )
    strength: Fraction01 = Field(1.0, description="Blend with the picture without the LUT.")

    @model_validator(mode="after")
    def _place_fits(self) -> Self:
        if (self.place == "display") != (self.input == "encoded"):
            raise ValueError(
                'a LUT at place "display" takes input "encoded"; at place "scene" it takes '
                '"linear" or "log"'
            )
        return self


class SplitTint(Part):
    """Two colours, one for the shadows and one for the highlights, at equal luminance."""

    shadows: HexColour = Field("#808080", description="sRGB colour of the shadows.")
    highlights: HexColour = Field("#808080", description="sRGB colour of the highlights.")
    balance_stops: Stops = Field(0.0, description="Where the two meet, in stops around grey.")
    strength: Fraction01 = Field(0.25, description="How much of the tints is used.")


class Grade(Part):
    """Adjustments in scene-linear light before the tone curve."""

    contrast: float = Field(1.0, ge=0.2, le=4, description="Around grey; 1 changes nothing.")
    saturation: float = Field(1.0, ge=0, le=4, description="1 changes nothing, 0 is grey.")
    split_tint: Annotated[SplitTint | None, OrNone(SplitTint)] = Field(
        None, description="Tints for shadows and highlights."
    )
    cdl: Annotated[Cdl | None, OrNone(Cdl)] = Field(None, description="ASC CDL.")
    luts: tuple[Lut, ...] = Field((), description="LUT files, in the order given.")


class Gamut(Part):
    """What happens to colours that the deliverable's space cannot show."""

    method: Literal["compress", "clip"] = Field(
        "compress", description="compress: smoothly drawn inwards; clip: cut off."
    )


class Denoise(Part):
    """Noise taken off the finished mix with Open Image Denoise (extra 'denoise').

    Before plate, regions and everything else of the look; OpenEXR deliverables keep the mix as it
    is. The guides are those of passes.repair.
    """

    strength: Fraction01 = Field(0.0, description="Share of the noise that is taken off.")


class Glare(Part):
    """Light scattered in the lens: bright things bloom; energy is kept."""

    strength: Fraction01 = Field(
        0.0, description="Share of the light that is scattered; 0.05 is a lot."
    )
    radius: float = Field(
        0.012,
        ge=0.0001,
        le=0.5,
        description="Reach of the glow, as a share of the width: at this distance it has fallen "
        "to an eighth.",
    )


class Vignette(Part):
    """Fall-off of light towards the corners."""

    natural: Fraction01 = Field(0.0, description="Share of the lens's cos^4 fall-off.")
    focal_length_mm: float = Field(
        28.0, gt=1, le=2000, description="Focal length for a 36 mm wide frame: the angle of view."
    )
    creative_stops: float = Field(
        0.0, ge=0, le=5, description="Further darkening in the corners, in stops."
    )
    centre: Point = Field((0.5, 0.5), description="Middle of the creative fall-off.")


class Sharpen(Part):
    """Sharpening without halos."""

    strength: Fraction01 = Field(0.0, description="0 is none, 1 a lot.")
    radius: float = Field(
        0.0006,
        gt=0,
        le=0.05,
        description="Width of the blur it works against (standard deviation), as a share "
        "of the picture's width.",
    )


class Grain(Part):
    """Grain as on film: more in the mid-tones than in black and white."""

    strength: Fraction01 = Field(0.0, description="0 is none, 1 a pushed high-speed film.")
    size: float = Field(0.0006, gt=0, le=0.02, description="Grain size, as a share of the width.")
    seed: int = Field(1, ge=0, lt=2**30, description="A different seed gives a different pattern.")


class Fringe(Part):
    """Slight chromatic fringing towards the corners."""

    strength: Fraction01 = Field(
        0.0, description="1 shifts red outwards and blue inwards by 0.3 %."
    )


class View(Part):
    """A view of a whole OpenColorIO config, instead of our own tone curve and encoding."""

    config: Annotated[Name, NamesFile("look", unless="ocio://")] = Field(
        description='Path of the config, or "ocio://NAME" for a built-in one.'
    )
    display: str = Field(description="Name of the display.")
    view: str = Field(description="Name of the view.")
    source: str | None = Field(None, description="The config's name for the passes' colour space.")


class Look(Part):
    """Everything from the exposed mix to display light."""

    tone: Tone = Field(default_factory=Evenfall, description="Tone curve.")
    grade: Grade = Field(default_factory=Grade, description="Contrast, saturation, tints, LUTs.")
    gamut: Gamut = Field(default_factory=Gamut, description="Colours outside the display's gamut.")
    denoise: Denoise = Field(
        default_factory=Denoise, description="Noise taken off the finished mix."
    )
    glare: Glare = Field(default_factory=Glare, description="Scatter of bright light.")
    vignette: Vignette = Field(default_factory=Vignette, description="Fall-off to the corners.")
    sharpen: Sharpen = Field(default_factory=Sharpen, description="Sharpening.")
    grain: Grain = Field(default_factory=Grain, description="Film-like grain.")
    fringe: Fringe = Field(default_factory=Fringe, description="Chromatic fringing.")
    view: Annotated[View | None, OrNone(View)] = Field(
        None, description="A studio's own OpenColorIO view."
    )

    @property
    def ends_at_white(self) -> bool:
        """Whether no light is above display white, whatever the display could show."""
        return self.view is not None or getattr(self.tone, "ends_at_white", False)
