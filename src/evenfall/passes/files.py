"""Opening files that may be anything: the checks that come before the first byte of a pass."""

from __future__ import annotations

import io
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from evenfall.errors import PassError
from evenfall.passes.faults import refused
from evenfall.system.opened import Opened, Stamp, note_opened
from evenfall.system.regular import descriptor_of, other_kind

__all__ = ["FileView", "PassFile", "check_inside", "open_pass", "stamp", "unreadable"]

_MOST_HELD_BYTES = 512 << 20


def stamp(path: Path) -> Stamp:
    """Stamp of the file at a path.

    Raises
    ------
    PassError
        When there is none any more.
    """
    try:
        return Stamp.of(path.stat())
    except (OSError, ValueError) as error:
        raise refused(
            path, f"cannot be looked at: {getattr(error, 'strerror', None) or error}"
        ) from None


def check_inside(path: Path, folder: Path) -> None:
    """Refuse a symbolic link that leads out of a folder.

    A path that is written so that it lies outside (``../other/sun.exr``) is the person's own
    choice and passes; a link inside the folder that points out of it does not.

    Raises
    ------
    PassError
        When links lead outside, or in a circle.
    """
    written = Path(os.path.normpath(path))
    if not written.is_relative_to(os.path.normpath(folder)):
        return
    try:
        real, real_folder = path.resolve(), folder.resolve()
    except (OSError, RuntimeError, ValueError) as error:
        raise refused(path, f"cannot be followed: {error}") from None
    if not real.is_relative_to(real_folder):
        raise refused(
            path,
            f"is a symbolic link out of the passes' folder, to {real}",
            f"a file in {folder}",
            "copy the file, or set passes.allow_links_outside = true",
        )


@dataclass(frozen=True)
class PassFile:
    """A regular file, open for reading by place; safe to read from several threads.

    `held` is all of it, where it was read at once.
    """

    path: Path
    stream: BinaryIO
    size: int
    stamp: Stamp
    held: memoryview | None = field(default=None, repr=False)
    lock: threading.Lock = field(default_factory=threading.Lock, repr=False)
    failures: list[PassError] = field(default_factory=list, repr=False)

    def at(self, offset: int, count: int) -> bytes:
        """Read `count` bytes at `offset`; fewer only where the file ends.

        Raises
        ------
        PassError
            When the disk or the share does not give them. It is kept in `failures` too, since
            libraries that read through us may make another error of it, or none.
        """
        if self.held is not None:
            return bytes(self.held[offset : offset + count])
        data = self._some(offset, count)
        while 0 < len(data) < count and (more := self._some(offset + len(data), count - len(data))):
            data += more
        return data

    def _some(self, offset: int, count: int) -> bytes:
        try:
            if hasattr(os, "pread"):
                return os.pread(self.stream.fileno(), count, offset)
            with self.lock:
                self.stream.seek(offset)
                return self.stream.read(count)
        except OSError as error:
            self.failures.append(unreadable(self.path, error))
            raise self.failures[-1] from None

    def check_was_read(self) -> None:
        """Raise the first failure of reading, whatever a library has made of it."""
        if self.failures:
            raise self.failures[0] from None

    def check_unchanged(self) -> None:
        """Raise PassError if the file was written to since it was opened."""
        try:
            now = Stamp.of(os.fstat(self.stream.fileno()))
        except OSError as error:
            raise unreadable(self.path, error) from None
        if now != self.stamp:
            raise refused(
                self.path,
                "the file changed while it was read",
                hint="wait until the renderer has finished, then run again",
            )


class FileView(io.RawIOBase):
    """What a library is given to read instead of a file; how it reads is for subclasses to say.

    Parameters
    ----------
    size : int
        Bytes that there are to read.
    """

    def __init__(self, size: int) -> None:
        super().__init__()
        self._size = size
        self._place = 0

    def readable(self) -> bool:
        """Yes."""
        return True

    def seekable(self) -> bool:
        """Yes."""
        return True

    def tell(self) -> int:
        """Place of the next byte."""
        return self._place

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to a place, which may lie behind the end."""
        start = {os.SEEK_SET: 0, os.SEEK_CUR: self._place, os.SEEK_END: self._size}[whence]
        self._place = max(0, start + offset)
        return self._place

    def _within(self, count: int) -> int:
        """How many bytes a wish for so many means here; all that are left when it is negative."""
        left = max(0, self._size - self._place)
        return left if count < 0 else min(count, left)


@contextmanager
def open_pass(path: Path, *, hold: bool = False) -> Iterator[PassFile]:
    """Open a pass for reading, if it is a readable regular file with something in it.

    Directories, FIFOs, sockets and devices are recognised without being opened.

    Parameters
    ----------
    path : Path
        The file.
    hold : bool
        Whether it is read into memory at once, unless it is very large.

    Raises
    ------
    PassError
        When it is missing, no regular file, empty, or may not be read; and when it could not be
        read to the end or has changed by the time the block ends.
    """
    descriptor = _open(path)
    with os.fdopen(descriptor, "rb", buffering=0) as stream:
        status = os.fstat(descriptor)
        _check_regular(path, status)
        held = _held(path, stream, status.st_size) if hold else None
        opened = PassFile(path, stream, status.st_size, Stamp.of(status), held)
        note_opened(Opened(path, opened.stamp))
        try:
            yield opened
        except Exception:
            opened.check_was_read()
            opened.check_unchanged()
            raise
        opened.check_was_read()
        opened.check_unchanged()


def _held(path: Path, stream: BinaryIO, size: int) -> memoryview | None:
    if size > _MOST_HELD_BYTES:
        return None
    import numpy as np  # which is not needed to tell what a recipe lacks

    memory, read = np.empty(size, np.uint8).data, 0
    try:
        while count := stream.readinto(memory[read:]):  # type: ignore[attr-defined]
            read += count
    except OSError as error:
        raise unreadable(path, error) from None
    return memory[:read].toreadonly()


def unreadable(path: Path, error: OSError) -> PassError:
    """Error for a file that the system does not give us, although it is there."""
    return refused(
        path,
        f"cannot be read: {error.strerror or error}",
        hint="check the disk or the share it lies on, or copy it elsewhere, then run again",
    )


def _open(path: Path) -> int:
    try:
        _check_regular(path, path.stat())
        return descriptor_of(path)
    except FileNotFoundError:
        raise refused(path, "there is no such file") from None
    except PermissionError:
        raise refused(path, "may not be read", hint="ask for permission to read it") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refused(path, f"cannot be opened: {reason}") from None


def _check_regular(path: Path, status: os.stat_result) -> None:
    kind = other_kind(status.st_mode)
    if kind is not None:
        raise refused(path, f"is {kind}", "a picture file")
    if status.st_size == 0:
        raise refused(path, "is empty (0 bytes)", hint="render or copy the pass again")
