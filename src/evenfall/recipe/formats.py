"""The formats that pictures are delivered in, one row each.

All that is known of a format without its pixels stands in its row, so that a recipe can be checked
before anything is read. What makes its bytes, and reads its record back, is one module in
`deliver/`, which `deliver/formats.py` names.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["FORMATS", "Format", "FormatName", "Shows"]

FormatName = Literal[
    "png",
    "jpeg",
    "tiff",
    "exr",
    "layered exr",
    "avif",
    "gain-map jpeg",
    "webp",
    "film",
    "hdr film",
    "moving avif",
    "moving webp",
]

Shows = Literal["display", "hdr", "scene-linear", "layers"]
"""What a file holds of a picture: codes for an ordinary display, light for a brighter one, the mix
before the look, or every light of it apart. A file that holds several is finished for each."""


@dataclass(frozen=True)
class Format:
    """One format.

    Parameters
    ----------
    kind : str
        What such a file is called.
    ending : str
        Ending of its name, with the dot.
    signatures : tuple of (int, bytes)
        Place and bytes that tell such a file; one of them is there.
    bits : tuple of int
        Bits per channel; the first is the one that is taken when none is said.
    shows : tuple of str
        What it holds.
    keys : tuple of str
        Keys of a deliverable that mean something to it, beyond those that every format takes.
    fixed_space : str
        How its colours are encoded where the recipe does not choose; empty where `space` does.
    hdr_gamut : str
        Output space that its HDR light is brought into; empty: that of `space`.
    longest_side : int
        Pixels.
    display_space : str
        Output space of its ordinary display where the recipe does not choose it.
    moves : bool
        Whether it holds many frames: of a sequence or a walk, and of no mood alone.
    """

    kind: str
    ending: str
    signatures: tuple[tuple[int, bytes], ...]
    bits: tuple[int, ...]
    shows: tuple[Shows, ...] = ("display",)
    keys: tuple[str, ...] = ("space", "dither")
    fixed_space: str = ""
    hdr_gamut: str = ""
    longest_side: int = 65_535
    display_space: str = ""
    moves: bool = False

    @property
    def is_scene_linear(self) -> bool:
        """Whether it holds light before the look alone, and nothing for a display."""
        return not {"display", "hdr"}.intersection(self.shows)


FORMATS: dict[FormatName, Format] = {
    "png": Format("PNG", ".png", ((0, b"\x89PNG"),), (8, 16)),
    "jpeg": Format(
        "JPEG",
        ".jpg",
        ((0, b"\xff\xd8"),),
        (8,),
        keys=("space", "dither", "quality", "max_kilobytes"),
    ),
    "tiff": Format("TIFF", ".tif", ((0, b"II*\0"), (0, b"II+\0")), (8, 16)),
    "exr": Format(
        "EXR",
        ".exr",
        ((0, b"v/1\x01"),),
        (16, 32),
        ("scene-linear",),
        keys=("camera",),
        fixed_space="scene-linear",
    ),
    "layered exr": Format(
        "EXR",
        ".exr",
        ((0, b"v/1\x01"),),
        (16, 32),
        ("scene-linear", "layers"),
        keys=("camera", "ids"),
        fixed_space="scene-linear",
    ),
    "avif": Format(
        "AVIF",
        ".avif",
        ((4, b"ftypavif"),),
        (10, 12),
        ("hdr",),
        keys=("quality", "peak_nits"),
        fixed_space="BT.2020 PQ",
        hdr_gamut="Display P3",  # what HDR displays show; the file carries it inside BT.2020
    ),
    "gain-map jpeg": Format(
        "JPEG",
        ".jpg",
        ((0, b"\xff\xd8"),),
        (8,),
        ("display", "hdr"),
        keys=("space", "dither", "quality", "peak_nits"),
    ),
    "webp": Format(
        "WebP",
        ".webp",
        ((8, b"WEBP"),),
        (8,),
        keys=("space", "dither", "quality", "lossless"),
        longest_side=16_383,  # RFC 9649, 2.5: 14 bits
    ),
    "film": Format(
        "MP4",
        ".mp4",
        ((4, b"ftypisom"), (4, b"ftypmp4")),
        (8, 10),
        keys=("dither", "quality", "codec", "rate"),
        fixed_space="BT.709",
        longest_side=16_384,
        display_space="BT.709",
        moves=True,
    ),
    "hdr film": Format(
        "MP4",
        ".mp4",
        ((4, b"ftypisom"), (4, b"ftypmp4")),
        (10,),
        ("hdr",),
        keys=("quality", "codec", "rate", "peak_nits", "transfer"),
        fixed_space="BT.2020",
        hdr_gamut="Display P3",
        longest_side=16_384,
        moves=True,
    ),
    "moving avif": Format(
        "AVIF",
        ".avif",
        ((4, b"ftypavis"),),
        (8, 10),
        keys=("dither", "quality", "rate"),
        fixed_space="sRGB",
        longest_side=16_384,
        display_space="sRGB",
        moves=True,
    ),
    "moving webp": Format(
        "WebP",
        ".webp",
        ((8, b"WEBP"),),
        (8,),
        keys=("dither", "quality", "lossless", "rate"),
        fixed_space="sRGB",
        longest_side=16_383,
        display_space="sRGB",
        moves=True,
    ),
}
"""Formats by the name that recipes write. Longest sides: JPEG counts in 16 bits, and no more is
allowed of the others."""
