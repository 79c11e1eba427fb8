"""How many threads there is work, and memory, for."""

from __future__ import annotations

import os

from evenfall.errors import UsageError

__all__ = ["default_workers", "passes_at_once", "workers_of"]

_BUDGET_BYTES = 2 << 30
_MIXED_BYTES = 10  # a pixel: three half floats, and the compressed file while it is being decoded


def default_workers() -> int:
    """Count the processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def workers_of(asked: int | None) -> int:
    """Give the number of threads that was asked for, or one a processor.

    Raises
    ------
    UsageError
        When it is no whole number of 1 or more.

    Examples
    --------
    >>> workers_of(3)
    3
    """
    if asked is None:
        return default_workers()
    if isinstance(asked, bool) or not isinstance(asked, int) or asked < 1:
        raise UsageError(f"workers is a whole number of 1 or more, found {asked!r}")
    return asked


def passes_at_once(
    size: tuple[int, int], workers: int, *, bytes_a_pixel: int = _MIXED_BYTES, least: int = 2
) -> int:
    """How many passes may be worked on at once: one a worker, but not more than 2 GiB of them.

    Parameters
    ----------
    size : tuple of int
        Width and height in pixels.
    workers : int
        Threads.
    bytes_a_pixel : int
        Memory that one pass needs while it is worked on.
    least : int
        As many are always allowed; two, so that one is decoded while the other is mixed.

    Examples
    --------
    >>> passes_at_once((3840, 2160), 16), passes_at_once((15360, 8640), 16)
    (16, 2)
    """
    within = _BUDGET_BYTES // (size[0] * size[1] * bytes_a_pixel)
    return min(workers, max(least, within))
