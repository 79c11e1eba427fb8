"""Where things are kept between runs."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

__all__ = ["cache_folder", "trim_folder"]


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


def trim_folder(folder: Path, limit_bytes: int) -> None:
    """Throw away the files unused for longest until a folder is within its limit.

    Raises
    ------
    OSError
        When the folder cannot be listed or a file cannot be removed.
    """
    entries: list[tuple[os.stat_result, Path]] = []
    with os.scandir(folder) as scanned:
        for entry in scanned:
            with contextlib.suppress(FileNotFoundError):  # somebody else's, renamed meanwhile
                entries.append((entry.stat(), Path(entry)))
    excess = sum(facts.st_size for facts, _ in entries) - limit_bytes
    for facts, path in sorted(entries, key=lambda entry: entry[0].st_mtime_ns):
        if excess <= 0:
            return
        path.unlink(missing_ok=True)
        excess -= facts.st_size
