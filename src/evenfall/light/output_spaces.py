"""Output spaces: the primaries of a deliverable and its display encoding."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, UsageError
from evenfall.light.code_points import TRANSFER_SRGB
from evenfall.light.curve_table import CurveTable
from evenfall.light.primaries import ADOBE_RGB, BT709, DISPLAY_P3, RgbSpace
from evenfall.light.transfer import ADOBE_RGB_CURVE, BT1886_CURVE, SRGB_CURVE, TransferCurve

__all__ = ["OUTPUT_SPACES", "OutputSpace", "output_space"]

Planes = npt.NDArray[np.float32]


@dataclass(frozen=True)
class OutputSpace:
    """A space that deliverables are encoded for.

    Attributes
    ----------
    name : str
        As recipes write it.
    rgb : RgbSpace
        Primaries and white.
    curve : TransferCurve
        The encoding, exactly.
    profile_name : str
        What its ICC profile says that it is.
    transfer_code : int or None
        The encoding's code by ITU-T H.273, if it has one.
    """

    name: str
    rgb: RgbSpace
    curve: TransferCurve
    profile_name: str
    transfer_code: int | None = None

    def encode(self, linear: Planes, out: Planes | None = None) -> Planes:
        """Encode display-linear float32 values; what lies outside 0 to 1 is cut off.

        Quick: through a table, within 2e-5 of the exact encoding.

        Parameters
        ----------
        linear : ndarray of float32, any shape
        out : ndarray of float32, C-contiguous, optional
            Where the result goes; may be `linear` itself.

        Raises
        ------
        ValueError
            If `out` cannot be written into as it lies in memory, or is of another shape or kind.

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
        encoded : ndarray of float32, any shape
        out : ndarray of float32, C-contiguous, optional
            Where the result goes; may be `encoded` itself.

        Raises
        ------
        ValueError
            As for `encode`.
        """
        return _table(self.name, "decode")(encoded, out)


OUTPUT_SPACES = {
    space.name: space
    for space in (
        OutputSpace("sRGB", BT709, SRGB_CURVE, "sRGB", TRANSFER_SRGB),
        OutputSpace("Display P3", DISPLAY_P3, SRGB_CURVE, "Display P3", TRANSFER_SRGB),
        OutputSpace(
            "Adobe RGB (1998) compatible",
            ADOBE_RGB,
            ADOBE_RGB_CURVE,
            "Compatible with Adobe RGB (1998)",
        ),
        OutputSpace("BT.709", BT709, BT1886_CURVE, "BT.709 with BT.1886 display"),
    )
}
"""Output spaces by name. BT.709 is encoded for the reference display of BT.1886, whose decoding is
a plain power of 2.4: what the look made is what that display shows. (The camera curve of BT.709
itself assumes that the display, not the look, makes the picture.)"""


@cache
def _table(name: str, way: str) -> CurveTable:
    space = OUTPUT_SPACES[name]
    return CurveTable(space.curve.encode if way == "encode" else space.curve.decode, top=1.0)


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
