"""The outer structure of PNG and JPEG files: chunks and segments."""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator

__all__ = ["JPEG_START", "PNG_SIGNATURE", "jpeg_scans", "jpeg_segments", "png_chunks"]

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
JPEG_START = b"\xff\xd8"
_START_OF_SCAN, _END = 0xDA, 0xD9
_SCAN_HEADER = re.compile(rb"\xff\xda(..)", re.DOTALL)
_WITHOUT_LENGTH = {0x01, *range(0xD0, 0xD9)}


def png_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Names and contents of the chunks of a PNG file, up to the first that is cut short.

    Source: PNG Third Edition (W3C 2025), 5.3.
    """
    place = len(PNG_SIGNATURE)
    while place + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, place)
        if place + 12 + length > len(data):
            return
        yield data[place + 4 : place + 8], data[place + 8 : place + 8 + length]
        place += 12 + length


def jpeg_segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Markers and contents of the segments of a JPEG file before its picture data.

    Source: ITU-T T.81, B.1.1.
    """
    place = len(JPEG_START)
    while place + 4 <= len(data) and data[place] == 0xFF:
        marker = data[place + 1]
        if marker == 0xFF:  # fill byte
            place += 1
        elif marker in _WITHOUT_LENGTH:
            place += 2
        elif marker in (_START_OF_SCAN, _END):
            return
        else:
            length = int.from_bytes(data[place + 2 : place + 4], "big")
            yield marker, data[place + 4 : place + 2 + length]
            place += 2 + length


def jpeg_scans(data: bytes) -> Iterator[bytes]:
    """Headers of the scans of a JPEG file, behind their lengths.

    In coded data 0xFF is followed by 0 or a restart, so that scans are found by their marker.
    Source: ITU-T T.81, B.1.1.5 and B.2.3.
    """
    start = sum(4 + len(body) for _, body in jpeg_segments(data))  # thumbnails have scans too
    for found in _SCAN_HEADER.finditer(data, start):
        length = int.from_bytes(found[1], "big")
        yield data[found.end() : found.start() + 2 + length]
