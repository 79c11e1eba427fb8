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
from evenfall.passes.side.codes import (
    CodePicture,
    StoredCodes,
    channel_names,
    check_inflation,
    check_size,
)
from evenfall.passes.side.jpeg import check_jpeg
from evenfall.passes.upright import upright

__all__ = ["open_tiff_of_codes"]

_JPEG, _JPEG_BITS = 7, 8
_ASSOCIATED_ALPHA, _UNASSOCIATED_ALPHA = 1, 2
_PALETTE_TOP = 65535
_ORIENTATION = 274
_JPEG_MARK_BYTES = 2  # of the marks at both ends of a JPEG stream


def open_tiff_of_codes(path: Path, data: bytes) -> CodePicture | None:
    """Look at the first page of a TIFF file; None for floats.

    Raises
    ------
    PixelSourceError
        If strips are missing, or it is too large, or of a kind that cannot be used.
    Exception
        Whatever tifffile raises on damaged files.
    """
    with open_tiff(BytesIO(data)) as file:
        page = file.pages.first
        check_size(path, page.imagewidth, page.imagelength)
        check_inflation(len(data), page.nbytes)
        if page.dtype is None or page.dtype.kind not in "uf":
            _refuse(path, f"a TIFF of {page.dtype} values", "unsigned whole numbers or floats")
        if page.dtype.kind == "f":
            return None
        _check_kind(path, page)
        _check_segments(path, data, page)
        channels = channel_names(_colours(page), has_alpha=_has_alpha(page))
    return CodePicture(channels, lambda: _read(path, data))


def _read(path: Path, data: bytes) -> StoredCodes:
    with open_tiff(BytesIO(data)) as file:
        page = file.pages.first
        _check_jpegs(path, data, page)
        codes, top = _codes(path, page)
        has_alpha = _has_alpha(page)
        tag = page.tags.get(_ORIENTATION)
        return StoredCodes(
            upright(codes[..., : _colours(page) + has_alpha], int(tag.value) if tag else 1),
            top,
            has_alpha,
            premultiplied=has_alpha and page.extrasamples[0] == _ASSOCIATED_ALPHA,
            icc=bytes(page.iccprofile) if page.iccprofile else None,
        )


def _colours(page: Any) -> int:
    return 1 if _photometric(page).startswith("MINIS") else 3


def _has_alpha(page: Any) -> bool:
    extra = page.extrasamples
    return bool(extra) and extra[0] in (_ASSOCIATED_ALPHA, _UNASSOCIATED_ALPHA)


def _check_kind(path: Path, page: Any) -> None:
    photometric = _photometric(page)
    if photometric not in ("RGB", "MINISBLACK", "MINISWHITE", "YCBCR", "PALETTE"):
        _refuse(path, f"a TIFF of {photometric} colour", "grey or RGB", "convert it to sRGB")
    if not isinstance(page.bitspersample, int):
        _refuse(path, f"a TIFF of {page.bitspersample} bits", "the same bits for every channel")


def _codes(path: Path, page: Any) -> tuple[npt.NDArray[Any], int]:
    """Codes with channels last, and the one that stands for 1; palettes become colours."""
    photometric = _photometric(page)
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
    """Refuse a page whose strips or tiles are not all there."""
    count = math.prod(page.chunked)
    offsets, sizes = page.dataoffsets, page.databytecounts
    if len(offsets) != count or len(sizes) != count:
        _refuse(
            path, f"{len(offsets):,} strips or tiles", f"{count:,}, by its size", "save it again"
        )
    for number, (offset, size) in enumerate(zip(offsets, sizes, strict=True)):
        if offset == 0 or size == 0 or offset + size > len(data):
            _refuse_damaged(path, f"strip or tile {number} is missing")


def _check_jpegs(path: Path, data: bytes, page: Any) -> None:
    """Refuse a page with a damaged JPEG in one of its strips or tiles."""
    if page.compression != _JPEG or page.bitspersample != _JPEG_BITS:
        return
    tables = page.jpegtables
    for number, (offset, size) in enumerate(
        zip(page.dataoffsets, page.databytecounts, strict=True)
    ):
        stream = data[offset : offset + size]
        if tables:
            stream = tables[:-_JPEG_MARK_BYTES] + stream[_JPEG_MARK_BYTES:]
        check_jpeg(path, stream, f"strip or tile {number}")


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
