"""Radiance pictures (.hdr, .pic): 8-bit mantissas under a shared exponent.

Source: G. Ward, "Real Pixels", Graphics Gems II (1991), and "The RADIANCE Picture File Format" in
the program's file-format reference. The pixel decoding itself is imagecodecs'.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.passes.encoding import checked_chromaticities
from evenfall.passes.faults import damaged, refused
from evenfall.passes.files import PassFile
from evenfall.passes.formats.plain import plain_header
from evenfall.passes.header import PassHeader, Selector
from evenfall.passes.image import StoredPicture
from evenfall.passes.selection import select

__all__ = ["inspect_hdr", "read_hdr"]

_LONGEST_HEADER = 1 << 16
_RESOLUTION = re.compile(rb"([-+])([XY]) (\d{1,9}) ([-+])([XY]) (\d{1,9})\n")
_XYZ = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0, 1 / 3, 1 / 3)
_FORMATS = {b"32-bit_rle_rgbe": None, b"32-bit_rle_xyze": _XYZ}
_LEAST = 1e-18  # of a product of header numbers: two of them together are still a float32
_RUN_LENGTH_WIDTHS = range(8, 0x8000)


@dataclass(frozen=True)
class _Layout:
    """What the header says, and where the pixels begin.

    `scanlines` of `scanline_pixels` pixels each are stored; `flips` and `transposed` lead from
    there to a picture with row 0 at the top and column 0 at the left.
    """

    header: PassHeader
    scanlines: int
    scanline_pixels: int
    transposed: bool
    flip_rows: bool
    flip_columns: bool
    divisors: tuple[float, float, float]
    data_offset: int


def inspect_hdr(file: PassFile) -> list[PassHeader]:
    """List the one picture of a Radiance file."""
    return [_layout(file).header]


def read_hdr(file: PassFile, selectors: Sequence[Selector]) -> list[StoredPicture]:
    """Read a Radiance picture in the units before its EXPOSURE and COLORCORR were applied."""
    layout = _layout(file)
    for selector in selectors:
        select(file.path, [layout.header], selector)
    data = file.at(layout.data_offset, file.size - layout.data_offset)
    stored = _decode(file.path, layout, data)
    if layout.transposed:
        stored = stored.transpose(1, 0, 2)
    if layout.flip_rows:
        stored = stored[::-1]
    if layout.flip_columns:
        stored = stored[:, ::-1]
    with np.errstate(over="ignore"):  # counted and replaced later
        red, green, blue = (
            np.divide(stored[..., channel], np.float32(divisor), order="C")
            for channel, divisor in enumerate(layout.divisors)
        )
    return [StoredPicture(layout.header, (red, green, blue), None)] * len(selectors)


def _layout(file: PassFile) -> _Layout:
    head = file.at(0, _LONGEST_HEADER)
    end = head.find(b"\n\n")
    match = _RESOLUTION.match(head, end + 2) if end >= 0 else None
    if match is None or match[2] == match[5]:
        raise damaged(file.path, "its header has no end or no size line", "-Y height +X width")
    lines = head[:end].split(b"\n")
    scanlines, scanline_pixels = int(match[3]), int(match[6])
    transposed = match[2] == b"X"
    header = plain_header(
        file.path,
        (scanlines, scanline_pixels) if transposed else (scanline_pixels, scanlines),
        ("R", "G", "B"),
        kind="hdr",
        compression="rgbe",
        chromaticities=_chromaticities(file.path, lines),
        pixel_aspect=1 / _products(file.path, lines, b"PIXASPECT=", 1)[0],
    )
    left, least = file.size - match.end(), scanlines * 4
    if left < least:
        raise damaged(file.path, f"{left:,} bytes of pixels", f"at least {least:,}")
    (exposure,) = _products(file.path, lines, b"EXPOSURE=", 1)
    correction = _products(file.path, lines, b"COLORCORR=", 3)
    red, green, blue = (exposure * factor for factor in correction)
    signs = {match[2]: match[1], match[5]: match[4]}
    return _Layout(
        header,
        scanlines,
        scanline_pixels,
        transposed,
        flip_rows=signs[b"Y"] == b"+",
        flip_columns=signs[b"X"] == b"-",
        divisors=(red, green, blue),
        data_offset=match.end(),
    )


def _products(path: Path, lines: list[bytes], key: bytes, count: int) -> list[float]:
    """Products of the numbers in all header lines that begin with `key`, `count` in each line."""
    products = [1.0] * count
    for line in lines:
        if not line.startswith(key):
            continue
        try:
            numbers = [float(word) for word in line[len(key) :].split()]
        except ValueError:
            numbers = []
        if len(numbers) == count:
            products = [before * number for before, number in zip(products, numbers, strict=True)]
        if len(numbers) != count or not all(_LEAST < each < 1 / _LEAST for each in products):
            raise damaged(
                path,
                f"header line {line[:60].decode('latin-1')!r}",
                f"{count} number(s) of {_LEAST:g} to {1 / _LEAST:g}, with those before too",
            )
    return products


def _chromaticities(path: Path, lines: list[bytes]) -> tuple[float, ...] | None:
    """Primaries of the pixels, where the header says; FORMAT must be one of the two known."""
    formats = [line[7:].strip() for line in lines if line.startswith(b"FORMAT=")]
    if not formats or formats[-1] not in _FORMATS:
        named = formats[-1].decode("latin-1") if formats else "no FORMAT line"
        raise refused(path, f"pixels of an unknown format: {named}", "32-bit_rle_rgbe or _xyze")
    for line in reversed(lines):
        if line.startswith(b"PRIMARIES="):
            try:
                numbers = tuple(float(word) for word in line[10:].split())
            except ValueError:
                numbers = ()
            if len(numbers) != 8:
                raise damaged(path, "its PRIMARIES line does not read", "8 numbers")
            return checked_chromaticities(path, numbers)
    return _FORMATS[formats[-1]]


def _decode(path: Path, layout: _Layout, data: bytes) -> npt.NDArray[np.float32]:
    import imagecodecs

    flat = 4 * layout.scanlines * layout.scanline_pixels
    run_length = layout.scanline_pixels in _RUN_LENGTH_WIDTHS and data[:2] == b"\x02\x02"
    if run_length:
        _check_runs(path, layout, data)
    elif len(data) != flat:
        raise damaged(
            path,
            f"{len(data):,} bytes of pixels",
            f"{flat:,} bytes, or the run-length coding of 1991",
        )
    decoded = np.empty((layout.scanlines, layout.scanline_pixels, 3), np.float32)
    try:
        imagecodecs.rgbe_decode(data, header=False, rle=run_length, out=decoded)
    except imagecodecs.RgbeError as error:
        raise damaged(path, f"its pixels cannot be decoded: {error}") from None
    return decoded


def _check_runs(path: Path, layout: _Layout, data: bytes) -> None:
    """Follow the run-length code to its end, which must be the end of the file."""
    width = layout.scanline_pixels
    mark = bytes((2, 2, width >> 8, width & 0xFF))
    place = 0
    for scanline in range(layout.scanlines):
        if data[place : place + 4] != mark:
            raise damaged(path, f"scan line {scanline} of {layout.scanlines} is missing or damaged")
        place += 4
        for _ in range(4):
            filled = 0
            while filled < width:
                if place >= len(data):
                    raise damaged(path, f"the file ends in scan line {scanline}")
                code = data[place]
                if code > 128:
                    filled += code - 128
                    place += 2
                else:
                    filled += code
                    place += code + 1
                if filled > width or code == 0:
                    raise damaged(path, f"scan line {scanline} is damaged")
    if place > len(data):
        raise damaged(path, "the file ends in its last scan line")
    if place < len(data):
        raise damaged(
            path, f"{len(data) - place:,} bytes after the last scan line", "none, by its header"
        )
