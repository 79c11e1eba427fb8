"""ICC profiles of the output spaces, written byte by byte so that they never change.

Matrix/TRC display profiles, version 4 (ICC.1:2022): colorants adapted to the D50 of the profile
connection space with Bradford's matrix (annex E), parametric curves (10.18), the adaptation in the
`chad` tag, and the MD5 of the profile as its identifier (7.2.18). The date in them is fixed.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from evenfall.light.primaries import (
    ADOBE_RGB,
    BT709,
    DISPLAY_P3,
    RgbSpace,
    adaptation_matrix,
    rgb_to_xyz,
)

__all__ = ["OUTPUT_SPACES", "colorants", "icc_profile"]

_D50 = (0.9642, 1.0, 0.8249)  # ICC.1:2022, 7.2.16
_D50_XY = (_D50[0] / sum(_D50), _D50[1] / sum(_D50))
_VERSION = 0x04400000
_DATE = (2025, 1, 1, 0, 0, 0)
_COPYRIGHT = "No rights reserved"

Matrix = npt.NDArray[np.float64]


@dataclass(frozen=True)
class _Curve:
    """A parametric curve of ICC.1:2022 table 68: its type and its parameters."""

    kind: int
    parameters: tuple[float, ...]


_SRGB_CURVE = _Curve(3, (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))  # IEC 61966-2-1
_ADOBE_CURVE = _Curve(0, (563 / 256,))  # Adobe RGB (1998) encoding, 2005-05, 4.3.4.2
_BT1886_CURVE = _Curve(0, (2.4,))  # BT.1886 annex 1 with a black of 0


@dataclass(frozen=True)
class _Space:
    primaries: RgbSpace
    curve: _Curve
    description: str


OUTPUT_SPACES: dict[str, _Space] = {
    "sRGB": _Space(BT709, _SRGB_CURVE, "sRGB"),
    "Display P3": _Space(DISPLAY_P3, _SRGB_CURVE, "Display P3"),
    "Adobe RGB (1998) compatible": _Space(
        ADOBE_RGB, _ADOBE_CURVE, "Compatible with Adobe RGB (1998)"
    ),
    "BT.709": _Space(BT709, _BT1886_CURVE, "BT.709 with BT.1886 display"),
}


@cache
def icc_profile(space: str) -> bytes:
    """Profile of an output space; always the same bytes.

    Parameters
    ----------
    space : str
        "sRGB", "Display P3", "Adobe RGB (1998) compatible" or "BT.709" (shown as BT.1886 says).

    Raises
    ------
    KeyError
        If no such output space exists.

    Examples
    --------
    >>> profile = icc_profile("Display P3")
    >>> profile[36:40], len(profile) == int.from_bytes(profile[:4], "big")
    (b'acsp', True)
    """
    described = OUTPUT_SPACES[space]
    red, green, blue = colorants(described.primaries).T
    curve = _parametric(described.curve)
    adaptation = adaptation_matrix(described.primaries.white, _D50_XY)
    tags = {
        b"desc": _text(described.description),
        b"cprt": _text(_COPYRIGHT),
        b"wtpt": _xyz(_D50),
        b"chad": b"sf32" + bytes(4) + _fixed(adaptation.ravel()),
        b"rXYZ": _xyz(red),
        b"gXYZ": _xyz(green),
        b"bXYZ": _xyz(blue),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    return _assemble(tags)


def colorants(primaries: RgbSpace) -> Matrix:
    """XYZ of red, green, blue as columns, adapted to D50 with Bradford's matrix; shape (3, 3).

    Examples
    --------
    >>> colorants(BT709)[0].round(3).tolist()
    [0.436, 0.385, 0.143]
    """
    adapted: Matrix = adaptation_matrix(primaries.white, _D50_XY) @ rgb_to_xyz(primaries)
    return adapted


def _assemble(tags: dict[bytes, bytes]) -> bytes:
    offset = 128 + 4 + 12 * len(tags)
    table, body, placed = b"", b"", dict[bytes, int]()
    for name, data in tags.items():
        if data not in placed:  # equal curves are stored once
            placed[data] = offset + len(body)
            body += data + bytes(-len(data) % 4)
        table += struct.pack(">4sII", name, placed[data], len(data))
    size = offset + len(body)
    header = _header(size)
    profile = header + struct.pack(">I", len(tags)) + table + body
    identifier = hashlib.md5(profile, usedforsecurity=False).digest()
    return profile[:84] + identifier + profile[100:]


def _header(size: int) -> bytes:
    """Write the header with flags, intent (perceptual, 0) and identifier zero."""
    return struct.pack(
        ">II I 4s4s4s 6H 4s 4s I 4s 4s Q I 12s 4s 16s 28s",
        size, 0, _VERSION, b"mntr", b"RGB ", b"XYZ ", *_DATE, b"acsp", bytes(4), 0, bytes(4),
        bytes(4), 0, 0, _fixed(_D50), bytes(4), bytes(16), bytes(28),
    )  # fmt: skip


def _text(text: str) -> bytes:
    encoded = text.encode("utf-16-be")
    head = b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(encoded), 28)
    return head + encoded


def _xyz(values: Sequence[float] | Matrix) -> bytes:
    return b"XYZ " + bytes(4) + _fixed(values)


def _parametric(curve: _Curve) -> bytes:
    return b"para" + bytes(4) + struct.pack(">HH", curve.kind, 0) + _fixed(curve.parameters)


def _fixed(values: Sequence[float] | Matrix) -> bytes:
    """Numbers as s15Fixed16, nearest."""
    return b"".join(struct.pack(">i", round(float(value) * 65536)) for value in values)
