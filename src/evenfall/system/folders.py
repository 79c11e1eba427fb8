"""Folders that are either whole or not there."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
from collections.abc import Mapping
from pathlib import Path

from evenfall.system.atomic import put_whole, synced
from evenfall.system.partials import partial_path

__all__ = ["put_folder"]

_READ_ONLY = 0o444
_TAKEN = (errno.EEXIST, errno.ENOTEMPTY, errno.ENOTDIR, errno.EISDIR, errno.EACCES)


def put_folder(path: Path, files: Mapping[str, bytes]) -> None:
    """Put a folder of files under its name in one step; the files can be read and not be written.

    They are written into a folder beside it and flushed to the disk before that takes the name.

    Parameters
    ----------
    path : Path
        Final name; the folder above is made if it is missing.
    files : mapping of str to bytes
        Contents by name.

    Raises
    ------
    FileExistsError
        If something has the name already, or takes it meanwhile.
    OSError
        If the system refuses otherwise.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp()) / "001"
    >>> put_folder(folder, {"note.txt": b"dusk"})
    >>> (folder / "note.txt").read_bytes()
    b'dusk'
    """
    partial = partial_path(path)
    partial.parent.mkdir(parents=True, exist_ok=True)
    if os.path.lexists(path):
        raise FileExistsError(errno.EEXIST, "something has this name", str(path))
    try:
        partial.mkdir()
        for name, data in files.items():
            put_whole(partial / name, data, mode=_READ_ONLY)
        with synced(path.parent):
            _take_name(partial, path)
    finally:
        with contextlib.suppress(OSError):
            shutil.rmtree(partial)


def _take_name(partial: Path, path: Path) -> None:
    try:
        partial.rename(path)
    except OSError as error:
        if error.errno in _TAKEN and os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, "something has this name", str(path)) from None
        raise
