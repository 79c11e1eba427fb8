"""The bytes of a file with a picture in it, where a decoder wants all of them."""

from __future__ import annotations

from pathlib import Path

from evenfall.errors import Fault, PixelSourceError
from evenfall.system.regular import read_whole

__all__ = ["picture_bytes"]


def picture_bytes(path: Path, allowed: str = "") -> bytes:
    """Read a file whole.

    Parameters
    ----------
    path : Path
        The file.
    allowed : str
        What may stand there, for the error.

    Raises
    ------
    PixelSourceError
        When the system does not give it, or it is no regular file.
    """
    try:
        return read_whole(path)
    except OSError as error:
        found = f"cannot be read: {error.strerror or error}"
        raise PixelSourceError(Fault(str(path), "", found, allowed)) from error
