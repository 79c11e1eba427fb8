"""PNG files (PNG Third Edition, W3C 2025)."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from evenfall.deliver.exif import exif_block
from evenfall.deliver.finished import Encoded, Finished
from evenfall.deliver.icc import icc_profile
from evenfall.deliver.png_pixels import Each, pixel_chunks, png_chunk
from evenfall.deliver.provenance import Provenance, record_from_xmp, xmp_packet
from evenfall.light.code_points import FULL_RANGE, MATRIX_RGB, primaries_code
from evenfall.light.output_spaces import output_space
from evenfall.passes.side.segments import PNG_SIGNATURE, png_chunks

__all__ = ["encode", "encode_png", "find_record", "xmp_in_png"]

_COLOUR_TYPES = {1: 0, 3: 2, 4: 6}  # by channels: grey, RGB, RGB with alpha
_XMP_KEYWORD = b"XML:com.adobe.xmp"

Codes = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


def encode_png(
    codes: Codes,
    *,
    space: str = "sRGB",
    provenance: Provenance | None = None,
    dpi: float | None = None,
    each: Each = map,
) -> bytes:
    """PNG file of display-encoded codes.

    Parameters
    ----------
    codes : ndarray
        uint8 or uint16, shape (H, W), (H, W, 3) or, with straight alpha, (H, W, 4).
    space : str
        Output space; its profile and its codes by ITU-T H.273 go into the file.
    provenance : Provenance, optional
        Record, title, author and copyright to embed.
    dpi : float, optional
        Pixels per inch.
    each : callable
        Like `map`; it may compress several parts of the picture at once. The bytes do not depend
        on it.

    Returns
    -------
    bytes

    Examples
    --------
    >>> from evenfall.passes.side.segments import PNG_SIGNATURE, png_chunks
    >>> data = encode_png(np.zeros((4, 6, 3), np.uint8), dpi=300)
    >>> [name.decode() for name, _ in png_chunks(data)][:4]
    ['IHDR', 'cICP', 'iCCP', 'gAMA']
    """
    pixels = np.ascontiguousarray(codes)
    height, width, channels = (*pixels.shape, 1)[:3]
    kind = _COLOUR_TYPES[channels]
    header = struct.pack(">IIBBBBB", width, height, 8 * pixels.itemsize, kind, 0, 0, 0)
    colours = _colour_chunks(space, is_grey=channels == 1)
    chunks = [(b"IHDR", header), *colours, *_physical(dpi)]
    if provenance is not None:
        chunks += _origin_chunks(provenance, space, dpi)
    head = [png_chunk(name, body) for name, body in chunks]
    return b"".join([PNG_SIGNATURE, *head, *pixel_chunks(pixels, each), png_chunk(b"IEND", b"")])


def _colour_chunks(space: str, *, is_grey: bool) -> Iterator[tuple[bytes, bytes]]:
    described = output_space(space)
    primaries, transfer = primaries_code(described.rgb), described.transfer_code
    if primaries is not None and transfer is not None:
        yield b"cICP", bytes((primaries, transfer, MATRIX_RGB, FULL_RANGE))
    if not is_grey:  # whose profile would have to be one for grey (11.3.2.3)
        yield b"iCCP", space.encode("latin-1") + b"\0\0" + zlib.compress(icc_profile(space), 9)
    yield b"gAMA", struct.pack(">I", round(100000 / described.curve.nearest_gamma))
    rgb = described.rgb
    white_first = (*rgb.white, *rgb.red, *rgb.green, *rgb.blue)
    yield b"cHRM", struct.pack(">8I", *(round(value * 100000) for value in white_first))


def _physical(dpi: float | None) -> Iterator[tuple[bytes, bytes]]:
    if dpi is not None:
        per_metre = round(dpi / 0.0254)
        yield b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)


def _origin_chunks(
    provenance: Provenance, space: str, dpi: float | None
) -> Iterator[tuple[bytes, bytes]]:
    yield b"eXIf", exif_block(provenance, space=space, dpi=dpi)
    for keyword, text in (
        (b"Title", provenance.title),
        (b"Author", provenance.author),
        (b"Copyright", provenance.copyright),
        (b"Description", provenance.description),
        (b"Software", provenance.software),
    ):
        if text:
            yield b"iTXt", keyword + b"\0\0\0\0\0" + text.replace("\0", "").encode()
    yield b"iTXt", _XMP_KEYWORD + b"\0\0\0\0\0" + xmp_packet(provenance)


def encode(finished: Finished) -> Encoded:
    """PNG file of a finished picture."""
    data = encode_png(
        finished.codes(),
        space=finished.deliverable.space,
        provenance=finished.provenance,
        dpi=finished.dpi,
        each=finished.each,
    )
    return Encoded(data)


def find_record(data: bytes) -> Provenance | None:
    """Record in a PNG file, or None."""
    packet = xmp_in_png(data)
    return record_from_xmp(packet) if packet else None


def xmp_in_png(data: bytes) -> bytes | None:
    """XMP packet of a PNG file, or None."""
    head = _XMP_KEYWORD + b"\0"
    for name, body in png_chunks(data):
        if name == b"iTXt" and body.startswith(head):
            compressed = body[len(head)]
            text = body[len(head) + 2 :].split(b"\0", 2)[2]
            return zlib.decompress(text) if compressed else text
    return None
