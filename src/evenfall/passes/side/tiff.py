"""TIFF pictures of whole-number codes beside the passes: their first page.

Source: Adobe, "TIFF Revision 6.0" (1992), and "TIFF Technical Note 2" for JPEG.
"""

from __future__ import annotations

import math
from io import BytesIO
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PixelSourceError
from evenfall.passes.formats.tiff import open_tiff
from evenfall.passes.side.codes import StoredCodes, check_inflation, check_size
from evenfall.passes.side.jpeg import check_jpeg
from evenfall.passes.upright import upright

__all__ = ["read_tiff"]

_JPEG = 7
_PALETTE_TOP = 65535
_ORIENTATION = 274
_JPEG_MARK_BYTES = 2  # of the marks at both ends of a JPEG stream


def read_tiff(path: Path, data: bytes) -> StoredCodes | None:
    """Read codes of the first page of a TIFF file; None for floats.

    Raises
    ------
    PixelSourceError
        If it is damaged, too large, or of a kind that cannot be used.
    Exception
        Whatever tifffile and its decoders raise on damaged files.
    """
    with open_tiff(BytesIO(data)) as file:
        page = file.pages.first
        check_size(path, page.imagewidth, page.imagelength)
        check_inflation(len(data), page.nbytes)
        if page.dtype is None or page.dtype.kind not in "uf":
            _refuse(path, f"a TIFF of {page.dtype} values", "unsigned whole numbers or floats")
        if page.dtype.kind == "f":
            return None
        _check_segments(path, data, page)
        codes, top = _codes(path, page)
        colours = 1 if _photometric(page).startswith("MINIS") else 3
        extra = page.extrasamples
        has_alpha = bool(extra) and extra[0] in (1, 2)
        tag = page.tags.get(_ORIENTATION)
        return StoredCodes(
            upright(codes[..., : colours + has_alpha], int(tag.value) if tag else 1),
            top,
            has_alpha,
            premultiplied=has_alpha and extra[0] == 1,
            icc=bytes(page.iccprofile) if page.iccprofile else None,
        )


def _codes(path: Path, page: Any) -> tuple[npt.NDArray[Any], int]:
    """Codes with channels last, and the one that stands for 1; palettes become colours."""
    photometric = _photometric(page)
    if photometric not in ("RGB", "MINISBLACK", "MINISWHITE", "YCBCR", "PALETTE"):
        _refuse(path, f"a TIFF of {photometric} colour", "grey or RGB", "convert it to sRGB")
    if not isinstance(page.bitspersample, int):
        _refuse(path, f"a TIFF of {page.bitspersample} bits", "the same bits for every channel")
    top = 2**page.bitspersample - 1
    codes = _upright_axes(page)
    if photometric == "PALETTE":
        return _coloured(path, page, codes[..., 0]), _PALETTE_TOP
    if photometric == "MINISWHITE":
        codes[..., 0] = top - codes[..., 0]
    return codes, top


def _photometric(page: Any) -> str:
    return str(getattr(page.photometric, "name", "unknown"))


def _coloured(path: Path, page: Any, numbers: npt.NDArray[Any]) -> npt.NDArray[Any]:
    palette = np.asarray(page.colormap if page.colormap is not None else np.empty((3, 0)))
    if palette.ndim != 2 or palette.shape[0] != 3 or palette.shape[1] <= int(numbers.max()):
        _refuse(
            path,
            f"a palette of {palette.shape[-1]} colours, and pixels that ask for number "
            f"{int(numbers.max())}",
            f"{2**page.bitspersample} colours",
            "save it again",
        )
    colours: npt.NDArray[Any] = np.moveaxis(palette.astype(np.uint16), 0, -1)[numbers]
    return colours


def _check_segments(path: Path, data: bytes, page: Any) -> None:
    """Refuse a page whose strips or tiles are not all there, or whose JPEGs are damaged."""
    count = math.prod(page.chunked)
    offsets, sizes = page.dataoffsets, page.databytecounts
    if len(offsets) != count or len(sizes) != count:
        _refuse(
            path, f"{len(offsets):,} strips or tiles", f"{count:,}, by its size", "save it again"
        )
    for number, (offset, size) in enumerate(zip(offsets, sizes, strict=True)):
        place = f"strip or tile {number}"
        if offset == 0 or size == 0 or offset + size > len(data):
            _refuse_damaged(path, f"{place} is missing")
        if page.compression == _JPEG and page.bitspersample == 8:
            stream = data[offset : offset + size]
            tables = page.jpegtables
            if tables:
                stream = tables[:-_JPEG_MARK_BYTES] + stream[_JPEG_MARK_BYTES:]
            check_jpeg(path, stream, place)


def _upright_axes(page: Any) -> npt.NDArray[Any]:
    """Pixels of a TIFF page with channels last, whichever way they are stored."""
    codes = page.asarray()
    if codes.ndim == 2:
        return np.array(codes[..., None])
    if codes.shape[:2] != (page.imagelength, page.imagewidth):
        codes = np.moveaxis(codes, 0, -1)
    return np.array(codes)


def _refuse_damaged(path: Path, how: str) -> NoReturn:
    found = f"the file is damaged or cut short: {how}"
    raise PixelSourceError(Fault(str(path), "", found, "", "save it again"))


def _refuse(path: Path, found: str, allowed: str, hint: str = "") -> NoReturn:
    raise PixelSourceError(Fault(str(path), "", found, f"expected {allowed}", hint))
