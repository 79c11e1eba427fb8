"""How many passes may be in memory at once."""

from __future__ import annotations

__all__ = ["passes_at_once"]

_BUDGET_BYTES = 2 << 30
_BYTES_PER_PIXEL = 10  # three half floats, and the compressed file while it is being decoded


def passes_at_once(size: tuple[int, int], workers: int) -> int:
    """How many passes may be decoded at once: one a worker, but not more than 2 GiB of them.

    Two are always allowed, so that one is decoded while the other is mixed.

    Examples
    --------
    >>> passes_at_once((3840, 2160), 16), passes_at_once((15360, 8640), 16)
    (16, 2)
    """
    within = _BUDGET_BYTES // (size[0] * size[1] * _BYTES_PER_PIXEL)
    return min(workers, max(2, within))
