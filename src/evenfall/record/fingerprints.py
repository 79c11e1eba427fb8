"""Fingerprints of passes, found in the background while the rest of a run gets ready."""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import TracebackType
from typing import Self

from evenfall.errors import PassError
from evenfall.passes.files import stamp
from evenfall.passes.fingerprint import is_fingerprint, joint_fingerprint, noted_fingerprint
from evenfall.recipe import Recipe
from evenfall.record.earlier import Earlier
from evenfall.system.opened import Stamp

__all__ = ["Fingerprints"]

_Found = tuple[str | None, Stamp | None]
"""A fingerprint, and which file it is of."""


class Fingerprints:
    """Fingerprints by light; a file that has not changed is known from an earlier time.

    They are noted in reports and in the user's cache folder, with size and times of change.

    Parameters
    ----------
    recipe : Recipe
        Says which files.
    earlier : Earlier
        What an earlier run noted: fingerprint, size and time of change.
    workers : int
        Threads.
    """

    def __init__(self, recipe: Recipe, earlier: Earlier, workers: int) -> None:
        self._recipe, self._earlier = recipe, earlier
        self._left = False
        # One processor is left to the thread that gets the rest of the run ready.
        self._pool = ThreadPoolExecutor(max(1, workers - 1), "fingerprint")
        self._tasks: dict[Path, tuple[str, Future[_Found]]] = {}

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

    def start(self, lights: Iterable[str]) -> None:
        """Begin with these lights; others are found when they are asked for."""
        for light in lights:
            for path in self._paths(light):
                self._task(light, path)

    def finish(self) -> None:
        """Take part in what is left to do, from the end, instead of waiting."""
        for path, (light, task) in reversed(list(self._tasks.items())):
            if task.cancel():
                done: Future[_Found] = Future()
                done.set_result(self._find(light, path))
                self._tasks[path] = (light, done)

    def of(self, light: str) -> str | None:
        """Fingerprint of a light's files; None when one cannot be read, which reading will say."""
        found = []
        for path in self._paths(light):
            known, seen = self._task(light, path).result()
            if known is not None and seen != _seen(path):  # written since: its headers may be newer
                known, _ = self._find(light, path)
            if known is None:
                return None
            found.append(known)
        return joint_fingerprint(found)

    def _paths(self, light: str) -> list[Path]:
        sources = self._recipe.model.lights[light].sources
        return [self._recipe.pass_path(file) for file in dict.fromkeys(one.file for one in sources)]

    def _task(self, light: str, path: Path) -> Future[_Found]:
        if path not in self._tasks:
            self._tasks[path] = (light, self._pool.submit(self._find, light, path))
        return self._tasks[path][1]

    def _find(self, light: str, path: Path) -> _Found:
        try:
            seen = stamp(path)  # before it is read
            known = None
            if len(self._paths(light)) == 1:  # else what was noted is that of all of them
                known = self._earlier.fingerprint(light, path)
            if not is_fingerprint(known):
                known = noted_fingerprint(path, is_wanted=lambda: not self._left)
        except (PassError, OSError):
            return None, None
        return known, seen


def _seen(path: Path) -> Stamp | None:
    try:
        return stamp(path)
    except PassError:
        return None
