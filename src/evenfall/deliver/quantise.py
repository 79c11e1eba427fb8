"""From display-encoded floats to whole codes, with fair dithering.

Dithering adds a threshold u in (0, 1) before rounding down: code = floor(v N + u). Over thresholds
spread evenly the mean code is v N exactly, so a gradient keeps its mean everywhere and does not
band, and a value that is a whole code already, 0 and 1 among them, stays clean. Thresholds are blue
noise by absolute pixel position: any split into strips of rows gives the same bytes.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenfall.deliver.blue_noise import TILE, thresholds

__all__ = ["quantise"]

_CHANNEL_SHIFT = ((0, 0), (41, 83), (89, 31))  # rows, columns: noise of R, G, B is not alike
_COLUMNS_A_FRAME, _ROWS_A_FRAME = 0.7548776662, 0.5698402910
"""Shares of the tile by which thresholds move: 1/g and 1/g^2 with g^3 = g + 1 (R2, M. Roberts)."""
_BLOCK_BYTES = 1 << 20  # rows handled at once fit the processor's cache
_BELOW_TOP = {8: np.float32(255.99998), 16: np.float32(65535.996)}  # largest floats under N + 1

Codes = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


def quantise(
    encoded: npt.NDArray[np.float32],
    bits: Literal[8, 16],
    *,
    dither: bool = True,
    first_row: int = 0,
    phase: int = 0,
    out: Codes | None = None,
) -> Codes:
    """Whole codes of a strip of rows.

    Parameters
    ----------
    encoded : ndarray
        Display-encoded planes, shape (3, h, W) or (4, h, W) with alpha last, float32, nominally
        0 to 1. Values outside are clipped; NaN becomes 0. Not changed.
    bits : {8, 16}
        Bits per channel.
    dither : bool
        Fair dithering; without it values are rounded half up. Alpha is never dithered.
    first_row : int
        Absolute row of the strip's first row, so that strips join without a seam.
    phase : int
        Number of a frame: each has its thresholds in another place, so that dither does not stand
        still in front of a moving picture.
    out : ndarray, optional
        Where the codes go, shape (h, W, channels).

    Returns
    -------
    ndarray
        uint8 or uint16, shape (h, W, channels), C-contiguous unless `out` is given.

    Examples
    --------
    >>> grey = np.full((3, 128, 128), 100.25 / 255, np.float32)
    >>> codes = quantise(grey, 8)
    >>> sorted(set(codes.ravel().tolist())), round(float(codes.mean()), 3)
    ([100, 101], 100.25)
    """
    channels, height, width = encoded.shape
    codes = _empty((height, width, channels), bits) if out is None else out
    scale = np.float32(2**bits - 1)
    rows = max(1, _BLOCK_BYTES // (4 * max(width, 1)))
    scratch = np.empty((min(rows, max(height, 1)), width), np.float32)
    # Numpy has vector code for the larger of two arrays, not of an array and a number.
    lowest, highest = np.zeros(width, np.float32), np.full(width, _BELOW_TOP[bits])
    for top in range(0, height, rows):
        bottom = min(top + rows, height)
        block = scratch[: bottom - top]
        for channel in range(channels):
            np.multiply(encoded[channel, top:bottom], scale, out=block)
            if dither and channel < len(_CHANNEL_SHIFT):
                _add_thresholds(block, first_row + top, channel, phase)
            else:
                block += np.float32(0.5)
            np.fmax(block, lowest, out=block)  # NaN too
            np.minimum(block, highest, out=block)
            np.copyto(codes[top:bottom, :, channel], block, casting="unsafe")
    return codes


def _empty(shape: tuple[int, int, int], bits: int) -> Codes:
    return np.empty(shape, np.uint8) if bits == 8 else np.empty(shape, np.uint16)


def _add_thresholds(
    block: npt.NDArray[np.float32], first_row: int, channel: int, phase: int
) -> None:
    row_shift, column_shift = _CHANNEL_SHIFT[channel]
    row_shift += int(phase * _ROWS_A_FRAME % 1 * TILE)
    column_shift = (column_shift + int(phase * _COLUMNS_A_FRAME % 1 * TILE)) % TILE
    height, width = block.shape
    tile = _wide_thresholds(-(-width // TILE))[:, column_shift : column_shift + width]
    done = 0
    while done < height:
        start = (first_row + done + row_shift) % TILE
        count = min(TILE - start, height - done)
        block[done : done + count] += tile[start : start + count]
        done += count


@lru_cache(maxsize=2)
def _wide_thresholds(tiles: int) -> npt.NDArray[np.float32]:
    """Thresholds repeated over the width and one tile more, for the channels' shifts."""
    return np.tile(thresholds(), (1, tiles + 1))
