"""Threads that share the work of a run, and stop together."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from types import TracebackType
from typing import Any, Self

__all__ = ["Crew"]


class Crew:
    """A pool whose tasks may add further tasks; leaving it waits for all of them.

    The first failure ends the rest: tasks that have not begun are dropped.

    Examples
    --------
    >>> done = []
    >>> with Crew(2) as crew:
    ...     crew.add(lambda: crew.add(done.append, "second"))
    >>> done
    ['second']
    """

    def __init__(self, workers: int) -> None:
        self._pool = ThreadPoolExecutor(workers, "finish")
        self._lock = threading.Lock()
        self._tasks: set[Future[Any]] = set()
        self._stopped = False

    def add(self, task: Callable[..., Any], *arguments: Any) -> None:
        """Queue a task; from any thread."""
        with self._lock:
            if not self._stopped:
                self._tasks.add(self._pool.submit(task, *arguments))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        try:
            if error is None:
                self._finish()
        finally:
            self._stop()

    def _finish(self) -> None:
        while True:
            with self._lock:
                tasks = set(self._tasks)
            if not tasks:
                return
            done, _ = wait(tasks, return_when=FIRST_EXCEPTION)
            for task in done:
                task.result()
            with self._lock:
                self._tasks -= done

    def _stop(self) -> None:
        with self._lock:
            self._stopped = True
        self._pool.shutdown(wait=True, cancel_futures=True)
