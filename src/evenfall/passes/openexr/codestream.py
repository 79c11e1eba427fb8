"""Whether a JPEG 2000 codestream inside an OpenEXR chunk is whole.

The decoder takes a codestream that ends early for one of lower quality and says nothing, so the
markers are followed here: the image must have the size of the chunk, and the tile-parts must lead
to an end-of-codestream marker that is the end of the chunk. Source: ISO/IEC 15444-1 (Rec. ITU-T
T.800) annex A; the header before it is OpenEXR's own (two letters, its length, a channel map). The
lossy encoder of OpenEXR 3.5 pads some images, and says in a comment by how much.
"""

from __future__ import annotations

import re
import struct

__all__ = ["codestream_fault", "is_codestream"]

_LOSSLESS, _LOSSY = b"HT", b"HL"
_PADDING = re.compile(rb"OpenEXR LJ2K padding: rows=(?P<rows>\d{1,9}) cols=(?P<columns>\d{1,9})")
_HEADER_BYTES = 1 << 16
_SOC, _SIZ, _SOT, _EOC = 0xFF4F, 0xFF51, 0xFF90, 0xFFD9


def codestream_fault(payload: bytes, width: int, height: int) -> str | None:
    """Say what is wrong with a chunk's payload, or None.

    Parameters
    ----------
    payload : bytes
        The chunk without its leader.
    width, height : int
        Size of the chunk in pixels.

    Examples
    --------
    >>> codestream_fault(b"HT" + bytes(20), 54, 38)
    'holds no JPEG 2000 codestream'
    """
    if not is_codestream(payload):
        return "holds no JPEG 2000 codestream"
    place = _start(payload)
    if len(payload) < place + 16:
        return "holds a codestream that is cut"
    across, down = struct.unpack_from(">II", payload, place + 8)
    if payload[:2] == _LOSSY:
        padding = _PADDING.search(payload, place, place + _HEADER_BYTES)
        if padding is not None:
            across, down = across - int(padding["columns"]), down - int(padding["rows"])
    if (across, down) != (width, height):
        return f"holds an image of {across:,} x {down:,} instead of {width:,} x {height:,}"
    end = _end(payload, place + 2)
    if end is None:
        return "holds a codestream that is cut"
    return None if end == len(payload) else f"has {len(payload) - end:,} bytes too many"


def is_codestream(payload: bytes) -> bool:
    """Whether a chunk's payload begins like a codestream, and not like bare pixels."""
    if payload[:2] not in (_LOSSLESS, _LOSSY) or len(payload) < 6:
        return False
    place = _start(payload)
    return _marker(payload, place) == _SOC and _marker(payload, place + 2) == _SIZ


def _start(payload: bytes) -> int:
    return 6 + int.from_bytes(payload[2:6], "big")


def _end(payload: bytes, place: int) -> int | None:
    """Place behind the end marker; None where the segments do not lead to one."""
    while (marker := _marker(payload, place)) != _EOC:
        if marker is None or marker < 0xFF00 or place + 10 > len(payload):
            return None
        if marker == _SOT:
            (length,) = struct.unpack_from(">I", payload, place + 6)
            if length < 12:
                return None
            place += length
        else:
            place += 2 + int.from_bytes(payload[place + 2 : place + 4], "big")
    return place + 2


def _marker(payload: bytes, place: int) -> int | None:
    return int.from_bytes(payload[place : place + 2], "big") if place + 2 <= len(payload) else None
