"""The folder of what is kept between runs; it may be deleted at any time."""

from __future__ import annotations

import os
import sys
from pathlib import Path

__all__ = ["cache_folder"]


def cache_folder() -> Path:
    """Folder of what is kept between runs: EVENFALL_CACHE, or the system's place for caches."""
    if chosen := os.environ.get("EVENFALL_CACHE"):
        return Path(chosen)
    try:
        return _caches_of_the_system() / "evenfall"
    except RuntimeError:  # a user without a home, as in containers: nothing can be kept
        return Path(os.devnull) / "evenfall"


def _caches_of_the_system() -> Path:
    """Give %LOCALAPPDATA%, ~/Library/Caches, or as the XDG Base Directory Specification says."""
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
