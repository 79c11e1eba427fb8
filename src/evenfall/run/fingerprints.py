"""Fingerprints of passes, found in the background while the rest of a run gets ready."""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from evenfall.errors import PassError
from evenfall.passes.library import PassLibrary

if TYPE_CHECKING:
    from evenfall.run.kept import Earlier

__all__ = ["Fingerprints"]


class Fingerprints:
    """Fingerprints by light; a file that has not changed is known from an earlier run.

    Parameters
    ----------
    files : PassLibrary
        The passes.
    earlier : Earlier
        What an earlier run noted: fingerprint, size and time of change.
    workers : int
        Threads.
    """

    def __init__(self, files: PassLibrary, earlier: Earlier, workers: int) -> None:
        self._files, self._earlier = files, earlier
        self._pool = ThreadPoolExecutor(workers, "fingerprint")
        self._tasks: dict[Path, Future[str | None]] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._pool.shutdown(cancel_futures=True)

    def start(self, lights: Iterable[str]) -> None:
        """Begin with these lights; others are found when they are asked for."""
        for light in lights:
            self._task(light)

    def of(self, light: str) -> str | None:
        """Fingerprint of a light's file; None when it cannot be read, which reading will say."""
        task = self._task(light)
        return None if task is None else task.result()

    def _task(self, light: str) -> Future[str | None] | None:
        header = self._files.headers.get(light)
        if header is None:
            return None
        if header.path not in self._tasks:
            self._tasks[header.path] = self._pool.submit(self._find, light, header.path)
        return self._tasks[header.path]

    def _find(self, light: str, path: Path) -> str | None:
        try:
            return self._earlier.fingerprint(light, path) or self._files.fingerprint(path)
        except (PassError, OSError):
            return None
