"""What goes to somebody: pictures, the contact sheet, drafts."""

from __future__ import annotations

import re
from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from evenfall.recipe.base import Name, NamesFile, Part, Point, Takes
from evenfall.recipe.formats import FORMATS, Format, FormatName
from evenfall.recipe.words.suggesting import joined

__all__ = ["Deliverable", "Draft", "Print", "Sheet"]

_ASPECT = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*[:/]\s*(\d+(?:\.\d+)?)\s*$")


def aspect_ratio(text: str) -> float:
    """Width over height of an aspect such as '16:9'.

    Examples
    --------
    >>> aspect_ratio("3:2")
    1.5
    """
    match = _ASPECT.match(text)
    if match is None or float(match[1]) <= 0 or float(match[2]) <= 0:
        raise ValueError('expected an aspect ratio such as "16:9"')
    return float(match[1]) / float(match[2])


def _formats_with(key: str) -> list[str]:
    return [f'"{name}"' for name, row in FORMATS.items() if key in row.keys]


class Print(Part):
    """Size on paper."""

    width_mm: float = Field(gt=0, le=20000, description="Width on paper in millimetres.")
    dpi: float = Field(300.0, ge=30, le=2400, description="Pixels per inch.")


class Deliverable(Part):
    """One kind of file, made for every mood or for those named."""

    format: FormatName = Field(
        "png",
        description="exr is the scene-linear mix with the camera applied, before the look; a "
        "layered exr holds that mix and every light of it as a layer of its own, named as in the "
        "recipe, which add up to it; avif "
        "is an HDR still (PQ); a gain-map jpeg shows HDR where it can be shown; webp is for web "
        "pages, up to 16,383 pixels a side. film (MP4), hdr film, moving avif and moving webp hold "
        "the frames of a sequence.",
    )
    bits: Literal[8, 10, 12, 16, 32] | None = Field(
        None,
        description="Bits per channel: png and tiff 8 or 16, exr and layered exr 16 (half) "
        "or 32 (float), avif 10 or 12.",
    )
    space: Literal["sRGB", "Display P3", "Adobe RGB (1998) compatible", "BT.709"] = Field(
        "sRGB",
        description="Colour space of display pictures, its profile embedded; exr and layered exr "
        "keep the passes' primaries, avif is BT.2020.",
    )
    camera: bool = Field(
        True,
        description="For exr and layered exr: apply exposure and white balance; false is the "
        "plain mix.",
    )
    ids: Annotated[Name | None, NamesFile("numbers")] = Field(
        None,
        description="For layered exr: file with an object-id pass, in the passes' folder, which is "
        "put beside the layers as a channel of whole numbers called id.",
    )
    name: str = Field(
        "{recipe}_{mood}{suffix}",
        description="File name without its ending; {recipe}, {mood}, {format}, {space}, {width}, "
        "{suffix}. {recipe} includes the frame, if one is set.",
    )
    suffix: str = Field("", description="Added to the name, to tell deliverables apart.")
    moods: tuple[str, ...] = Field((), description="Only these moods; all when empty.")
    crop: Annotated[str, Takes('an aspect ratio such as "16:9"')] | None = Field(
        None, description='Crop to an aspect ratio such as "4:5".'
    )
    crop_position: Point = Field(
        (0.5, 0.5), description="Which part the crop keeps; 0.5, 0.5 is the middle."
    )
    width: int | None = Field(
        None,
        ge=16,
        le=65535,
        description="Width in pixels. Alone it keeps the proportions; with a height the picture "
        "is cropped to their ratio, never squeezed.",
    )
    height: int | None = Field(None, ge=16, le=65535, description="Height in pixels, as width.")
    print: Print | None = Field(None, description="Size on paper; sets pixels and dpi.")
    quality: int = Field(
        92, ge=1, le=100, description="For jpeg, gain-map jpeg, avif and webp, and for films."
    )
    codec: Literal["h264", "hevc", "av1"] | None = Field(
        None,
        description="For films: h264 is played everywhere (film, unless said), hevc and av1 take "
        "half the room; hdr film is hevc (unless said) or av1.",
    )
    rate: float | None = Field(
        None, ge=1, le=240, description="For films: frames a second; the sequence's, or 24."
    )
    transfer: Literal["pq", "hlg"] = Field(
        "pq",
        description="For hdr film: pq is HDR10, for discs and the web; hlg for broadcasters.",
    )
    lossless: bool = Field(
        False, description="For webp: every pixel is kept as it is; the file is larger."
    )
    max_kilobytes: int | None = Field(
        None,
        ge=10,
        description="For jpeg: quality is lowered until the file is no larger, in units of "
        "1,000 bytes.",
    )
    dither: bool = Field(
        True, description="Fair dithering to whole codes, so that gradients do not band."
    )
    peak_nits: float = Field(
        1000.0, ge=200, le=10000, description="For HDR: luminance of the peak."
    )

    @field_validator("crop")
    @classmethod
    def _crop_reads(cls, value: str | None) -> str | None:
        if value is not None:
            aspect_ratio(value)
        return value

    @model_validator(mode="after")
    def _fits(self) -> Self:
        row = self.row
        if self.bits is not None and self.bits not in row.bits:
            allowed = " or ".join(str(bits) for bits in row.bits)
            raise ValueError(f"{self.format} takes {allowed} bits, found {self.bits}")
        if self.print is not None and (self.width or self.height):
            raise ValueError("say the size by print or by width and height, not both")
        if self.crop and self.width and self.height:
            tall = self.width / aspect_ratio(self.crop)
            if abs(tall - self.height) > 1:
                raise ValueError(
                    f"crop {self.crop} and {self.width} x {self.height} pixels do not agree; "
                    "say the crop and a width, or width and height alone"
                )
        misfits = [
            f"{key} goes with format = {joined(_formats_with(key), 'or')}"
            for key in dict.fromkeys(key for other in FORMATS.values() for key in other.keys)
            if key in self.model_fields_set and key not in row.keys
        ]
        if misfits:
            raise ValueError("; ".join(misfits))
        if self.format == "hdr film" and self.codec == "h264":
            raise ValueError("an hdr film is hevc or av1, found h264")
        if self.lossless and "quality" in self.model_fields_set:
            raise ValueError("quality has no effect on a lossless picture; say one of the two")
        if max(self.width or 0, self.height or 0) > row.longest_side:
            raise ValueError(f"{self.format} holds up to {row.longest_side:,} pixels per side")
        is_cropped = self.crop or (self.width and self.height)
        if "crop_position" in self.model_fields_set and not is_cropped:
            raise ValueError("crop_position goes with crop, or with width and height together")
        return self

    @property
    def row(self) -> Format:
        """What is known of its format."""
        return FORMATS[self.format]

    @property
    def bit_depth(self) -> int:
        """Bits per channel, the format's first when not said."""
        return self.bits or self.row.bits[0]


class Sheet(Part):
    """The contact sheet: all moods side by side with their names and settings."""

    make: bool = Field(True, description="false: no contact sheet.")
    columns: int | None = Field(None, ge=1, le=12, description="Pictures per row.")
    picture_width: int = Field(960, ge=160, le=4096, description="Width of a picture in pixels.")
    format: Literal["png", "jpeg"] = Field("png", description="File format.")
    figures: bool = Field(
        True, description="false: no exposure and no gains of lights, for a client's eyes."
    )
    date: str = Field("", description="Date at the top, as it should appear.")
    round: str = Field("", description='Round at the top, such as "Round 3".')
    name: str = Field("{recipe}_contact_sheet", description="File name without its ending.")


class Draft(Part):
    """Quick reduced pictures, with composition guides if asked."""

    width: int = Field(1280, ge=64, le=8192, description="Width of a draft in pixels.")
    guides: tuple[Literal["thirds", "diagonals", "centre", "golden"], ...] = Field(
        (), description="Composition guides, drawn on drafts only."
    )
