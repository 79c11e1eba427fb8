"""Files that are either whole or not there.

The bytes go to a temporary file in the same folder, are flushed to the disk, and then take the
final name in one step (POSIX ``rename``; on Windows ``MoveFileEx`` with replacement).
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import secrets
from pathlib import Path

from evenfall.errors import Fault, OutputError

__all__ = ["PARTIAL_ENDING", "remove_leftovers", "write_atomically"]

PARTIAL_ENDING = ".evenfall-part"
_PARTIAL = re.compile(rf"^\..+\.(\d+)\.[0-9a-f]{{8}}{re.escape(PARTIAL_ENDING)}$")

_HINTS = {
    errno.ENOSPC: "the disk is full; free some space or choose another folder with --out",
    errno.EDQUOT: "your quota on this disk is used up; free some space or choose another folder",
    errno.EACCES: "you may not write there; choose another folder with --out",
    errno.EPERM: "you may not write there; choose another folder with --out",
    errno.EROFS: "the disk is read-only; choose another folder with --out",
    errno.EEXIST: "a file lies where the folder should be; choose another folder with --out",
    errno.ENOTDIR: "a file lies where the folder should be; choose another folder with --out",
    errno.ENAMETOOLONG: "the file name is too long; shorten the deliverable's name",
    errno.EFBIG: "the disk's file system takes no file of this size",
}


def write_atomically(path: Path, data: bytes | bytearray | memoryview, *, overwrite: bool) -> None:
    """Write a file whole, or not at all.

    Parameters
    ----------
    path : Path
        Final name; its folder is made if it is missing.
    data : bytes-like
        The whole contents.
    overwrite : bool
        Whether a file of that name may be replaced.

    Raises
    ------
    OutputError
        If the file exists and may not be replaced, or if the system refuses; the final name then
        holds what it held before.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> write_atomically(folder / "note.txt", b"dusk", overwrite=False)
    >>> (folder / "note.txt").read_bytes()
    b'dusk'
    """
    try:
        _refuse_what_stands_there(path, overwrite)
    except OSError as error:
        raise OutputError(_refused(path, error)) from error
    partial = path.with_name(
        f".{path.name[:40]}.{os.getpid()}.{secrets.token_hex(4)}{PARTIAL_ENDING}"
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(_refused(path, error)) from error
    try:
        _write_and_sync(partial, data)
        if overwrite:
            partial.replace(path)
        else:
            _take_free_name(partial, path)
        _sync_folder(path.parent)
    except FileExistsError as error:
        raise OutputError(_exists(path)) from error
    except OSError as error:
        raise OutputError(_refused(path, error)) from error
    finally:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)


def remove_leftovers(folder: Path) -> tuple[Path, ...]:
    """Remove temporary files that a killed run left in a folder.

    Only files of processes that no longer run are touched.

    Parameters
    ----------
    folder : Path
        Where deliverables go; may be missing.

    Returns
    -------
    tuple of Path
        What was removed.
    """
    removed = []
    for entry in sorted(folder.glob(f".*{PARTIAL_ENDING}")):
        match = _PARTIAL.match(entry.name)
        if match and not _is_running(int(match[1])):
            with contextlib.suppress(OSError):
                entry.unlink()
                removed.append(entry)
    return tuple(removed)


def _refuse_what_stands_there(path: Path, overwrite: bool) -> None:
    if path.is_dir():
        raise OutputError(Fault(str(path), "", "a folder has this name", "a free file name"))
    if not overwrite and path.exists():
        raise OutputError(_exists(path))


def _exists(path: Path) -> Fault:
    return Fault(
        str(path), "", "the file exists already", "", "say --overwrite, or choose another --out"
    )


def _refused(path: Path, error: OSError) -> Fault:
    said = error.strerror or str(error)
    return Fault(str(path), "", f"cannot be written: {said}", "", _HINTS.get(error.errno or 0, ""))


def _write_and_sync(partial: Path, data: bytes | bytearray | memoryview) -> None:
    view = memoryview(data).cast("B")
    with partial.open("xb") as stream:
        stream.write(view)
        stream.flush()
        os.fsync(stream.fileno())
        written = os.fstat(stream.fileno()).st_size
    if written != len(view):
        raise OSError(errno.ENOSPC, f"only {written} of {len(view)} bytes reached the disk")


def _take_free_name(partial: Path, path: Path) -> None:
    """Rename, unless somebody has taken the name meanwhile."""
    try:
        os.link(partial, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if path.exists():
            raise FileExistsError(errno.EEXIST, "the file exists already", str(path)) from None
        partial.replace(path)


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # some network file systems cannot sync a folder
            os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _is_running(process: int) -> bool:
    if os.name != "posix":
        return process == os.getpid()
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
