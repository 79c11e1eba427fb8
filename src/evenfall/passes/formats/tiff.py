"""TIFF files of floating-point samples: one picture a page.

Source: Adobe, "TIFF Revision 6.0" (1992), and "TIFF Technical Note 3" (2005) for
half floats and the floating-point predictor. Pages are decoded by tifffile, segment by segment,
so that a segment that is missing is an error and not black.
"""

from __future__ import annotations

import io
import logging
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import IO, Any

import numpy as np
import numpy.typing as npt

from evenfall.errors import PassError
from evenfall.passes.encoding import checked_chromaticities
from evenfall.passes.faults import absurd_claim, damaged, refused
from evenfall.passes.files import FileView, PassFile
from evenfall.passes.formats.plain import plain_header
from evenfall.passes.header import PassHeader, Selector
from evenfall.passes.image import Array, StoredPicture
from evenfall.passes.selection import select
from evenfall.passes.upright import is_transposed, upright

__all__ = ["inspect_tiff", "open_tiff", "read_tiff"]

MAX_PAGES = 1024

_IEEE_FLOAT = 3
_BLACK_IS_ZERO, _RGB = 1, 2
_ASSOCIATED_ALPHA, _UNASSOCIATED_ALPHA = 1, 2
_TAG_WHITE_POINT, _TAG_PRIMARIES = 318, 319


def inspect_tiff(file: PassFile) -> list[PassHeader]:
    """List the pages of a float TIFF whose strips or tiles are all there."""
    with _pages(file) as pages:
        headers = [_header(file.path, pages, index) for index in range(len(pages))]
        for page in pages:
            _check_segments(file, page)
        return headers


def read_tiff(file: PassFile, selectors: Sequence[Selector]) -> list[StoredPicture]:
    """Read the selected pages."""
    with _pages(file) as pages:
        headers = [_header(file.path, pages, index) for index in range(len(pages))]
        chosen = [select(file.path, headers, selector) for selector in selectors]
        pictures = {
            index: _picture(file, pages[index], headers[index]) for index in dict.fromkeys(chosen)
        }
    return [pictures[index] for index in chosen]


def open_tiff(stream: IO[bytes]) -> Any:
    """Open a TIFF with tifffile, which then says nothing on standard error of its own."""
    return _library().TiffFile(stream)


@cache
def _library() -> Any:
    import tifffile

    tifffile.logger().addHandler(logging.NullHandler())
    return tifffile


class _TiffView(FileView):
    """The open file as tifffile wants it."""

    def __init__(self, file: PassFile) -> None:
        super().__init__(file.size)
        self._file = file

    def read(self, count: int = -1) -> bytes:
        data = self._file.at(self._place, self._within(count))
        self._place += len(data)
        return data

    def readinto(self, buffer: Any) -> int:
        data = self.read(len(buffer))
        buffer[: len(data)] = data
        return len(data)


@contextmanager
def _pages(file: PassFile) -> Iterator[list[Any]]:
    """Pages of the file; whatever tifffile makes of a damaged one becomes a PassError."""
    try:
        with open_tiff(io.BufferedReader(_TiffView(file))) as tiff:
            pages: list[Any] = []
            for page in tiff.pages:
                if len(pages) == MAX_PAGES:
                    raise damaged(file.path, f"more than {MAX_PAGES:,} pages")
                pages.append(page.aspage())
            if not pages:
                raise damaged(file.path, "no page at all", "at least one")
            yield pages
    except (ImportError, PassError):
        raise
    except Exception as error:  # tifffile lets many kinds through on damaged files
        raise damaged(file.path, f"the file does not read: {error}") from None


def _header(path: Path, pages: list[Any], index: int) -> PassHeader:
    page = pages[index]
    place = f"page {index + 1}" if len(pages) > 1 else ""
    _check_kind(path, page, place)
    size = int(page.imagewidth), int(page.imagelength)
    transposed = is_transposed(_orientation(page))
    colours = ("R", "G", "B") if page.photometric == _RGB else ("Y",)
    has_alpha = _alpha_index(page, len(colours)) is not None
    return plain_header(
        path,
        (size[1], size[0]) if transposed else size,
        (*colours, "A") if has_alpha else colours,
        kind="tiff",
        compression=page.compression.name.lower(),
        pixel_type="half" if page.bitspersample == 16 else "float",
        part=_page_name(page, index) if len(pages) > 1 else "",
        chromaticities=_chromaticities(path, page),
        pixel_aspect=_pixel_aspect(page),
        place=place,
    )


def _check_kind(path: Path, page: Any, place: str) -> None:
    if page.sampleformat != _IEEE_FLOAT:
        raise refused(
            path,
            f"holds {page.bitspersample}-bit integers, which are display-encoded",
            "floating-point samples, scene-linear",
            "render the pass as EXR or as a 32-bit float TIFF without tone mapping",
            place=place,
        )
    if page.bitspersample not in (16, 32, 64):
        raise refused(path, f"holds {page.bitspersample}-bit floats", "16, 32 or 64", place=place)
    colours = {_RGB: 3, _BLACK_IS_ZERO: 1}.get(int(page.photometric))
    if colours is None or page.samplesperpixel < colours or page.imagedepth != 1:
        raise refused(
            path,
            f"holds {page.samplesperpixel} samples per pixel, meant as {page.photometric.name}",
            "RGB or grey",
            place=place,
        )
    if page.subfiletype & 1:
        raise refused(path, "is a reduced copy of another page", "pages at full size", place=place)


