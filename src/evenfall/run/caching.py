"""How much is kept between runs."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

__all__ = ["trim_folder"]


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
