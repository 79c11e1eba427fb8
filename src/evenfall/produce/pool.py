"""Threads that share the work of a run, and stop together."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_EXCEPTION, CancelledError, Future, ThreadPoolExecutor, wait
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
        self._workers = workers
        self._pool = ThreadPoolExecutor(workers, "finish")
        self._lock = threading.Lock()
        self._tasks: set[Future[Any]] = set()
        self._stopped = False

    def add(self, task: Callable[..., Any], *arguments: Any) -> None:
        """Queue a task; from any thread."""
        with self._lock:
            if not self._stopped:
                self._tasks.add(self._pool.submit(task, *arguments))

    def share(self, function: Callable[[Any], Any], items: Iterable[Any]) -> list[Any]:
        """Do something for each of many: by the caller, and by whoever of the crew is free.

        For tasks of this crew, which then need not wait for those queued before. A failure, or the
        crew's end, ends it: items that have not begun are dropped.

        Parameters
        ----------
        function : callable
            Takes an item; called from several threads at once.
        items : iterable

        Returns
        -------
        list
            Results, in the order of the items.

        Examples
        --------
        >>> with Crew(2) as crew:
        ...     crew.share(abs, [-1, 2, -3])
        [1, 2, 3]
        """
        items = list(items)
        results: list[Any] = [None] * len(items)
        numbers = itertools.count()  # each number is handed out once
        failed = threading.Event()

        def work() -> None:
            try:
                while not failed.is_set() and (number := next(numbers)) < len(items):
                    if self._stopped:
                        raise CancelledError
                    results[number] = function(items[number])
            except BaseException:
                failed.set()
                raise

        helpers: list[Future[None]] = []
        with self._lock:
            if not self._stopped:
                helpers = [self._pool.submit(work) for _ in items[1 : self._workers]]
        try:
            work()
        finally:
            begun = [helper for helper in helpers if not helper.cancel()]
            wait(begun)
        for helper in begun:
            helper.result()
        return results

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
