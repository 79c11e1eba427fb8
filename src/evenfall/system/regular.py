"""Opening what should be a regular file, without waiting for a pipe that stands in its place."""

from __future__ import annotations

import errno
import os
import stat
from io import BufferedReader
from pathlib import Path

__all__ = ["descriptor_of", "open_regular", "other_kind", "read_whole"]


def other_kind(mode: int) -> str | None:
    """Say what a file is by its mode; None for a regular file.

    Examples
    --------
    >>> other_kind(Path().stat().st_mode)
    'a directory'
    """
    if stat.S_ISREG(mode):
        return None
    for test, word in (
        (stat.S_ISDIR, "a directory"),
        (stat.S_ISFIFO, "a FIFO (named pipe)"),
        (stat.S_ISSOCK, "a socket"),
        (stat.S_ISCHR, "a device"),
        (stat.S_ISBLK, "a device"),
    ):
        if test(mode):
            return word
    return "no regular file"


def descriptor_of(path: Path) -> int:
    """Open a file for reading; a FIFO put there meanwhile does not make it wait.

    Raises
    ------
    OSError, ValueError
        As `os.open`.
    """
    return os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))


def open_regular(path: Path) -> BufferedReader:
    """Open a regular file for reading.

    Raises
    ------
    OSError
        When it cannot be opened, or is a pipe, a folder, a device or such.

    Examples
    --------
    >>> open_regular(Path())
    Traceback (most recent call last):
    OSError: [Errno 22] is a directory: '.'
    """
    kind = other_kind(path.stat().st_mode)  # devices and sockets may mind being opened
    if kind is None:
        descriptor = descriptor_of(path)
        kind = other_kind(os.fstat(descriptor).st_mode)
        if kind is None:
            return os.fdopen(descriptor, "rb")
        os.close(descriptor)
    raise OSError(errno.EINVAL, f"is {kind}", str(path))


def read_whole(path: Path) -> bytes:
    """Read a regular file.

    Raises
    ------
    OSError
        As `open_regular`; also when reading fails, of which the system does not say the file.
    """
    with open_regular(path) as stream:
        try:
            return stream.read()
        except OSError as error:
            error.filename = str(path)
            raise
