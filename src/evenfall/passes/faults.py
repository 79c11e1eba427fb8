"""How a pass that cannot be used is reported, and what no pass is believed to exceed."""

from __future__ import annotations

from pathlib import Path

from evenfall.errors import Fault, PassError

__all__ = [
    "MAX_DECODED_BYTES",
    "MAX_PIXELS",
    "MAX_SIDE",
    "absurd_claim",
    "absurd_size",
    "damaged",
    "refused",
]

MAX_SIDE = 65_536
"""Longest side of a picture in pixels; beyond it a header is not believed."""

MAX_PIXELS = 1 << 28
"""Most pixels of a picture (16,384 squared); beyond it a header is not believed."""

MAX_DECODED_BYTES = 8 << 30
"""Most bytes that one decoding may give: 40 lights of 7680 x 4320 in half."""

UNPROVEN_BYTES = 1 << 30
"""Up to here a file is tried whatever its compression claims."""

GREATEST_BELIEVED_RATIO = 1100
"""Beyond `UNPROVEN_BYTES`; deflate's limit is 1032:1 (zlib's technical details)."""


def damaged(path: Path, found: str, allowed: str = "", *, place: str = "") -> PassError:
    """Error for a file that is broken: rendering or copying it again helps."""
    hint = "the file is damaged or incomplete: render or copy it again"
    return refused(path, found, allowed, hint, place=place)


def refused(
    path: Path, found: str, allowed: str = "", hint: str = "", *, place: str = ""
) -> PassError:
    """Error for a file that is no pass; `allowed` is what was expected, if that can be said."""
    return PassError(Fault(str(path), place, found, allowed and f"expected {allowed}", hint))


def absurd_size(width: int, height: int) -> str | None:
    """Say what is allowed when a size is not believable, else None.

    Examples
    --------
    >>> absurd_size(3840, 2160)
    >>> absurd_size(1, 452_984_833)
    'sides of 1 to 65,536 and up to 268,435,456 pixels in all'
    """
    if min(width, height) >= 1 and max(width, height) <= MAX_SIDE and width * height <= MAX_PIXELS:
        return None
    return f"sides of 1 to {MAX_SIDE:,} and up to {MAX_PIXELS:,} pixels in all"


def absurd_claim(decoded_bytes: int, stored_bytes: int) -> str | None:
    """Say what is allowed when so few bytes claim to hold so many, else None.

    Examples
    --------
    >>> absurd_claim(200_000_000, 50_000_000)
    >>> absurd_claim(3_000_000_000, 20_000)
    'up to 1,073,741,824 bytes from so few'
    """
    if decoded_bytes > MAX_DECODED_BYTES:
        return f"up to {MAX_DECODED_BYTES:,} bytes"
    if decoded_bytes > max(UNPROVEN_BYTES, stored_bytes * GREATEST_BELIEVED_RATIO):
        return f"up to {UNPROVEN_BYTES:,} bytes from so few"
    return None
