"""Memory of commands that read pictures."""

from __future__ import annotations

import sys

__all__ = ["keep_freed_memory"]

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3  # of glibc's mallopt(3)
_KEPT_BYTES = 1 << 30
_LARGEST_KEPT_BYTES = 32 << 20  # the most that glibc takes; a channel of 4096 x 2304 halves


def keep_freed_memory() -> None:
    """Have glibc hand out again what one pass has freed to the next.

    Otherwise every array goes back to the system at once, and the next one comes from it again
    page by page: a tenth of a run's time. Nothing happens with other C libraries.
    """
    if sys.platform != "linux":
        return
    import ctypes

    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(_MMAP_THRESHOLD, _LARGEST_KEPT_BYTES)
        mallopt(_TRIM_THRESHOLD, _KEPT_BYTES)
