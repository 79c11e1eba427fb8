"""What a file's own words say about its colour space and encoding."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from evenfall.light.primaries import ACES2065_1, ACESCG, ADOBE_RGB, BT709, BT2020, DISPLAY_P3
from evenfall.passes.faults import damaged, refused
from evenfall.passes.header import PassHeader

__all__ = [
    "INTEROP_CHROMATICITIES",
    "checked_chromaticities",
    "is_encoded_interop_id",
    "refuse_encoded",
]

INTEROP_CHROMATICITIES = {
    "lin_rec709_scene": BT709.chromaticities,
    "lin_p3d65_scene": DISPLAY_P3.chromaticities,
    "lin_rec2020_scene": BT2020.chromaticities,
    "lin_adobergb_scene": ADOBE_RGB.chromaticities,
    "lin_ap1_scene": ACESCG.chromaticities,
    "lin_ap0_scene": ACES2065_1.chromaticities,
}
"""Chromaticities by colorInteropID: Color Interop Forum recommendation for texture spaces."""

_LEAST_SPREAD = 1e-6  # twice the area of the triangle of primaries; BT.709's is 0.22

_NOT_PICTURES = ("data", "unknown", "raw", "")


def checked_chromaticities(path: Path, said: Sequence[float]) -> tuple[float, ...]:
    """Return the xy of red, green, blue and white, if they span a colour space.

    Raises
    ------
    PassError
        When a number is absurd, the primaries lie on a line, or white has no luminance.
    """
    numbers = tuple(float(number) for number in said)
    if all(abs(number) < 10 for number in numbers):
        red, green, blue = (np.array(numbers[start : start + 2]) for start in (0, 2, 4))
        (across, down), (across_too, down_too) = green - red, blue - red
        if abs(across * down_too - down * across_too) > _LEAST_SPREAD and numbers[7] > 0:
            return numbers
    listed = " ".join(f"{number:g}" for number in numbers)
    raise damaged(path, f"chromaticities {listed} span no colour space")


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
