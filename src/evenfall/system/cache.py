"""What is kept between runs, in a folder that may be deleted at any time."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

from evenfall.system.atomic import put_whole

__all__ = ["cache_folder", "keep", "note_use"]


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


def keep(path: Path, *parts: bytes | memoryview, limit_bytes: int | None = None) -> None:
    """Keep something under a name, whole or not at all; a cache that cannot be written is no fault.

    Parameters
    ----------
    path : Path
        Its name; the folder is made if it is missing.
    *parts : bytes-like
        What is kept, one part behind the other.
    limit_bytes : int, optional
        Of the folder: beyond it the files that were not used for longest are thrown away.
    """
    try:
        put_whole(path, *parts, durable=False)
        if limit_bytes is not None:
            _trim(path.parent, limit_bytes)
    except OSError:
        return


def note_use(path: Path) -> None:
    """Note that a kept file was used, so that it is not thrown away first."""
    with contextlib.suppress(OSError):
        os.utime(path)


def _trim(folder: Path, limit_bytes: int) -> None:
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
