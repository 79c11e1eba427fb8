"""Transfer functions: from light to the signal that stands for it, and back.

Each works on arrays of float32 or float64 of any shape and keeps their kind.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

__all__ = [
    "ADOBE_RGB_CURVE",
    "BT1886_CURVE",
    "SRGB_CURVE",
    "TransferCurve",
    "decode_pq",
    "decode_srgb",
    "encode_hlg",
    "encode_pq",
    "encode_srgb",
]

Values = TypeVar("Values", npt.NDArray[np.float32], npt.NDArray[np.float64])
Doubles = npt.NDArray[np.float64]

# IEC 61966-2-1:1999
_SRGB_EXPONENT, _SRGB_OFFSET, _SRGB_SLOPE = 2.4, 0.055, 12.92
_SRGB_LINEAR_TO, _SRGB_ENCODED_TO = 0.0031308, 0.04045

_ADOBE_GAMMA = 563 / 256  # Adobe RGB (1998) colour image encoding, 2005-05, 4.3.4.2
_BT1886_GAMMA = 2.4  # ITU-R BT.1886, annex 1, with a black of 0

# SMPTE ST 2084:2014, 5.3; ITU-R BT.2100-2 table 4
_M1, _M2 = 2610 / 16384, 2523 / 4096 * 128
_C1, _C2, _C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
_PQ_PEAK_NITS = 10000.0

_HLG_A, _HLG_B, _HLG_C, _HLG_GAMMA = 0.17883277, 0.28466892, 0.55991073, 1.2  # BT.2100-2 table 5


def encode_srgb(linear: Values) -> Values:
    """Encode display-linear values as sRGB.

    Source: IEC 61966-2-1:1999. Negative values are mirrored, values above 1 go on.

    Examples
    --------
    >>> encode_srgb(np.array([0.0, 0.18, 1.0])).round(6).tolist()
    [0.0, 0.461356, 1.0]
    """
    size = np.abs(linear)
    raised = np.maximum(size, _SRGB_LINEAR_TO) ** (1 / _SRGB_EXPONENT)
    curved = (1 + _SRGB_OFFSET) * raised - _SRGB_OFFSET
    encoded: Values = np.copysign(
        np.where(size <= _SRGB_LINEAR_TO, _SRGB_SLOPE * size, curved), linear
    )
    return encoded


def decode_srgb(encoded: Values) -> Values:
    """Decode sRGB to display-linear values.

    Source: IEC 61966-2-1:1999. Negative values are mirrored, values above 1 go on.

    Examples
    --------
    >>> decode_srgb(np.array([0.0, 0.5, 1.0])).round(6).tolist()
    [0.0, 0.214041, 1.0]
    """
    size = np.abs(encoded)
    base = (np.maximum(size, _SRGB_ENCODED_TO) + _SRGB_OFFSET) / (1 + _SRGB_OFFSET)
    linear: Values = np.copysign(
        np.where(size <= _SRGB_ENCODED_TO, size / _SRGB_SLOPE, base**_SRGB_EXPONENT), encoded
    )
    return linear


def encode_hlg(nits: Values, peak_nits: float = 1000.0) -> Values:
    """HLG signal 0 to 1 of display light in cd/m2, three planes of BT.2020 (ITU-R BT.2100-2).

    The inverse of the reference OOTF, for a display of the peak, and the OETF of table 5.

    Examples
    --------
    >>> white = np.full((3, 1), 203.0)  # 75 % by ITU-R BT.2408-7, table 1
    >>> encode_hlg(white).round(2).ravel().tolist(), encode_hlg(white * 0 + 1000).round(3)[0, 0]
    ([0.75, 0.75, 0.75], 1.0)
    """
    gamma = _HLG_GAMMA + 0.42 * np.log10(peak_nits / 1000)
    red, green, blue = nits
    luminance = np.maximum(0.2627 * red + 0.6780 * green + 0.0593 * blue, 1e-6) / peak_nits
    scene = np.clip(nits / peak_nits * luminance ** ((1 - gamma) / gamma), 0, 1)
    low = np.sqrt(3 * scene)
    high = _HLG_A * np.log(np.maximum(12 * scene - _HLG_B, 1e-6)) + _HLG_C
    signal: Values = np.where(scene <= 1 / 12, low, high).astype(nits.dtype)
    return signal


def encode_pq(nits: Values) -> Values:
    """PQ signal 0 to 1 of luminance in cd/m2, 0 to 10,000 (SMPTE ST 2084:2014).

    Examples
    --------
    >>> encode_pq(np.array([0.0, 100.0, 203.0, 10000.0])).round(4).tolist()
    [0.0, 0.5081, 0.5807, 1.0]
    """
    raised = np.power(nits / nits.dtype.type(_PQ_PEAK_NITS), nits.dtype.type(_M1))
    signal: Values = np.power((_C1 + _C2 * raised) / (1 + _C3 * raised), nits.dtype.type(_M2))
    return signal


def decode_pq(signal: Values) -> Values:
    """Luminance in cd/m2 of a PQ signal from 0 to 1 (SMPTE ST 2084:2014).

    Examples
    --------
    >>> decode_pq(np.array([0.0, 0.5080784, 1.0])).round(1).tolist()
    [0.0, 100.0, 10000.0]
    """
    kind = signal.dtype.type
    root = np.power(signal, kind(1 / _M2))
    above = np.maximum(root - kind(_C1), kind(0))
    nits: Values = np.power(above / (kind(_C2) - kind(_C3) * root), kind(1 / _M1))
    return nits * kind(_PQ_PEAK_NITS)


@dataclass(frozen=True)
class TransferCurve:
    """The encoding of a display, and how files name it.

    Parameters
    ----------
    encode, decode : callable
        On float64 arrays; negative values are mirrored.
    parametric : tuple of (int, tuple of float)
        The decoding as a parametric curve of ICC.1:2022, table 68: its type and its parameters.
    nearest_gamma : float
        Exponent of decoding that comes nearest, where a file holds no more than that.
    """

    encode: Callable[[Doubles], Doubles]
    decode: Callable[[Doubles], Doubles]
    parametric: tuple[int, tuple[float, ...]]
    nearest_gamma: float


def _power(exponent: float) -> Callable[[Doubles], Doubles]:
    def curve(values: Doubles) -> Doubles:
        mirrored: Doubles = np.copysign(np.abs(values) ** exponent, values)
        return mirrored

    return curve


def _gamma(exponent: float) -> TransferCurve:
    return TransferCurve(_power(1 / exponent), _power(exponent), (0, (exponent,)), exponent)


SRGB_CURVE = TransferCurve(
    encode_srgb,
    decode_srgb,
    (
        3,
        (
            _SRGB_EXPONENT,
            1 / (1 + _SRGB_OFFSET),
            _SRGB_OFFSET / (1 + _SRGB_OFFSET),
            1 / _SRGB_SLOPE,
            _SRGB_ENCODED_TO,
        ),
    ),
    2.2,  # PNG Third Edition, 11.3.2.5
)
ADOBE_RGB_CURVE = _gamma(_ADOBE_GAMMA)
BT1886_CURVE = _gamma(_BT1886_GAMMA)
