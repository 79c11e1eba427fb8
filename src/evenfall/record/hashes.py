"""Hashes of files, found in the background while the rest of a run gets ready."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import TracebackType
from typing import Self

from evenfall.errors import PassError
from evenfall.passes.fingerprint import noted_fingerprint
from evenfall.record.values import InputReport
from evenfall.system.opened import Opened, Stamp

__all__ = ["Hashes"]

_Found = tuple[str | None, Stamp | None]
"""A hash, and which file it is of."""
_FINGERPRINT_KIND = "sha256:"


class Hashes:
    """SHA-256 of files, in hexadecimal digits; a file that has not changed is known from earlier.

    Parameters
    ----------
    known : mapping of Path to InputReport
        What an earlier run noted, by absolute path.
    workers : int
        Threads.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "sun.exr"
    >>> _ = path.write_bytes(b"abc")  # the example of FIPS 180-4
    >>> with Hashes({}, 2) as hashes:
    ...     hashes.now(path)[:16]
    'ba7816bf8f01cfea'
    """

    def __init__(self, known: Mapping[Path, InputReport], workers: int) -> None:
        self._known = known
        self._left = False
        # One processor is left to the thread that gets the rest of the run ready.
        self._pool = ThreadPoolExecutor(max(1, workers - 1), "hash")
        self._tasks: dict[Path, Future[_Found]] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._left = True
        self._pool.shutdown(cancel_futures=True)

    def start(self, paths: Iterable[Path]) -> None:
        """Begin with these files; others are hashed when they are asked for."""
        for path in paths:
            if path not in self._tasks:
                self._tasks[path] = self._pool.submit(self._find, path)

    def finish(self) -> None:
        """Take part in what is left to do, from the end, instead of waiting."""
        for path, task in reversed(list(self._tasks.items())):
            if task.cancel():
                self._tasks[path] = _done(self._find(path))

    def now(self, path: Path) -> str | None:
        """Hash of a file as it is now; None when it cannot be read."""
        found, seen = self._task(path).result()
        if seen is None or seen != _stamp(path):  # written since
            self._tasks[path] = _done(self._find(path))
            found, _ = self._tasks[path].result()
        return found

    def of(self, opened: Opened) -> str | None:
        """Hash of a file as it was when it was opened; None when it has changed since."""
        if opened.sha256 is not None:
            return opened.sha256
        found, seen = self._task(opened.path).result()
        if seen != opened.stamp:
            found, seen = self._find(opened.path)
        return found if seen == opened.stamp else None

    def _task(self, path: Path) -> Future[_Found]:
        if path not in self._tasks:
            self._tasks[path] = _done(self._find(path))
        return self._tasks[path]

    def _find(self, path: Path) -> _Found:
        seen = _stamp(path)  # before it is read
        if seen is None:
            return None, None
        known = self._known.get(path)
        times = (seen.size, seen.modified_ns, seen.changed_ns)
        if known is not None and times == (known.bytes, known.modified_ns, known.changed_ns):
            return known.sha256, seen
        try:
            found = noted_fingerprint(path, is_wanted=lambda: not self._left)
        except (PassError, OSError, ValueError):  # reading it in earnest says what is wrong
            return None, None
        return (None, None) if found is None else (found.removeprefix(_FINGERPRINT_KIND), seen)


def _done(found: _Found) -> Future[_Found]:
    future: Future[_Found] = Future()
    future.set_result(found)
    return future


def _stamp(path: Path) -> Stamp | None:
    try:
        return Stamp.of(path.stat())
    except (OSError, ValueError):
        return None
