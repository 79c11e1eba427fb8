"""How many processors there are to work with."""

from __future__ import annotations

import os

__all__ = ["default_workers"]


def default_workers() -> int:
    """Count the processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
