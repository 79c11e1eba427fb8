"""ICC profiles of the output spaces, written byte by byte so that they never change.

Matrix/TRC display profiles, version 4 (ICC.1:2022): colorants adapted to the D50 of the profile
connection space with Bradford's matrix (annex E), parametric curves (10.18), the adaptation in the
`chad` tag, and the MD5 of the profile as its identifier (7.2.18). The date in them is fixed.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Sequence
from functools import cache

import numpy as np
import numpy.typing as npt

from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import ICC_WHITE, ICC_WHITE_XY, adaptation_matrix, colorants

__all__ = ["icc_profile"]

_VERSION = 0x04400000
_DATE = (2025, 1, 1, 0, 0, 0)
_COPYRIGHT = "No rights reserved"

Matrix = npt.NDArray[np.float64]


@cache
def icc_profile(space: str) -> bytes:
    """Profile of an output space; always the same bytes.

    Parameters
    ----------
    space : str
        "sRGB", "Display P3", "Adobe RGB (1998) compatible" or "BT.709" (shown as BT.1886 says).

    Raises
    ------
    UsageError
        If no such output space exists.

    Examples
    --------
    >>> profile = icc_profile("Display P3")
    >>> profile[36:40], len(profile) == int.from_bytes(profile[:4], "big")
    (b'acsp', True)
    """
    described = output_space(space)
    red, green, blue = colorants(described.rgb).T
    curve = _parametric(*described.curve.parametric)
    adaptation = adaptation_matrix(described.rgb.white, ICC_WHITE_XY)
    tags = {
        b"desc": _text(described.profile_name),
        b"cprt": _text(_COPYRIGHT),
        b"wtpt": _xyz(ICC_WHITE),
        b"chad": b"sf32" + bytes(4) + _fixed(adaptation.ravel()),
        b"rXYZ": _xyz(red),
        b"gXYZ": _xyz(green),
        b"bXYZ": _xyz(blue),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    return _assemble(tags)


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
        bytes(4), 0, 0, _fixed(ICC_WHITE), bytes(4), bytes(16), bytes(28),
    )  # fmt: skip


def _text(text: str) -> bytes:
    encoded = text.encode("utf-16-be")
    head = b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(encoded), 28)
    return head + encoded


def _xyz(values: Sequence[float] | Matrix) -> bytes:
    return b"XYZ " + bytes(4) + _fixed(values)


def _parametric(kind: int, parameters: Sequence[float]) -> bytes:
    return b"para" + bytes(4) + struct.pack(">HH", kind, 0) + _fixed(parameters)


def _fixed(values: Sequence[float] | Matrix) -> bytes:
    """Numbers as s15Fixed16, nearest."""
    return b"".join(struct.pack(">i", round(float(value) * 65536)) for value in values)
