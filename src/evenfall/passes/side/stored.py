"""Pictures of whole-number codes as files hold them: PNG, JPEG and TIFF, WebP and BMP.

PNG, JPEG and TIFF are taken apart here, for they may hold more than 8 bits and much about their
colour. Kinds that hold 8 bits and at most a profile are read through imageio.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PixelSourceError
from evenfall.light.code_points import (
    PRIMARIES,
    TRANSFER_BT709,
    TRANSFER_LINEAR,
    TRANSFER_SRGB,
)
from evenfall.passes.formats.tiff import open_tiff
from evenfall.passes.side.segments import JPEG_START, PNG_SIGNATURE, jpeg_segments, png_chunks
from evenfall.passes.upright import upright

__all__ = [
    "CODE_PICTURES",
    "MAX_PIXELS",
    "StoredCodes",
    "check_size",
    "is_code_picture",
    "read_codes",
]

CODE_PICTURES = "PNG, JPEG, TIFF, WebP or BMP"
"""What `read_codes` reads."""

MAX_PIXELS = 300_000_000
"""Most pixels of a side picture: over twice 15360 x 8640."""

_APP1, _APP2 = 0xE1, 0xE2
_PIXEL_CHUNKS = {b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"}
_JPEG_END = b"\xff\xd9"
_FRAMES = {0xC0, 0xC1, 0xC2, 0xC3}  # baseline, extended, progressive, lossless
_TRANSFERS = {TRANSFER_BT709: "sRGB", TRANSFER_SRGB: "sRGB", TRANSFER_LINEAR: "linear"}
_TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_BMP_START = b"BM"
_WEBP_START, _WEBP_KIND = b"RIFF", slice(8, 12)  # RFC 9649, 2.4


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


def is_code_picture(head: bytes) -> bool:
    """Whether a file begins like one of `CODE_PICTURES`."""
    return _is_plain(head) or head.startswith((PNG_SIGNATURE, JPEG_START, *_TIFF_STARTS))


def _is_plain(head: bytes) -> bool:
    webp = head.startswith(_WEBP_START) and head[_WEBP_KIND] == b"WEBP"
    return webp or head.startswith(_BMP_START)


def check_size(path: Path, width: int, height: int) -> None:
    """Raise PixelSourceError for a picture of impossible or enormous size."""
    if width < 1 or height < 1 or width * height > MAX_PIXELS:
        raise PixelSourceError(
            Fault(str(path), "", f"{width} x {height} pixels", f"up to {MAX_PIXELS:,} pixels",
                  "make it smaller")
        )  # fmt: skip


def read_codes(path: Path, data: bytes) -> StoredCodes | None:
    """Codes of one of `CODE_PICTURES`; None for a TIFF of floats.

    Raises
    ------
    PixelSourceError
        If the file is damaged, too large, or of a kind that cannot be used.
    """
    try:
        if data.startswith(PNG_SIGNATURE):
            return _read_png(path, data)
        if data.startswith(JPEG_START):
            return _read_jpeg(path, data)
        if _is_plain(data):
            return _read_plain(path, data)
        return _read_tiff(path, data)
    except PixelSourceError:
        raise
    except Exception as error:  # decoders raise whatever comes to their mind on damaged files
        raise PixelSourceError(
            Fault(str(path), "", "the file is damaged or cut short", "", "save it again")
        ) from error


def _read_png(path: Path, data: bytes) -> StoredCodes:
    import imagecodecs

    chunks: dict[bytes, bytes] = {}
    for name, body in png_chunks(data):
        chunks.setdefault(name, body)
    if b"IEND" not in chunks:
        raise ValueError("no end")
    width, height, depth, colour_type = struct.unpack_from(">IIBB", chunks[b"IHDR"])
    check_size(path, width, height)
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[colour_type]
    _check_inflation(len(data), width * height * channels * depth // 8)
    bare = _bare_png(data)
    if colour_type == 3 or b"tRNS" in chunks or depth < 8:
        codes = _expand_png(bare)
    else:
        codes = imagecodecs.png_decode(bare)
    said: dict[str, Any] = {}
    if b"cICP" in chunks:
        said = _from_cicp(path, chunks[b"cICP"])
    elif b"iCCP" in chunks:
        body = chunks[b"iCCP"]
        said["icc"] = zlib.decompressobj().decompress(body[body.index(b"\0") + 2 :], 1 << 24)
    elif b"sRGB" not in chunks and b"gAMA" in chunks:
        (gamma,) = struct.unpack(">I", chunks[b"gAMA"][:4])
        if gamma and gamma != 45455:  # 1/2.2 is what writers say for sRGB
            said["gamma"] = 100000 / gamma
    codes = codes[..., None] if codes.ndim == 2 else codes
    return StoredCodes(codes, np.iinfo(codes.dtype).max, codes.shape[2] in (2, 4), **said)


def _check_inflation(size: int, pixel_bytes: int) -> None:
    """Deflate grows 1032-fold at most (zlib, technical details), other codecs here by less."""
    if pixel_bytes > 1100 * size:
        raise ValueError("more pixels than the file can hold")


def _bare_png(data: bytes) -> bytes:
    """Only what makes pixels: decoders complain about chunks that do not concern them."""
    kept, place = [PNG_SIGNATURE], len(PNG_SIGNATURE)
    for name, body in png_chunks(data):
        end = place + 12 + len(body)
        if name in _PIXEL_CHUNKS:
            kept.append(data[place:end])
        place = end
    return b"".join(kept)


def _expand_png(data: bytes) -> npt.NDArray[Any]:
    """Palettes, key colours and fewer than 8 bits, through Pillow."""
    from PIL import Image

    with Image.open(BytesIO(data)) as picture:
        keyed = "transparency" in picture.info
        grey = picture.mode in ("1", "L", "I", "I;16")
        if picture.mode.startswith("I"):  # 16-bit grey with a key: alpha from the key's code
            codes = np.asarray(picture).astype(np.uint16)
            alpha = np.where(codes == picture.info["transparency"], 0, 65535).astype(np.uint16)
            return np.stack([codes, alpha], axis=-1)
        if keyed:
            return np.asarray(picture.convert("LA" if grey else "RGBA"))
        return np.asarray(picture.convert("L" if grey else "RGB"))


def _from_cicp(path: Path, body: bytes) -> dict[str, Any]:
    primaries, transfer = body[0], body[1]
    if primaries not in PRIMARIES or transfer not in _TRANSFERS:
        raise PixelSourceError(
            Fault(str(path), "cICP", f"colour codes {primaries}, {transfer} of ITU-T H.273",
                  "sRGB or linear transfer with BT.709, BT.2020 or Display P3 primaries",
                  "save HDR pictures as EXR or HDR")
        )  # fmt: skip
    return {"transfer": _TRANSFERS[transfer], "primaries": PRIMARIES[primaries].name}


def _read_jpeg(path: Path, data: bytes) -> StoredCodes:
    import imagecodecs

    profile: dict[int, bytes] = {}
    turn, shape, start = 1, None, 2
    for marker, body in jpeg_segments(data):
        start += 4 + len(body)
        if marker in _FRAMES:
            precision, height, width, channels = struct.unpack_from(">BHHB", body)
            check_size(path, width, height)
            shape = (precision, channels)
        elif marker == _APP2 and body.startswith(b"ICC_PROFILE\0"):
            profile[body[12]] = body[14:]
        elif marker == _APP1 and body.startswith(b"Exif\0\0"):
            turn = _exif_orientation(body[6:])
    if shape is None or data.rfind(_JPEG_END) < start:  # the decoder would fill up with grey
        raise ValueError("no frame or no end")
    precision, channels = shape
    if channels == 4:
        raise PixelSourceError(
            Fault(str(path), "", "a CMYK picture", "grey or RGB", "convert it to sRGB")
        )
    codes = imagecodecs.jpeg8_decode(data)
    codes = codes[..., None] if codes.ndim == 2 else codes
    icc = b"".join(profile[number] for number in sorted(profile)) or None
    return StoredCodes(upright(codes, turn), 2**precision - 1, icc=icc)


def _exif_orientation(block: bytes) -> int:
    """Orientation tag 0x0112 of an Exif block; 1 (upright) where there is none."""
    order = {b"II": "<", b"MM": ">"}.get(block[:2])
    if order is None or len(block) < 8:
        return 1
    (start,) = struct.unpack_from(f"{order}I", block, 4)
    if start + 2 > len(block):
        return 1
    (count,) = struct.unpack_from(f"{order}H", block, start)
    for number in range(count):
        place = start + 2 + 12 * number
        if place + 12 > len(block):
            break
        tag, kind, _ = struct.unpack_from(f"{order}HHI", block, place)
        if tag == 0x0112 and kind == 3:
            (turn,) = struct.unpack_from(f"{order}H", block, place + 8)
            return int(turn) if 1 <= turn <= 8 else 1
    return 1


def _read_plain(path: Path, data: bytes) -> StoredCodes:
    """Read the first picture of a WebP or BMP; palettes and fewer than 8 bits become 8."""
    import imageio.v3 as iio
    from PIL import Image

    first: dict[str, Any] = {"index": 0, "plugin": "pillow"}
    try:
        height, width = iio.improps(data, **first).shape[:2]
    except OSError as error:  # in which imageio wraps what Pillow raises
        if not isinstance(error.__cause__, Image.DecompressionBombError):
            raise
        raise PixelSourceError(
            Fault(str(path), "", "more pixels than are believed of this kind of file", "",
                  "make it smaller, or save it as PNG, JPEG or TIFF")
        ) from error  # fmt: skip
    check_size(path, width, height)
    said = iio.immeta(data, **first, exclude_applied=False)
    has_alpha = "A" in said["mode"] or "transparency" in said
    grey = said["mode"] in ("1", "L")
    codes = iio.imread(data, **first, mode="RGBA" if has_alpha else "L" if grey else "RGB")
    codes = upright(codes[..., None] if grey else codes, said.get("Orientation", 1))
    return StoredCodes(codes, 255, has_alpha, icc=said.get("icc_profile"))


def _read_tiff(path: Path, data: bytes) -> StoredCodes | None:
    with open_tiff(BytesIO(data)) as file:
        page = file.pages.first
        check_size(path, page.imagewidth, page.imagelength)
        _check_inflation(len(data), page.nbytes)
        if page.dtype is None or page.dtype.kind not in "uf":
            raise PixelSourceError(
                Fault(str(path), "", f"a TIFF of {page.dtype} values",
                      "unsigned whole numbers or floats")
            )  # fmt: skip
        if page.dtype.kind == "f":
            return None
        codes = _upright_axes(page)
        photometric = page.photometric.name if hasattr(page.photometric, "name") else ""
        if photometric == "PALETTE" and page.colormap is not None:
            codes = np.moveaxis(page.colormap, 0, -1)[codes[..., 0]]
        elif photometric not in ("RGB", "MINISBLACK", "MINISWHITE", "YCBCR"):
            raise PixelSourceError(
                Fault(str(path), "", f"a TIFF of {photometric or 'unknown'} colour",
                      "grey or RGB", "convert it to sRGB")
            )  # fmt: skip
        top = 2**page.bitspersample - 1 if photometric != "PALETTE" else 65535
        if photometric == "MINISWHITE":
            codes[..., 0] = top - codes[..., 0]
        extra = page.extrasamples
        colours = 1 if photometric.startswith("MINIS") else 3
        has_alpha = bool(extra) and extra[0] in (1, 2)
        tag = page.tags.get(274)
        return StoredCodes(
            upright(codes[..., : colours + has_alpha], int(tag.value) if tag else 1),
            top,
            has_alpha,
            premultiplied=has_alpha and extra[0] == 1,
            icc=bytes(page.iccprofile) if page.iccprofile else None,
        )


def _upright_axes(page: Any) -> npt.NDArray[Any]:
    """Pixels of a TIFF page with channels last, whichever way they are stored."""
    codes = page.asarray()
    if codes.ndim == 2:
        return np.array(codes[..., None])
    if codes.shape[:2] != (page.imagelength, page.imagewidth):
        codes = np.moveaxis(codes, 0, -1)
    return np.array(codes)
