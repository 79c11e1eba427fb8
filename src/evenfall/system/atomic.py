"""Files that are either whole or not there.

The bytes go to a temporary file in the same folder, are flushed to the disk, and then take the
final name in one step (POSIX ``rename``; on Windows ``MoveFileEx`` with replacement). What a
process that died left unfinished in a folder is taken away when the first file goes there.
"""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Iterator
from pathlib import Path

from evenfall.errors import Fault, OutputError
from evenfall.system.partials import partial_path, remove_leftovers

__all__ = ["cannot_be_written", "put_whole", "sync_folder", "synced", "write_atomically"]

Bytes = bytes | bytearray | memoryview

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


_tidied: set[Path] = set()


def write_atomically(path: Path, data: Bytes, *, overwrite: bool) -> None:
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
        put_whole(path, data, replace=overwrite)
    except FileExistsError as error:
        stands = os.path.lexists(path) and not path.is_dir()
        raise OutputError(_exists(path) if stands else cannot_be_written(path, error)) from error
    except OSError as error:
        raise OutputError(cannot_be_written(path, error)) from error


def put_whole(
    path: Path,
    *parts: Bytes,
    replace: bool = True,
    durable: bool = True,
    mode: int | None = None,
) -> None:
    """Put a file under its name in one step; whatever fails, the name holds what it held before.

    Parameters
    ----------
    path : Path
        Final name; its folder is made if it is missing.
    *parts : bytes-like
        The contents, one part behind the other.
    replace : bool
        Whether a file of that name may be replaced.
    durable : bool
        Whether it must be on the disk, under its name, when this returns; a cache need not.
    mode : int, optional
        Permissions; those that new files get otherwise.

    Raises
    ------
    OSError
        If the system refuses; `FileExistsError` if there is a file that may not be replaced.
    """
    _make_folder(path.parent, durable=durable)
    if path.parent not in _tidied:
        _tidied.add(path.parent)
        with contextlib.suppress(OSError):  # whether it can be written to, writing will tell
            remove_leftovers(path.parent)
    partial = partial_path(path)
    try:
        _write(partial, parts, durable=durable)
        if mode is not None:
            partial.chmod(mode)
        with synced(path.parent) if durable else contextlib.nullcontext():
            if replace:
                partial.replace(path)
            else:
                _take_free_name(partial, path)
    finally:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)


def _refuse_what_stands_there(path: Path, overwrite: bool) -> None:
    if path.is_dir():
        raise OutputError(
            Fault(str(path), "", "there is a folder of this name", "expected a free file name")
        )
    if not overwrite and os.path.lexists(path):  # links that lead nowhere too
        raise OutputError(_exists(path))


def _exists(path: Path) -> Fault:
    return Fault(
        str(path),
        "",
        "the file exists already",
        "",
        "use --overwrite, or write it to another place",
    )


def cannot_be_written(path: Path, error: OSError) -> Fault:
    """Say why the system refuses to write, and what helps."""
    said = error.strerror or str(error)
    return Fault(str(path), "", f"cannot be written: {said}", "", _HINTS.get(error.errno or 0, ""))


def _make_folder(folder: Path, *, durable: bool) -> None:
    """Make a folder and those above it; the names of new ones are flushed to the disk too."""
    if folder.is_dir():
        return
    _make_folder(folder.parent, durable=durable)
    folder.mkdir(exist_ok=True)
    if durable:
        sync_folder(folder.parent)


def _write(partial: Path, parts: tuple[Bytes, ...], *, durable: bool) -> None:
    views = [memoryview(part).cast("B") for part in parts]
    with partial.open("xb") as stream:
        for view in views:
            stream.write(view)
        stream.flush()
        if durable:
            os.fsync(stream.fileno())
        written = os.fstat(stream.fileno()).st_size
    wanted = sum(len(view) for view in views)
    if written != wanted:
        raise OSError(errno.ENOSPC, f"only {written} of {wanted} bytes reached the disk")


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


def sync_folder(folder: Path) -> None:
    """Flush the names in a folder to the disk."""
    with synced(folder):
        pass


@contextlib.contextmanager
def synced(folder: Path) -> Iterator[None]:
    """Flush the names in a folder at the end; what can fail of it fails before the beginning."""
    if os.name != "posix":
        yield
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        yield
        with contextlib.suppress(OSError):  # some network file systems cannot sync a folder
            os.fsync(descriptor)
    finally:
        os.close(descriptor)
