"""Files that are opened while something is made, noted by what opens them.

What a picture was made from is never listed: every place that opens a file reports it here, and
whoever makes something listens meanwhile. Listening is bound to the thread; what threads of a pool
open is handed over by them, on what they give back.

What is made once and used often tells of its files at every use: `Once` and `Remembered` do.
"""

from __future__ import annotations

import errno
import hashlib
import os
import threading
import time
from collections.abc import Callable, Hashable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from evenfall.system.regular import open_regular

__all__ = [
    "Once",
    "Opened",
    "Openings",
    "Remembered",
    "Stamp",
    "hashed",
    "listening",
    "note_opened",
]

T = TypeVar("T")
_SECOND_NS = 1_000_000_000
_COARSE_STEP_NS, _FINE_STEP_NS = 2 * _SECOND_NS, _SECOND_NS // 20


@dataclass(frozen=True)
class Stamp:
    """Which file it is, and when it was last written or otherwise changed.

    Parameters
    ----------
    device, inode : int
        Which file.
    size : int
        Bytes.
    modified_ns, changed_ns : int
        Times of change, of its contents and of anything about it, in nanoseconds.
    """

    device: int
    inode: int
    size: int
    modified_ns: int
    changed_ns: int

    @classmethod
    def of(cls, status: os.stat_result) -> Stamp:
        """Stamp of a file's status."""
        return cls(
            status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns
        )

    @property
    def lasting(self) -> tuple[int, int, int, int]:
        """What tells the file after the machine was started again, as numbers of devices do not."""
        return self.size, self.inode, self.modified_ns, self.changed_ns

    def is_settled(self) -> bool:
        """Whether times tell of another change from now on.

        A file that was changed a moment ago can be changed again within the same step of the
        disk's clock: of whole seconds where the times are whole seconds, else of a few
        milliseconds.
        """
        newest = max(self.modified_ns, self.changed_ns)
        whole = self.modified_ns % _SECOND_NS == 0 and self.changed_ns % _SECOND_NS == 0
        return time.time_ns() - newest > (_COARSE_STEP_NS if whole else _FINE_STEP_NS)


@dataclass(frozen=True)
class Opened:
    """A file as it was opened.

    Parameters
    ----------
    path : Path
        The file.
    stamp : Stamp
        Which file it was then.
    sha256 : str or None
        Of the bytes that were read, in hexadecimal digits; None where they were not read as a
        whole.
    light : str
        The light whose pass it is; empty for any other file.
    """

    path: Path
    stamp: Stamp
    sha256: str | None = None
    light: str = ""


def hashed(path: Path) -> Opened:
    """Read a file for its hash alone, for a library that will open it itself.

    Raises
    ------
    OSError
        When it cannot be read, is not a regular file, or changes meanwhile.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "warm.cube"
    >>> _ = path.write_bytes(b"abc")  # the example of FIPS 180-4
    >>> hashed(path).sha256[:16]
    'ba7816bf8f01cfea'
    """
    with open_regular(path) as stream:
        stamp = Stamp.of(os.fstat(stream.fileno()))
        sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
        if Stamp.of(os.fstat(stream.fileno())) != stamp:
            raise OSError(errno.EBUSY, "the file changed while it was read", str(path))
    return Opened(path, stamp, sha256)


class Openings:
    """What has been opened, each file once, in the order of opening; safe to use from threads."""

    def __init__(self, opened: Iterable[Opened] = ()) -> None:
        self._opened = dict.fromkeys(opened)
        self._lock = threading.Lock()

    def note(self, opened: Iterable[Opened]) -> None:
        """Note what was opened."""
        with self._lock:
            self._opened |= dict.fromkeys(opened)

    def __iter__(self) -> Iterator[Opened]:
        with self._lock:
            return iter(tuple(self._opened))


_listeners: ContextVar[tuple[Openings, ...]] = ContextVar("listeners", default=())


@contextmanager
def listening(to: Openings | None = None) -> Iterator[Openings]:
    """Hear of every file that is opened in this context by this thread.

    Parameters
    ----------
    to : Openings, optional
        What is filled; a new one otherwise. Whoever listens further out hears of the same.

    Examples
    --------
    >>> file = Opened(Path("sun.exr"), Stamp(1, 2, 3, 4, 5))
    >>> with listening() as openings:
    ...     note_opened(file)
    >>> [opened.path.name for opened in openings]
    ['sun.exr']
    """
    openings = Openings() if to is None else to
    token = _listeners.set((*_listeners.get(), openings))
    try:
        yield openings
    finally:
        _listeners.reset(token)


def note_opened(*opened: Opened) -> None:
    """Tell whoever listens that files were opened, or that something was used that came of them."""
    for openings in _listeners.get():
        openings.note(opened)


class Once(Generic[T]):
    """Something that is made when it is first asked for, by whichever thread comes first.

    Parameters
    ----------
    make : callable
        Makes it. What it opens is told of at every use. What it raises is raised at every use.

    Examples
    --------
    >>> guides = Once(lambda: print("reading") or 7)
    >>> guides.get(), guides.get()
    reading
    (7, 7)
    """

    def __init__(self, make: Callable[[], T]) -> None:
        self._make = make
        self._lock = threading.Lock()
        self._result: tuple[T | None, Exception | None] | None = None
        self._openings = Openings()

    def get(self) -> T:
        """Give it."""
        with self._lock:
            if self._result is None:
                with listening(self._openings):
                    try:
                        self._result = self._make(), None
                    except Exception as error:  # told again to the next who asks
                        self._result = None, error
        note_opened(*self._openings)
        value, failure = self._result
        if failure is not None:
            raise failure
        return value  # type: ignore[return-value]


class Remembered(Generic[T]):
    """Answers that are worked out once each; as `Once`, by key.

    Examples
    --------
    >>> squares = Remembered[int]()
    >>> squares.get(3, lambda: print("works") or 9), squares.get(3, lambda: 0)
    works
    (9, 9)
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._known: dict[Hashable, Once[T]] = {}

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """Give the answer of a key, worked out by `make` if it is not known yet."""
        with self._lock:
            known = self._known.setdefault(key, Once(make))
        return known.get()
