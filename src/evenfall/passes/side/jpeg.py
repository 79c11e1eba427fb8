"""JPEG pictures beside the passes, as files and inside TIFF files.

The decoder fills up what it cannot decode and says nothing but a warning, which its usual bindings
drop. So the coded picture is gone through once more by a binding that makes errors of warnings;
scaled down, which takes a quarter of the time of decoding.
"""

from __future__ import annotations

import re
import struct
from pathlib import Path

import numpy as np

from evenfall.errors import Fault, PixelSourceError
from evenfall.passes.side.codes import CodePicture, StoredCodes, channel_names, check_size
from evenfall.passes.side.segments import jpeg_scans, jpeg_segments
from evenfall.passes.upright import upright

__all__ = ["check_jpeg", "open_jpeg"]

_APP1, _APP2 = 0xE1, 0xE2
_JPEG_END = b"\xff\xd9"
_FRAMES = {0xC0, 0xC1, 0xC2, 0xC3}  # baseline, extended, progressive, lossless
_PROGRESSIVE, _LOSSLESS = 0xC2, 0xC3
_DAMAGE = re.compile(r"Corrupt JPEG data(?:: (?P<how>.*))?|Premature end|Invalid SOS parameters")
_HOW = {
    "Premature end": "premature end of the file",
    "Invalid SOS parameters": "a scan does not say that it holds all coefficients",
}
_BARE_SCAN = re.compile(rb"(\xff\xda\0(?:\x08\x01.{2}|\x0a\x02.{4}|\x0c\x03.{6}))\0\0\0", re.DOTALL)
_WHOLE_SCAN = rb"\1" + b"\0\x3f\0"
_SMALLEST = {"min_height": 1, "min_width": 1, "min_factor": 8}


def open_jpeg(path: Path, data: bytes) -> CodePicture:
    """Look at the segments of a JPEG file.

    Raises
    ------
    PixelSourceError
        If it is too large, or CMYK.
    ValueError, struct.error
        If it is no JPEG, or cut.
    """
    profile: dict[int, bytes] = {}
    turn, frame, start = 1, None, 2
    for marker, body in jpeg_segments(data):
        start += 4 + len(body)
        if marker in _FRAMES:
            precision, height, width, channels = struct.unpack_from(">BHHB", body)
            check_size(path, width, height)
            frame = (marker, precision, channels)
        elif marker == _APP2 and body.startswith(b"ICC_PROFILE\0"):
            profile[body[12]] = body[14:]
        elif marker == _APP1 and body.startswith(b"Exif\0\0"):
            turn = _exif_orientation(body[6:])
    if frame is None or data.rfind(_JPEG_END) < start:  # the decoder would fill up with grey
        raise ValueError("no frame or no end")
    marker, precision, channels = frame
    if channels == 4:
        raise PixelSourceError(
            Fault(str(path), "", "a CMYK picture", "grey or RGB", "convert it to sRGB")
        )

    def read() -> StoredCodes:
        import imagecodecs

        if marker == _PROGRESSIVE and _lacks_scans(data):
            raise PixelSourceError(_damaged(path, "", "scans that make it fine are missing"))
        if precision == 8 and marker != _LOSSLESS:
            check_jpeg(path, data)
        codes = np.asarray(imagecodecs.jpeg8_decode(data))
        codes = codes[..., None] if codes.ndim == 2 else codes
        icc = b"".join(profile[number] for number in sorted(profile)) or None
        return StoredCodes(upright(codes, turn), 2**precision - 1, icc=icc)

    return CodePicture(channel_names(channels, has_alpha=False), read)


def check_jpeg(path: Path, data: bytes, place: str = "") -> None:
    """Refuse a JPEG of 8 bits whose coded picture is damaged.

    Parameters
    ----------
    path : Path
        The file, for the error.
    data : bytes
        A whole JPEG stream.
    place : str
        Where in the file it is, for the error.

    Raises
    ------
    PixelSourceError
        When the decoder warns that it had to make something up.
    """
    import simplejpeg

    if all(marker != _PROGRESSIVE for marker, _ in jpeg_segments(data)):
        # ITU-T T.81, B.2.3: coefficients 0 to 63; some encoders write zeros, and mean all of them.
        data = _BARE_SCAN.sub(_WHOLE_SCAN, data)
    try:
        simplejpeg.decode_jpeg(data, "GRAY", strict=True, **_SMALLEST)
    except ValueError as error:
        damage = _DAMAGE.search(str(error))
        if damage is None:  # of another kind than it reads
            return
        how = damage["how"] or _HOW.get(damage[0], "codes that do not exist")
        raise PixelSourceError(_damaged(path, place, how)) from None


def _damaged(path: Path, place: str, how: str) -> Fault:
    hint = "save it again, or copy it again"
    return Fault(str(path), place, f"its coded picture is damaged: {how}", "", hint)


def _lacks_scans(data: bytes) -> bool:
    """Whether coefficients of a progressive picture are begun and not told to the last bit.

    ITU-T T.81, G.1.1.1: a scan gives bits of coefficients `first` to `last` of its components down
    to bit `low`; scans behind it refine them, to 0 in the end.
    """
    known: dict[tuple[int, int], int] = {}
    for scan in jpeg_scans(data):
        count = scan[0]
        first, last, bits = scan[1 + 2 * count : 4 + 2 * count]
        for component in scan[1 : 1 + 2 * count : 2]:
            known |= {(component, number): bits & 0xF for number in range(first, last + 1)}
    return any(known.values())


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
