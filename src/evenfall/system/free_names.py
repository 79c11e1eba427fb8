"""Names that are free for files that are going to be written, or hold them already."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from evenfall.errors import Fault, OutputError

__all__ = ["holds", "refuse_existing"]


def holds(path: Path, data: bytes) -> bool:
    """Whether a file is there already, byte for byte.

    Examples
    --------
    >>> holds(Path("/nowhere/lamps.csv"), b"lamp, 2.25")
    False
    """
    try:
        is_there = path.is_file() and path.stat().st_size == len(data)
        return is_there and path.read_bytes() == data
    except OSError:
        return False


def refuse_existing(paths: Iterable[Path], *, allowed: bool, option: str = "--out") -> None:
    """Refuse to go on when a file that would be written exists.

    Parameters
    ----------
    paths : iterable of Path
        Where files would be written.
    allowed : bool
        Whether files may be replaced; folders never are.
    option : str
        Option of the command line that chooses another folder.

    Raises
    ------
    OutputError
        Naming every such file.
    """
    faults = []
    for path in paths:
        if path.is_dir():
            faults.append(
                Fault(str(path), "", "there is a folder of this name", "expected a free file name")
            )
        elif not allowed and os.path.lexists(path):  # links that lead nowhere too
            faults.append(
                Fault(
                    str(path),
                    "",
                    "the file exists already",
                    "",
                    f"use --overwrite to replace it, or choose another folder with {option}",
                )
            )
    if faults:
        raise OutputError(faults)