def _orientation(page: Any) -> int:
    tag = page.tags.get(274)
    return int(tag.value) if tag is not None else 1


def _alpha_index(page: Any, colours: int) -> int | None:
    for number, kind in enumerate(page.extrasamples):
        if int(kind) in (_ASSOCIATED_ALPHA, _UNASSOCIATED_ALPHA):
            return colours + number
    return None


def _page_name(page: Any, index: int) -> str:
    for code in (285, 270):  # PageName, ImageDescription
        tag = page.tags.get(code)
        if tag is not None and isinstance(tag.value, str) and 0 < len(tag.value.strip()) <= 64:
            return str(tag.value).strip()
    return str(index + 1)


def _chromaticities(path: Path, page: Any) -> tuple[float, ...] | None:
    white, primaries = page.tags.get(_TAG_WHITE_POINT), page.tags.get(_TAG_PRIMARIES)
    if white is None or primaries is None or len(white.value) != 4 or len(primaries.value) != 12:
        return None
    rationals = [*primaries.value, *white.value]
    pairs = list(zip(rationals[::2], rationals[1::2], strict=True))
    if any(below == 0 for _, below in pairs):
        return None
    return checked_chromaticities(path, [above / below for above, below in pairs])


def _pixel_aspect(page: Any) -> float:
    across, down = (_rational(page, code) for code in (282, 283))  # XResolution, YResolution
    return down / across if across and down else 1.0


def _rational(page: Any, code: int) -> float | None:
    tag = page.tags.get(code)
    if tag is None or not isinstance(tag.value, tuple) or len(tag.value) != 2:
        return None
    above, below = tag.value
    return above / below if above and below else None


def _picture(file: PassFile, page: Any, header: PassHeader) -> StoredPicture:
    samples = _samples(file, page)
    orientation = _orientation(page)

    def plane(index: int) -> Array:
        turned = upright(samples[index], orientation)
        if turned.dtype.itemsize == 8:
            with np.errstate(all="ignore"):  # NaN and Inf are counted and replaced later
                turned = turned.astype(np.float32)
        return np.ascontiguousarray(turned)

    colours = 3 if page.photometric == _RGB else 1
    planes = [plane(index) for index in range(colours)]
    alpha_index = _alpha_index(page, colours)
    alpha = None if alpha_index is None else plane(alpha_index)
    if alpha_index is not None and page.extrasamples[alpha_index - colours] == _UNASSOCIATED_ALPHA:
        assert alpha is not None
        with np.errstate(all="ignore"):  # counted and replaced later
            planes = [straight * alpha for straight in planes]
    red, green, blue = planes if colours == 3 else planes * 3
    return StoredPicture(header, (red, green, blue), alpha)


def _check_segments(file: PassFile, page: Any) -> None:
    """Refuse a page whose strips or tiles are not all in the file, or claim to hold too much."""
    count = math.prod(page.chunked)
    offsets, sizes = page.dataoffsets, page.databytecounts
    if len(offsets) != count or len(sizes) != count:
        raise damaged(file.path, f"{len(offsets):,} strips or tiles", f"{count:,}, by its size")
    for index, (offset, size) in enumerate(zip(offsets, sizes, strict=True)):
        if offset == 0 or size == 0 or offset + size > file.size:
            raise damaged(file.path, f"strip or tile {index} of {count} is missing")
    decoded_bytes = math.prod(_shape(page)) * page.dtype.itemsize
    allowed = absurd_claim(decoded_bytes, sum(sizes))
    if allowed is not None:
        raise damaged(file.path, f"claims {decoded_bytes:,} bytes of pixels", allowed)


def _shape(page: Any) -> tuple[int, int, int]:
    return page.samplesperpixel, page.imagelength, page.imagewidth


def _samples(file: PassFile, page: Any) -> npt.NDArray[Any]:
    """Decode all segments of a page; shape (samples, height, width)."""
    _check_segments(file, page)
    samples = np.empty(_shape(page), page.dtype.newbyteorder("="))
    plain = page.compression == 1
    for index, (offset, size) in enumerate(zip(page.dataoffsets, page.databytecounts, strict=True)):
        decoded, (plane, _, top, left, _), _ = page.decode(
            file.at(offset, size), index, jpegtables=page.jpegtables
        )
        if decoded is None or (plain and size != decoded.nbytes):
            raise damaged(file.path, f"strip or tile {index} has {size:,} bytes")
        _put(samples, np.asarray(decoded)[0], plane, top, left, separate=page.planarconfig == 2)
    return samples


def _put(
    samples: npt.NDArray[Any],
    decoded: npt.NDArray[Any],
    plane: int,
    top: int,
    left: int,
    *,
    separate: bool,
) -> None:
    _, height, width = samples.shape
    rows, columns = min(decoded.shape[0], height - top), min(decoded.shape[1], width - left)
    piece = decoded[:rows, :columns]
    where = np.s_[top : top + rows, left : left + columns]
    if separate:
        samples[plane][where] = piece[..., 0]
    else:
        for channel in range(samples.shape[0]):
            samples[channel][where] = piece[..., channel]
