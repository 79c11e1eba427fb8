"""Where things are kept between runs."""

from __future__ import annotations

import os
import sys
from pathlib import Path

__all__ = ["cache_folder"]


def cache_folder() -> Path:
    """Folder of what is kept between runs: EVENFALL_CACHE, or the system's place for caches."""
    if chosen := os.environ.get("EVENFALL_CACHE"):
        return Path(chosen)
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local"))
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return base / "evenfall"
