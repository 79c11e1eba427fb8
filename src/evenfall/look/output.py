"""Output spaces: the primaries of a deliverable and its display encoding."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from evenfall.errors import Fault, UsageError
from evenfall.light.primaries import ADOBE_RGB, BT709, DISPLAY_P3, RgbSpace
from evenfall.look.arrays import Matrix, Planes
from evenfall.look.table import CurveTable

__all__ = [
    "OUTPUT_SPACES",
    "OutputSpace",
    "decode_srgb",
    "encode_srgb",
    "output_space",
]

ADOBE_GAMMA = 563 / 256  # Adobe RGB (1998) colour image encoding, 2005-05, 4.3.4.2
BT1886_GAMMA = 2.4  # ITU-R BT.1886, annex 1, with a black of 0


def encode_srgb(linear: Matrix) -> Matrix:
    """Encode display-linear values as sRGB.

    Source: IEC 61966-2-1:1999. Negative values are mirrored.

    Examples
    --------
    >>> encode_srgb(np.array([0.0, 0.18, 1.0])).round(6).tolist()
    [0.0, 0.461356, 1.0]
    """
    size = np.abs(linear)
    curved = 1.055 * np.maximum(size, 0.0031308) ** (1 / 2.4) - 0.055
    encoded: Matrix = np.copysign(np.where(size <= 0.0031308, 12.92 * size, curved), linear)
    return encoded


def decode_srgb(encoded: Matrix) -> Matrix:
    """Decode sRGB to display-linear values.

    Source: IEC 61966-2-1:1999. Negative values are mirrored.

    Examples
    --------
    >>> decode_srgb(np.array([0.0, 0.5, 1.0])).round(6).tolist()
    [0.0, 0.214041, 1.0]
    """
    size = np.abs(encoded)
    curved = ((np.maximum(size, 0.04045) + 0.055) / 1.055) ** 2.4
    linear: Matrix = np.copysign(np.where(size <= 0.04045, size / 12.92, curved), encoded)
    return linear


@dataclass(frozen=True)
class OutputSpace:
    """A space that deliverables are encoded for.

    Attributes
    ----------
    name : str
        As recipes write it.
    rgb : RgbSpace
        Primaries and white.
    encode_exactly, decode_exactly : callable
        The encoding and its inverse on float64 arrays.
    """

    name: str
    rgb: RgbSpace
    encode_exactly: Callable[[Matrix], Matrix]
    decode_exactly: Callable[[Matrix], Matrix]

    def encode(self, linear: Planes, out: Planes | None = None) -> Planes:
        """Encode display-linear float32 values; what lies outside 0 to 1 is cut off.

        Quick: through a table, within 2e-5 of the exact encoding.

        Parameters
        ----------
        linear : ndarray of float32, C-contiguous, any shape
        out : ndarray of float32, optional
            Where the result goes; may be `linear` itself.

        Examples
        --------
        >>> encoded = output_space("sRGB").encode(np.full((3, 1, 1), 0.18, np.float32))
        >>> encoded.ravel().astype(float).round(4).tolist()
        [0.4614, 0.4614, 0.4614]
        """
        return _table(self.name, "encode")(linear, out)

    def decode(self, encoded: Planes, out: Planes | None = None) -> Planes:
        """Decode to display-linear float32 values; what lies outside 0 to 1 is cut off.

        Parameters
        ----------
        encoded : ndarray of float32, C-contiguous, any shape
        out : ndarray of float32, optional
            Where the result goes; may be `encoded` itself.
        """
        return _table(self.name, "decode")(encoded, out)


def _power(exponent: float) -> Callable[[Matrix], Matrix]:
    def curve(values: Matrix) -> Matrix:
        mirrored: Matrix = np.copysign(np.abs(values) ** exponent, values)
        return mirrored

    return curve


OUTPUT_SPACES = {
    space.name: space
    for space in (
        OutputSpace("sRGB", BT709, encode_srgb, decode_srgb),
        OutputSpace("Display P3", DISPLAY_P3, encode_srgb, decode_srgb),
        OutputSpace(
            "Adobe RGB (1998) compatible", ADOBE_RGB, _power(1 / ADOBE_GAMMA), _power(ADOBE_GAMMA)
        ),
        OutputSpace("BT.709", BT709, _power(1 / BT1886_GAMMA), _power(BT1886_GAMMA)),
    )
}
"""Output spaces by name. BT.709 is encoded for the reference display of BT.1886, whose decoding is
a plain power of 2.4: what the look made is what that display shows. (The camera curve of BT.709
itself assumes that the display, not the look, makes the picture.)"""


@cache
def _table(name: str, way: str) -> CurveTable:
    space = OUTPUT_SPACES[name]
    return CurveTable(space.encode_exactly if way == "encode" else space.decode_exactly, top=1.0)


def output_space(name: str) -> OutputSpace:
    """Output space of that name.

    Raises
    ------
    UsageError
        When there is none.

    Examples
    --------
    >>> output_space("Display P3").rgb.green
    (0.265, 0.69)
    """
    try:
        return OUTPUT_SPACES[name]
    except KeyError:
        allowed = ", ".join(OUTPUT_SPACES)
        raise UsageError(
            Fault("", "space", f'found "{name}"', f"expected one of {allowed}")
        ) from None
