"""JPEG files: pixels by libjpeg-turbo, segments about colour and origin here.

Segments: Exif in APP1 (CIPA DC-008), XMP in APP1 (ISO 16684-1; packets over 65,502 bytes continue
in extended segments, XMP Specification Part 3, 1.1.3.1), ICC in APP2 (ICC.1:2022 annex B.4).
"""

from __future__ import annotations

import hashlib
import struct

import numpy as np
import numpy.typing as npt

from evenfall.deliver.exif import exif_block
from evenfall.deliver.finished import Encoded, Finished
from evenfall.deliver.icc import icc_profile
from evenfall.deliver.provenance import Provenance, record_from_xmp, xmp_packet
from evenfall.errors import OutputError
from evenfall.passes.side.segments import jpeg_segments

__all__ = [
    "encode",
    "encode_jpeg",
    "find_record",
    "insert_segments",
    "insertion_place",
    "segment",
    "xmp_in_jpeg",
]

_FULL_COLOUR_FROM = 85  # quality from which colour is kept at full resolution (4:4:4)
_LOWEST_QUALITY = 20
_EXIF = b"Exif\0\0"
_XMP = b"http://ns.adobe.com/xap/1.0/\0"
_EXTENDED_XMP = b"http://ns.adobe.com/xmp/extension/\0"
_ICC = b"ICC_PROFILE\0"
_LARGEST_XMP = 65502
_EXTENDED_PIECE = 65400
_LARGEST_ICC_PIECE = 65519
_APP1, _APP2 = 0xE1, 0xE2

Bytes8 = npt.NDArray[np.uint8]


def encode_jpeg(
    codes: Bytes8,
    *,
    space: str | None = "sRGB",
    quality: int = 92,
    max_kilobytes: int | None = None,
    provenance: Provenance | None = None,
    dpi: float | None = None,
) -> bytes:
    r"""JPEG file of display-encoded codes.

    Parameters
    ----------
    codes : ndarray
        uint8, shape (H, W, 3) or (H, W).
    space : str or None
        Output space; its profile goes into the file. None: no profile, for pictures of data.
    quality : int
        1 to 100; from 85 on colour keeps its full resolution (4:4:4), below it is halved (4:2:0).
    max_kilobytes : int, optional
        Largest size of the file in units of 1,000 bytes, metadata included; the best quality
        that fits, no higher than `quality`, is found.
    provenance : Provenance, optional
        Record, title, author and copyright to embed.
    dpi : float, optional
        Pixels per inch.

    Raises
    ------
    OutputError
        If no quality from 20 on gets the file under `max_kilobytes`.

    Examples
    --------
    >>> data = encode_jpeg(np.zeros((16, 16, 3), np.uint8))
    >>> data[:2], data[-2:]
    (b'\xff\xd8', b'\xff\xd9')
    """
    segments = _segments(space, provenance, dpi, (codes.shape[1], codes.shape[0]))
    if max_kilobytes is None:
        return insert_segments(_with_density(_compress(codes, quality), dpi), segments)
    budget = max_kilobytes * 1000 - len(segments)
    compressed = _largest_that_fits(codes, quality, budget)
    if compressed is None:
        raise OutputError(
            f"no JPEG of this picture fits into {max_kilobytes} kB even at quality "
            f"{_LOWEST_QUALITY}; allow more, or make it smaller with width or crop"
        )
    return insert_segments(_with_density(compressed, dpi), segments)


def _with_density(compressed: bytes, dpi: float | None) -> bytes:
    """Say pixels per inch in the JFIF segment too (ITU-T T.871, 10.1)."""
    if dpi is None or compressed[6:11] != b"JFIF\0":
        return compressed
    density = min(round(dpi), 65535)
    return compressed[:13] + struct.pack(">BHH", 1, density, density) + compressed[18:]


def _largest_that_fits(codes: Bytes8, quality: int, budget: int) -> bytes | None:
    best = None
    low, high = min(_LOWEST_QUALITY, quality), quality
    trial = high
    while low <= high:
        compressed = _compress_progressive(codes, trial)
        if len(compressed) <= budget:
            best, low = compressed, trial + 1
        else:
            high = trial - 1
        trial = (low + high) // 2
    return best


