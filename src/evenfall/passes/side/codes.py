"""Codes of a picture as a file holds them, and what is believed of their number."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy.typing as npt

from evenfall.errors import Fault, PixelSourceError

__all__ = [
    "MAX_PIXELS",
    "CodePicture",
    "StoredCodes",
    "channel_names",
    "check_inflation",
    "check_size",
]

MAX_PIXELS = 300_000_000
"""Most pixels of a side picture: over twice 15360 x 8640."""


@dataclass(frozen=True, eq=False)
class StoredCodes:
    """Codes of a picture and what the file says about them.

    Parameters
    ----------
    codes : ndarray
        Shape (H, W, C) with C = 1 or 3 and alpha, if any, after them; unsigned integers.
    top : int
        The code that stands for 1.
    has_alpha, premultiplied : bool
    icc : bytes or None
        Embedded profile.
    transfer, primaries : str or None
        "sRGB" or "linear", and the name of a space, if codes for them are in the file.
    gamma : float or None
        Exponent of a PNG that says only that.
    """

    codes: npt.NDArray[Any]
    top: int
    has_alpha: bool = False
    premultiplied: bool = False
    icc: bytes | None = None
    transfer: str | None = None
    primaries: str | None = None
    gamma: float | None = None


@dataclass(frozen=True, eq=False)
class CodePicture:
    """A picture of codes whose header is sound, before a pixel is decoded.

    Parameters
    ----------
    channels : tuple of str
        Y or R, G, B, and A if there is alpha.
    read : callable
        Decodes it; raises PixelSourceError, or whatever the decoder does on damaged files.
    """

    channels: tuple[str, ...]
    read: Callable[[], StoredCodes]


def channel_names(colours: int, *, has_alpha: bool) -> tuple[str, ...]:
    """Names of the channels of a picture of codes.

    Examples
    --------
    >>> channel_names(1, has_alpha=True)
    ('Y', 'A')
    """
    names = ("Y",) if colours == 1 else ("R", "G", "B")
    return (*names, "A") if has_alpha else names


def check_size(path: Path, width: int, height: int) -> None:
    """Raise PixelSourceError for a picture of impossible or enormous size."""
    if width < 1 or height < 1 or width * height > MAX_PIXELS:
        raise PixelSourceError(
            Fault(str(path), "", f"{width} x {height} pixels", f"up to {MAX_PIXELS:,} pixels",
                  "make it smaller")
        )  # fmt: skip


def check_inflation(size: int, pixel_bytes: int) -> None:
    """Deflate grows 1032-fold at most (zlib, technical details), other codecs here by less.

    Raises
    ------
    ValueError
        When so many bytes cannot hold so many.
    """
    if pixel_bytes > 1100 * size:
        raise ValueError("more pixels than the file can hold")
