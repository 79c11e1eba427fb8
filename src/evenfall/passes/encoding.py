"""What a file's own words say about its colour space and encoding."""

from __future__ import annotations

from pathlib import Path

from evenfall.light.primaries import ACES2065_1, ACESCG, ADOBE_RGB, BT709, BT2020, DISPLAY_P3
from evenfall.passes.faults import refused
from evenfall.passes.header import PassHeader

__all__ = ["INTEROP_CHROMATICITIES", "is_encoded_interop_id", "refuse_encoded"]

INTEROP_CHROMATICITIES = {
    "lin_rec709_scene": BT709.chromaticities,
    "lin_p3d65_scene": DISPLAY_P3.chromaticities,
    "lin_rec2020_scene": BT2020.chromaticities,
    "lin_adobergb_scene": ADOBE_RGB.chromaticities,
    "lin_ap1_scene": ACESCG.chromaticities,
    "lin_ap0_scene": ACES2065_1.chromaticities,
}
"""Chromaticities by colorInteropID: Color Interop Forum recommendation for texture spaces."""

_NOT_PICTURES = ("data", "unknown", "raw", "")


def is_encoded_interop_id(interop_id: str) -> bool:
    """Say whether a colorInteropID names an encoding other than linear.

    Examples
    --------
    >>> is_encoded_interop_id("srgb_rec709_scene"), is_encoded_interop_id("lin_ap1_scene")
    (True, False)
    """
    word = interop_id.strip().lower()
    prefix = word.split("_", 1)[0]
    return word not in _NOT_PICTURES and (
        prefix == "srgb" or (prefix[:1] == "g" and prefix[1:].isdigit())
    )


def refuse_encoded(header: PassHeader) -> None:
    """Raise PassError if the file says that its pixels are encoded for a display."""
    if header.colour_interop_id and is_encoded_interop_id(header.colour_interop_id):
        raise refused(
            Path(header.label),
            f"says its pixels are display-encoded: colorInteropID {header.colour_interop_id!r}",
            "scene-linear pixels (lin_..._scene)",
            "render the pass without a display transform",
        )
