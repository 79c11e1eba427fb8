"""Decoding in a process of its own, for codecs whose decoder a damaged file can crash.

A JPEG 2000 header with one changed number makes the decoder of OpenEXR 3.5.3 write outside its
memory. What happens in another process ends there.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from evenfall.passes.image import Array
from evenfall.system.apart import run_apart

__all__ = ["decode_apart"]

_PROGRAM = Path(__file__).with_name("_decoder_process.py")
_OWN_ADDRESS_SPACE = 4 << 30
"""Bytes for the interpreter, its libraries and their threads; address space, not memory."""

_LEAST_SECONDS, _BYTES_PER_SECOND = 30, 4 << 20  # of processor time
_PATIENCE = 20  # times as long by the clock, on a machine that is busy

Shapes = Mapping[str, tuple[np.dtype[Any], tuple[int, ...]]]


def decode_apart(data: bytes, shapes: Shapes, *, threads: int = 1) -> dict[str, Array]:
    """Decode a single-part file in another process.

    Parameters
    ----------
    data : bytes
        The file.
    shapes : mapping of str to (dtype, shape)
        The channels that it holds, in the order of their names.
    threads : int
        Threads of the decoder.

    Returns
    -------
    dict of str to ndarray
        By channel name; empty when the file could not be decoded, or the decoder crashed or hung.
    """
    pixels = {name: np.empty(shape, dtype) for name, (dtype, shape) in shapes.items()}
    total = sum(plane.nbytes for plane in pixels.values())
    address_space = _OWN_ADDRESS_SPACE + 4 * total
    seconds = _LEAST_SECONDS + total // _BYTES_PER_SECOND
    out = run_apart(
        _PROGRAM,
        [str(threads), str(seconds), str(address_space)],
        data,
        seconds=_PATIENCE * seconds,
    )
    if out is None or len(out) != total:
        return {}
    place = 0
    for plane in pixels.values():
        plane[...] = np.frombuffer(out, plane.dtype, plane.size, place).reshape(plane.shape)
        place += plane.nbytes
    return pixels
