"""Gain-map JPEG: an ordinary JPEG that HDR displays brighten by a second one behind it.

The finished SDR picture is the base and stays as it is. The gain map holds log2 of HDR over SDR
for each channel; metadata as in ISO 21496-1:2025, the second picture attached as CIPA DC-007
(multi-picture format) says. Displays in between apply a part of the gain.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.deliver.finished import Encoded, Finished
from evenfall.deliver.jpeg import (
    encode_jpeg,
    find_record,
    insert_segments,
    insertion_place,
    segment,
)
from evenfall.deliver.provenance import Provenance
from evenfall.errors import UsageError
from evenfall.light.output_spaces import output_space
from evenfall.light.units import REFERENCE_WHITE_NITS

__all__ = ["encode", "encode_gain_map_jpeg", "find_record"]

_APP2 = 0xE2
_ISO = b"urn:iso:std:iso:ts:21496:-1\0"
_MULTI_CHANNEL, _BASE_COLOUR_SPACE = 0x80, 0x40
_DENOMINATOR = 1 << 20
_OFFSET = 1 / 64  # added to SDR and HDR, so that black has a gain
_MAP_QUALITY = 90
_MPF = b"MPF\0"
_PRIMARY_PICTURE = 0x030000  # CIPA DC-007, table 4: baseline primary picture

Planes = npt.NDArray[np.float32]


@dataclass(frozen=True)
class _GainMap:
    codes: npt.NDArray[np.uint8]
    lowest: npt.NDArray[np.float64]  # log2 of gain by channel, shape (3,)
    highest: npt.NDArray[np.float64]


def encode_gain_map_jpeg(
    codes: npt.NDArray[np.uint8],
    display_linear: Planes,
    *,
    space: str = "sRGB",
    quality: int = 92,
    peak_nits: float = 1000.0,
    provenance: Provenance | None = None,
    dpi: float | None = None,
) -> bytes:
    r"""Gain-map JPEG of an SDR and an HDR rendition of one picture.

    Parameters
    ----------
    codes : ndarray
        SDR rendition, display-encoded, uint8, shape (H, W, 3).
    display_linear : ndarray
        HDR rendition, display-linear in the primaries of `space`, float32, shape (3, H, W); 1 is
        diffuse white, that of the SDR rendition. Below 0 and NaN become 0, cut at the peak.
    space : str
        Output space of both.
    quality : int
        Of the SDR rendition, 1 to 100.
    peak_nits : float
        Luminance at which the whole gain applies, cd/m2; diffuse white counts 203.
    provenance, dpi
        As for a JPEG.

    Raises
    ------
    UsageError
        If the two renditions differ in size.

    Examples
    --------
    >>> sdr = np.full((16, 16, 3), 200, np.uint8)
    >>> data = encode_gain_map_jpeg(sdr, np.full((3, 16, 16), 2.0, np.float32))
    >>> data.count(b"\xff\xd8\xff"), data.count(b"MPF\0")
    (2, 1)
    """
    if codes.shape[:2] != display_linear.shape[1:]:
        raise UsageError(
            f"SDR is {codes.shape[:2]}, HDR {display_linear.shape[1:]} (rows, columns)"
        )
    peak = peak_nits / REFERENCE_WHITE_NITS
    gains = _gain_map(codes, display_linear, space, peak)
    second = insert_segments(
        encode_jpeg(gains.codes, space=None, quality=_MAP_QUALITY),
        segment(_APP2, _ISO + _metadata(gains, float(np.log2(peak)))),
    )
    base = encode_jpeg(codes, space=space, quality=quality, provenance=provenance, dpi=dpi)
    base = insert_segments(base, segment(_APP2, _ISO + bytes(4)))  # versions only
    return _joined(base, second)


def encode(finished: Finished) -> Encoded:
    """Gain-map JPEG of a finished picture."""
    asked = finished.deliverable
    data = encode_gain_map_jpeg(
        finished.codes().astype(np.uint8, copy=False),
        finished.hdr(),
        space=asked.space,
        quality=asked.quality,
        peak_nits=asked.peak_nits,
        provenance=finished.provenance,
        dpi=finished.dpi,
    )
    return Encoded(data)


def _gain_map(
    codes: npt.NDArray[np.uint8], display_linear: Planes, space: str, peak: float
) -> _GainMap:
    decoded = output_space(space).curve.decode(np.arange(256) / 255)
    sdr_of_code = np.log2(decoded + _OFFSET).astype(np.float32)
    _, height, width = display_linear.shape
    gains = np.empty((3, height, width), np.float32)
    for channel in range(3):
        hdr = np.fmax(display_linear[channel], np.float32(0))
        np.minimum(hdr, np.float32(peak), out=hdr)
        np.log2(hdr + np.float32(_OFFSET), out=gains[channel])
        gains[channel] -= sdr_of_code[codes[..., channel]]
    lowest = gains.min(axis=(1, 2)).astype(np.float64)
    highest = np.maximum(gains.max(axis=(1, 2)).astype(np.float64), lowest + 1 / 256)
    lowest, highest = _rounded(lowest), _rounded(highest)
    for channel, (start, end) in enumerate(zip(lowest, highest, strict=True)):
        gains[channel] = (gains[channel] - np.float32(start)) * np.float32(255 / (end - start))
    map_codes = np.clip(np.rint(gains), 0, 255).astype(np.uint8)
    return _GainMap(np.ascontiguousarray(np.moveaxis(map_codes, 0, -1)), lowest, highest)


def _rounded(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.rint(values * _DENOMINATOR) / _DENOMINATOR


def _metadata(gains: _GainMap, headroom: float) -> bytes:
    """Binary metadata of ISO 21496-1, annex C: fractions, per channel."""
    packed = struct.pack(">HHB", 0, 0, _MULTI_CHANNEL | _BASE_COLOUR_SPACE)
    packed += _fraction(0.0) + _fraction(headroom)
    for lowest, highest in zip(gains.lowest, gains.highest, strict=True):
        for value in (lowest, highest, 1.0, _OFFSET, _OFFSET):  # 1: gamma of the map
            packed += _fraction(float(value))
    return packed


def _fraction(value: float) -> bytes:
    return struct.pack(">iI", round(value * _DENOMINATOR), _DENOMINATOR)


def _joined(base: bytes, second: bytes) -> bytes:
    """Both pictures in one file; sizes and places in the base's multi-picture index."""
    size = len(insert_segments(base, _index(0, 0, 0)))
    place = (
        insertion_place(base) + 4 + len(_MPF)
    )  # of the index's own header, where offsets count from
    index = _index(size, len(second), size - place)
    return insert_segments(base, index) + second


def _index(primary: int, second: int, offset: int) -> bytes:
    """Multi-picture index, CIPA DC-007, 5.2."""
    directory = struct.pack(">H", 3)
    directory += struct.pack(">HHI4s", 0xB000, 7, 4, b"0100")
    directory += struct.pack(">HHII", 0xB001, 4, 1, 2)
    directory += struct.pack(">HHII", 0xB002, 7, 32, 8 + 2 + 3 * 12 + 4)
    directory += bytes(4)
    entries = struct.pack(">IIIHH", _PRIMARY_PICTURE, primary, 0, 0, 0)
    entries += struct.pack(">IIIHH", 0, second, offset, 0, 0)
    return segment(_APP2, _MPF + b"MM\0*" + struct.pack(">I", 8) + directory + entries)
