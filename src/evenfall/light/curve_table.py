"""Curves as tables of straight pieces, found by the bits of the value.

The exponent and the first bits of the mantissa of a float32 are, read as an integer, a number that
grows with the value, in even steps within each octave. Shifted right they index a table whose
pieces are as fine near black as near white. Each piece is a straight line ``a + b x`` through the
curve's own values at its ends, so the error against the curve is second order in the step.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from evenfall.system.scratch import BLOCK_PIXELS, buffer

__all__ = ["PIECE_WIDTH", "CurveTable", "CurveTables"]

Planes = npt.NDArray[np.float32]
Doubles = npt.NDArray[np.float64]
Curve = Callable[[Doubles], Doubles]

_MANTISSA_BITS = 23
_PIECE_BITS = 7  # 128 pieces an octave: relative step 2^-7, error about 2^-17 of the curve's bend
PIECE_WIDTH = 2.0**-_PIECE_BITS
"""Widest piece of a table, as a share of the value at its beginning."""
_LOWEST_EXPONENT = -40
_SHIFT = _MANTISSA_BITS - _PIECE_BITS
_CHUNK = 3 * BLOCK_PIXELS


class CurveTable:
    """A curve on values from 0, tabulated for speed.

    Parameters
    ----------
    curve : callable
        Takes and returns float64 arrays; called once, on values from 0 to `top`. Must be finite
        there.
    top : float
        Values above are treated as `top`; a power of two.
    ceiling : float
        Results above are cut off here, exactly.

    Notes
    -----
    Values below 2^-40 lie on one straight piece that starts at ``curve(0)``. Negative values are
    treated as 0. Where the curve has a corner, the piece with the corner cuts it off: by at most a
    quarter of 2^-7 times the value and the change of slope.

    Examples
    --------
    >>> root = CurveTable(np.sqrt, top=4.0)
    >>> x = np.array([0.0, 0.25, 1.0, 9.0], np.float32)
    >>> root(x).round(5).tolist()
    [0.0, 0.5, 1.0, 2.0]
    """

    def __init__(self, curve: Curve, *, top: float, ceiling: float = np.inf) -> None:
        self._pieces = _pieces(curve, top)
        self._ceiling = np.float32(ceiling)
        self._top = np.float32(top)

    def __call__(self, planes: Planes, out: Planes | None = None) -> Planes:
        """Values of the curve.

        Parameters
        ----------
        planes : ndarray of float32, any shape
            Not-a-number gives an arbitrary value of the curve.
        out : ndarray of float32, C-contiguous, optional
            Where the result goes; may be `planes` itself.

        Raises
        ------
        ValueError
            If `out` cannot be written into as it lies in memory, or is of another shape or kind.
        """
        if out is None:
            out = np.empty(planes.shape, np.float32)
        elif not out.flags.c_contiguous or out.shape != planes.shape or out.dtype != np.float32:
            raise ValueError(
                f"out must be C-contiguous float32 of shape {planes.shape}, found {out.dtype} of "
                f"shape {out.shape} and strides {out.strides}"
            )
        values, results = planes.reshape(-1), out.reshape(-1)
        for start in range(0, values.size, _CHUNK):
            part = slice(start, start + _CHUNK)
            self._chunk(values[part], results[part])
        return out

    def _chunk(self, values: Planes, out: Planes) -> None:
        np.clip(values, np.float32(0), self._top, out=out)
        _evaluate(self._pieces, _index(out), out, out)
        if self._ceiling < np.inf:
            np.clip(out, np.float32(-np.inf), self._ceiling, out=out)


class CurveTables:
    """Several curves on the same values, which are looked up once.

    Parameters
    ----------
    curves : sequence of callable
        Each as for `CurveTable`.
    top : float
        Values above are treated as `top`; a power of two.

    Examples
    --------
    >>> both = CurveTables([np.sqrt, np.square], top=4.0)
    >>> roots, squares = np.empty((2, 3), np.float32)
    >>> both(np.array([0.25, 1.0, 9.0], np.float32), (roots, squares))
    >>> roots.tolist(), squares.tolist()
    ([0.5, 1.0, 2.0], [0.0625, 1.0, 16.0])
    """

    def __init__(self, curves: Sequence[Curve], *, top: float) -> None:
        self._tables = [_pieces(curve, top) for curve in curves]
        self._top = np.float32(top)

    def __call__(self, values: Planes, outs: Sequence[Planes]) -> None:
        """Values of all curves.

        Parameters
        ----------
        values : ndarray of float32, shape (n,)
            Left as they are.
        outs : sequence of ndarray of float32, shape (n,)
            Where the results go, one array a curve; none of them is `values`.
        """
        held = np.clip(values, np.float32(0), self._top, out=buffer("held", values.shape))
        index = _index(held)
        for pieces, out in zip(self._tables, outs, strict=True):
            _evaluate(pieces, index, held, out)


def _pieces(curve: Curve, top: float) -> npt.NDArray[np.int64]:
    """Slope and start of every piece, two float32 side by side that one look-up fetches."""
    top_exponent = int(np.log2(top))
    octaves = top_exponent - _LOWEST_EXPONENT
    first = (_LOWEST_EXPONENT + 127 << _PIECE_BITS) - 1
    count = (octaves << _PIECE_BITS) + 1
    numbers = np.arange(1, count + 1, dtype=np.int32) + first
    edges = (numbers << _SHIFT).view(np.float32).astype(np.float64)
    edges = np.concatenate([[0.0], edges])
    values = curve(edges)
    slopes = np.diff(values) / np.diff(edges)
    starts = values[:-1] - slopes * edges[:-1]
    # Repeated at both ends, so that the shifted bits are the index; minus zero wraps to 0.
    ends = (first, (1 << 31 - _SHIFT) - first - count - 1)
    sides = (np.append(slopes, 0.0), np.append(starts, values[-1]))
    padded = [np.pad(side, ends, "edge").astype(np.float32) for side in sides]
    return np.stack(padded, axis=1).view(np.int64)[:, 0]


def _index(values: Planes) -> npt.NDArray[np.intp]:
    """Find the piece of each value, which must lie between 0 and the top."""
    index: npt.NDArray[np.intp] = buffer("table index", values.shape, np.intp)
    return np.right_shift(values.view(np.int32), _SHIFT, out=index)


def _evaluate(
    pieces: npt.NDArray[np.int64], index: npt.NDArray[np.intp], values: Planes, out: Planes
) -> None:
    """Put the values of straight pieces into `out`, which may be `values` itself."""
    fetched = buffer("table pieces", values.shape, np.int64)
    # In range by construction; "wrap" is numpy's quickest mode that writes into an array.
    np.take(pieces, index, out=fetched, mode="wrap")
    sides = fetched.view(np.float32)
    np.multiply(values, sides[0::2], out=out)
    np.add(out, sides[1::2], out=out)
