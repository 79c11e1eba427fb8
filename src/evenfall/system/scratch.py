"""Working memory that is kept between strips.

Fresh arrays of this size come from the operating system page by page, which costs more than the
arithmetic on them. Each thread keeps its own few buffers instead.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["BLOCK_PIXELS", "blocks", "buffer"]

BLOCK_PIXELS = 98_304
"""Pixels worked on at a time. Smaller blocks would stay in nearer caches, but threads would wait
for each other more often: between two operations each needs the interpreter for a moment."""

_local = threading.local()


def buffer(name: str, shape: tuple[int, ...], dtype: npt.DTypeLike = np.float32) -> Any:
    """Uninitialised array that this thread keeps under a name and hands out again.

    Parameters
    ----------
    name : str
        Whoever asks for the same name in the same thread gets the same memory.
    shape : tuple of int
    dtype : dtype

    Examples
    --------
    >>> first = buffer("example", (2, 3))
    >>> np.shares_memory(first, buffer("example", (3,)))
    True
    """
    kept: dict[str, npt.NDArray[np.uint8]] = _local.__dict__
    needed = math.prod(shape) * np.dtype(dtype).itemsize
    memory = kept.get(name)
    if memory is None or memory.size < needed:
        memory = kept[name] = np.empty(needed, np.uint8)
    return memory[:needed].view(dtype).reshape(shape)


def blocks(pixels: int) -> Iterator[slice]:
    """Slices that cut a number of pixels into blocks.

    Examples
    --------
    >>> list(blocks(100_000))
    [slice(0, 98304, None), slice(98304, 100000, None)]
    """
    for start in range(0, pixels, BLOCK_PIXELS):
        yield slice(start, min(start + BLOCK_PIXELS, pixels))
