"""Portable float maps: a short text header, then bare 32-bit floats from the bottom row up.

Source: P. Debevec, "PFM: Portable FloatMap Image Format"; netpbm's manual page pfm(5).
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenfall.passes.faults import damaged
from evenfall.passes.files import PassFile
from evenfall.passes.formats.plain import plain_header
from evenfall.passes.header import PassHeader, Selector
from evenfall.passes.image import StoredPicture
from evenfall.passes.selection import select

__all__ = ["inspect_pfm", "read_pfm"]

_HEADER = re.compile(rb"P([Ff])\s+(\d{1,9})\s+(\d{1,9})\s+([-+0-9.eE]{1,32})(?:\r\n|\s)")
_LONGEST_HEADER = 256


@dataclass(frozen=True)
class _Layout:
    header: PassHeader
    channels: int
    dtype: str
    scale: float
    data_offset: int


def inspect_pfm(file: PassFile) -> list[PassHeader]:
    """List the one picture of a portable float map."""
    return [_layout(file).header]


def read_pfm(file: PassFile, selectors: Sequence[Selector]) -> list[StoredPicture]:
    """Read a portable float map; values are multiplied by the size of its scale factor."""
    layout = _layout(file)
    header = layout.header
    for selector in selectors:
        select(file.path, [header], selector)
    data = file.at(layout.data_offset, file.size - layout.data_offset)
    stored = np.frombuffer(data, layout.dtype)
    stored = stored.reshape(header.height, header.width, layout.channels)[::-1]
    scale = np.float32(layout.scale)
    with np.errstate(over="ignore", invalid="ignore"):  # counted and replaced later
        planes = [
            np.multiply(stored[..., channel], scale, dtype=np.float32, order="C")
            for channel in range(layout.channels)
        ]
    red, green, blue = planes if len(planes) == 3 else planes * 3
    return [StoredPicture(header, (red, green, blue), None)] * len(selectors)


def _layout(file: PassFile) -> _Layout:
    match = _HEADER.match(file.at(0, _LONGEST_HEADER))
    if match is None:
        raise damaged(file.path, "its header does not read", "PF or Pf, width, height, scale")
    channels = ("R", "G", "B") if match[1] == b"F" else ("Y",)
    header = plain_header(file.path, (int(match[2]), int(match[3])), channels, kind="pfm")
    scale = _scale(file, match[4])
    expected = match.end() + 4 * header.width * header.height * len(channels)
    if file.size != expected:
        raise damaged(file.path, f"{file.size:,} bytes", f"{expected:,} bytes, by its header")
    dtype = "<f4" if scale < 0 else ">f4"
    return _Layout(header, len(channels), dtype, abs(scale), match.end())


def _scale(file: PassFile, text: bytes) -> float:
    try:
        scale = float(text)
    except ValueError:
        scale = 0.0
    if scale == 0 or not math.isfinite(scale):
        raise damaged(file.path, f"scale factor {text.decode('ascii')!r}", "a number other than 0")
    return scale
