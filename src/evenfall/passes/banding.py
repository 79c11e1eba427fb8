"""Bands of rows in which a part of many layers is read, so that it need not be decoded at once."""

from __future__ import annotations

import math
from collections.abc import Sequence

from evenfall.passes.header import PassHeader

__all__ = ["bands_of"]

_PLAIN_BYTES = 6  # a pixel of three half floats
_MANY = 4  # as many times as large as a plain pass, a part is read in bands


def bands_of(
    headers: Sequence[PassHeader], size: tuple[int, int], multiple: int = 1
) -> list[slice]:
    """Cut a view into bands, of which each takes no more memory than a pass in a file of its own.

    There is one band of all rows when no part holds much more than a pass, and when one can only be
    read as a whole.

    Parameters
    ----------
    headers : sequence of PassHeader
        Of the pictures that are to be read.
    size : tuple of int
        Width and height of the view.
    multiple : int
        Of which bands begin at multiples.
    """
    width, height = size
    pass_bytes = width * _PLAIN_BYTES
    most = max((header.row_bytes for header in headers), default=0)
    if not all(header.row_bytes for header in headers) or most <= _MANY * pass_bytes:
        return [slice(0, height)]
    step = math.lcm(max(header.chunk_rows for header in headers), multiple)
    rows = max(step, height * pass_bytes // most // step * step)
    return [slice(top, min(top + rows, height)) for top in range(0, height, rows)]
