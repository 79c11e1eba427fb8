"""Code points for colour of ITU-T H.273, as PNG, AVIF and video carry them."""

from __future__ import annotations

from evenfall.light.primaries import BT709, BT2020, DISPLAY_P3, RgbSpace

__all__ = [
    "FULL_RANGE",
    "MATRIX_BT709",
    "MATRIX_BT2020",
    "MATRIX_RGB",
    "PRIMARIES",
    "TRANSFER_BT709",
    "TRANSFER_HLG",
    "TRANSFER_LINEAR",
    "TRANSFER_PQ",
    "TRANSFER_SRGB",
    "primaries_code",
]

PRIMARIES: dict[int, RgbSpace] = {1: BT709, 9: BT2020, 12: DISPLAY_P3}
"""Spaces by their code (table 2); those that this program reads and writes."""

TRANSFER_BT709, TRANSFER_LINEAR, TRANSFER_SRGB, TRANSFER_PQ, TRANSFER_HLG = 1, 8, 13, 16, 18
"""Transfer characteristics (table 3)."""

MATRIX_RGB, MATRIX_BT709, MATRIX_BT2020 = 0, 1, 9
"""Matrix coefficients (table 4): none, BT.709, and BT.2020 with non-constant luminance."""

FULL_RANGE = 1
"""Codes from 0 to the largest (8.3)."""


def primaries_code(space: RgbSpace) -> int | None:
    """Code of a space's primaries, if it has one.

    Examples
    --------
    >>> primaries_code(DISPLAY_P3)
    12
    """
    return next((code for code, known in PRIMARIES.items() if known == space), None)
