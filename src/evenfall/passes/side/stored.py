"""Pictures of whole-number codes as files hold them: PNG, JPEG and TIFF, WebP and BMP.

PNG, JPEG and TIFF are taken apart here, for they may hold more than 8 bits and much about their
colour. Kinds that hold 8 bits and at most a profile are read through imageio.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
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
from evenfall.passes.side.codes import (
    CodePicture,
    StoredCodes,
    channel_names,
    check_inflation,
    check_size,
)
from evenfall.passes.side.segments import JPEG_START, PNG_SIGNATURE, png_chunks
from evenfall.passes.upright import upright

__all__ = ["CODE_PICTURES", "is_code_picture", "open_codes", "read_codes"]

CODE_PICTURES = "PNG, JPEG, TIFF, WebP or BMP"
"""What `read_codes` reads."""

_PNG_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}  # by colour type
_PALETTE = 3
_PIXEL_CHUNKS = {b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"}
_TRANSFERS = {TRANSFER_BT709: "sRGB", TRANSFER_SRGB: "sRGB", TRANSFER_LINEAR: "linear"}
_TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_BMP_START = b"BM"
_WEBP_START, _WEBP_KIND = b"RIFF", slice(8, 12)  # RFC 9649, 2.4


def is_code_picture(head: bytes) -> bool:
    """Whether a file begins like one of `CODE_PICTURES`."""
    return _is_plain(head) or head.startswith((PNG_SIGNATURE, JPEG_START, *_TIFF_STARTS))


def _is_plain(head: bytes) -> bool:
    webp = head.startswith(_WEBP_START) and head[_WEBP_KIND] == b"WEBP"
    return webp or head.startswith(_BMP_START)


def open_codes(path: Path, data: bytes) -> CodePicture | None:
    """Look at the header of one of `CODE_PICTURES`; None for a TIFF of floats.

    Raises
    ------
    PixelSourceError
        If the file is cut short, too large, or of a kind that cannot be used.
    """
    with _in_our_words(path):
        if data.startswith(PNG_SIGNATURE):
            return _open_png(path, data)
        if data.startswith(JPEG_START):
            from evenfall.passes.side.jpeg import open_jpeg

            return open_jpeg(path, data)
        if _is_plain(data):
            return _open_plain(path, data)
        from evenfall.passes.side.tiff import open_tiff_of_codes

        return open_tiff_of_codes(path, data)


def read_codes(path: Path, data: bytes) -> StoredCodes | None:
    """Codes of one of `CODE_PICTURES`; None for a TIFF of floats.

    Raises
    ------
    PixelSourceError
        If the file is damaged, too large, or of a kind that cannot be used.
    """
    picture = open_codes(path, data)
    if picture is None:
        return None
    with _in_our_words(path):
        return picture.read()


@contextmanager
def _in_our_words(path: Path) -> Iterator[None]:
    """Turn whatever decoders raise on damaged files into the error for it."""
    try:
        yield
    except (ImportError, PixelSourceError):  # a decoder that is not loaded says nothing of the file
        raise
    except Exception as error:
        raise PixelSourceError(
            Fault(str(path), "", "the file is damaged or cut short", "", "save it again")
        ) from error


def _open_png(path: Path, data: bytes) -> CodePicture:
    chunks: dict[bytes, bytes] = {}
    for name, body in png_chunks(data):
        chunks.setdefault(name, body)
    if b"IEND" not in chunks:
        raise ValueError("no end")
    width, height, depth, colour_type = struct.unpack_from(">IIBB", chunks[b"IHDR"])
    check_size(path, width, height)
    channels = _PNG_CHANNELS[colour_type]
    check_inflation(len(data), width * height * channels * depth // 8)
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
    keyed = b"tRNS" in chunks
    is_palette = colour_type == _PALETTE
    colours = 3 if is_palette or channels >= 3 else 1

    def read() -> StoredCodes:
        import imagecodecs

        bare = _bare_png(data)
        expanded = is_palette or keyed or depth < 8
        codes = _expand_png(bare) if expanded else imagecodecs.png_decode(bare)
        codes = codes[..., None] if codes.ndim == 2 else codes
        return StoredCodes(codes, np.iinfo(codes.dtype).max, codes.shape[2] in (2, 4), **said)

    return CodePicture(channel_names(colours, has_alpha=keyed or channels in (2, 4)), read)


def _bare_png(data: bytes) -> bytes:
    """Only what makes pixels: decoders complain about chunks that do not concern them."""
    kept, place = [PNG_SIGNATURE], len(PNG_SIGNATURE)
    for name, body in png_chunks(data):
        end = place + 12 + len(body)
        if name in _PIXEL_CHUNKS:
            if zlib.crc32(name + body) != int.from_bytes(data[end - 4 : end], "big"):
                raise ValueError("a checksum does not fit")
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


def _open_plain(path: Path, data: bytes) -> CodePicture:
    """Look at the first picture of a WebP or BMP; palettes and fewer than 8 bits become 8."""
    import imageio.v3 as iio
    from PIL import Image

    if data.startswith(b"RIFF"):
        import_module("PIL._webp")  # else such a file is of no kind that is known
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
    grey = said["mode"] in ("1", "L") and not has_alpha

    def read() -> StoredCodes:
        codes = iio.imread(data, **first, mode="RGBA" if has_alpha else "L" if grey else "RGB")
        codes = upright(codes[..., None] if grey else codes, said.get("Orientation", 1))
        return StoredCodes(codes, 255, has_alpha, icc=said.get("icc_profile"))

    return CodePicture(channel_names(1 if grey else 3, has_alpha=has_alpha), read)