def _compress(codes: Bytes8, quality: int) -> bytes:
    import imagecodecs

    pixels = np.ascontiguousarray(codes)
    if pixels.ndim == 2:
        return bytes(imagecodecs.jpeg8_encode(pixels, quality, optimize=True))
    subsampling = "444" if quality >= _FULL_COLOUR_FROM else "420"
    return bytes(imagecodecs.jpeg8_encode(pixels, quality, subsampling=subsampling, optimize=True))


def _compress_progressive(codes: Bytes8, quality: int) -> bytes:
    """Smaller by some percent, slower, and through Pillow."""
    from io import BytesIO

    from PIL import Image

    stream = BytesIO()
    subsampling = 0 if quality >= _FULL_COLOUR_FROM else 2
    options = {"optimize": True, "progressive": True, "subsampling": subsampling}
    try:
        Image.fromarray(codes).save(stream, "JPEG", quality=quality, **options)
    except OSError:  # its buffer is too small for pictures of noise
        return _compress(codes, quality)
    return stream.getvalue()


def insert_segments(compressed: bytes, segments: bytes) -> bytes:
    """Put segments before those of a JPEG file; JFIF's stays first, as it must."""
    place = insertion_place(compressed)
    return b"".join((compressed[:place], segments, compressed[place:]))


def insertion_place(compressed: bytes) -> int:
    """Where `insert_segments` puts them."""
    if compressed[2:4] != b"\xff\xe0":
        return 2
    return 4 + int.from_bytes(compressed[4:6], "big")


def _segments(
    space: str | None, provenance: Provenance | None, dpi: float | None, size: tuple[int, int]
) -> bytes:
    parts = []
    if provenance is not None or dpi is not None:
        exif = exif_block(provenance, space=space or "", dpi=dpi, jpeg_size=size)
        parts.append(segment(_APP1, _EXIF + exif))
    if provenance is not None:
        parts += _xmp_segments(xmp_packet(provenance), provenance)
    if space is not None:
        parts += _icc_segments(icc_profile(space))
    return b"".join(parts)


def _icc_segments(profile: bytes) -> list[bytes]:
    pieces = [
        profile[place : place + _LARGEST_ICC_PIECE]
        for place in range(0, len(profile), _LARGEST_ICC_PIECE)
    ]
    return [
        segment(_APP2, _ICC + bytes((number, len(pieces))) + piece)
        for number, piece in enumerate(pieces, 1)
    ]


def _xmp_segments(packet: bytes, provenance: Provenance) -> list[bytes]:
    if len(packet) <= _LARGEST_XMP:
        return [segment(_APP1, _XMP + packet)]
    digest = hashlib.md5(packet, usedforsecurity=False).hexdigest().upper().encode()
    main = xmp_packet(provenance, extended=digest.decode())
    pieces = [segment(_APP1, _XMP + main)]
    for place in range(0, len(packet), _EXTENDED_PIECE):
        head = _EXTENDED_XMP + digest + struct.pack(">II", len(packet), place)
        pieces.append(segment(_APP1, head + packet[place : place + _EXTENDED_PIECE]))
    return pieces


def segment(marker: int, body: bytes) -> bytes:
    """One segment of a JPEG file."""
    return struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body


def encode(finished: Finished) -> Encoded:
    """JPEG file of a finished picture."""
    asked = finished.deliverable
    data = encode_jpeg(
        finished.codes().astype(np.uint8, copy=False),
        space=asked.space,
        quality=asked.quality,
        max_kilobytes=asked.max_kilobytes,
        provenance=finished.provenance,
        dpi=finished.dpi,
    )
    return Encoded(data)


def find_record(data: bytes) -> Provenance | None:
    """Record in a JPEG file, or None."""
    packet = xmp_in_jpeg(data)
    return record_from_xmp(packet) if packet else None


def xmp_in_jpeg(data: bytes) -> bytes | None:
    """XMP packet of a JPEG file, put together from its extended segments, or None."""
    packet = None
    extended: dict[int, bytes] = {}
    for marker, body in jpeg_segments(data):
        if marker == _APP1 and body.startswith(_XMP):
            packet = body[len(_XMP) :]
        elif marker == _APP1 and body.startswith(_EXTENDED_XMP):
            head = len(_EXTENDED_XMP) + 32
            _, place = struct.unpack_from(">II", body, head)
            extended[place] = body[head + 8 :]
    if extended:
        return b"".join(extended[place] for place in sorted(extended))
    return packet
