"""Threads that work off steps, and stop together.

A step is a value that knows how to do one piece of work. What it gives back is either steps, which
are queued behind those that wait, or results, which go to whoever set the crew to work. A crew of
one is whoever set it to work: a thread that makes one frame after the other keeps its working
memory, which a new thread would have to claim again.
"""

from __future__ import annotations

import itertools
import queue
import threading
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor, wait
from contextvars import Context
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Generic, Self, TypeVar

__all__ = ["Crew", "Step", "crew_of"]

R = TypeVar("R")
R_co = TypeVar("R_co", covariant=True)

_WAITING_RESULTS = 2  # a thread; more would fill the memory where writing is slower than working


class Step(ABC, Generic[R_co]):
    """One piece of work."""

    @abstractmethod
    def work(self) -> Iterable[Step[R_co] | R_co]:
        """Do it; give further steps, and results."""


@dataclass(frozen=True)
class _Failure:
    error: BaseException


class _AllDone:
    """Told when no step is left."""


def crew_of(workers: int) -> Crew[Any]:
    """Give a crew of so many threads; of one, the caller's own.

    Examples
    --------
    >>> with crew_of(1) as crew:
    ...     crew.share(abs, [-1, 2, -3])
    [1, 2, 3]
    """
    return _Alone() if workers == 1 else Crew(workers)


class Crew(Generic[R]):
    """Threads that work off steps, as long as the context lasts.

    The first failure ends the rest: steps that have not begun are dropped.

    Parameters
    ----------
    workers : int
        Threads.

    Examples
    --------
    >>> class Count(Step[int]):
    ...     def __init__(self, to):
    ...         self.to = to
    ...     def work(self):
    ...         return [self.to] if self.to == 1 else [self.to, Count(self.to - 1)]
    >>> with Crew[int](2) as crew:
    ...     sorted(crew.results([Count(3)]))
    [1, 2, 3]
    """

    def __init__(self, workers: int) -> None:
        self._workers = workers
        self._pool = ThreadPoolExecutor(workers, "finish")
        self._results: queue.Queue[R | _Failure | _AllDone] = queue.Queue()
        self._room = threading.Semaphore(_WAITING_RESULTS * workers)
        self._lock = threading.Lock()
        self._left = 0
        self._stopped = False

    def add(self, step: Step[R]) -> None:
        """Queue a step; from any thread."""
        with self._lock:
            if not self._stopped:
                self._left += 1
                self._pool.submit(self._do, step)

    def results(self, steps: Iterable[Step[R]]) -> Iterator[R]:
        """Work off steps and all that come of them.

        Further steps may be added meanwhile, as an answer to a result.

        Yields
        ------
        object
            Results, one after the other as they come.
        """
        with self._lock:
            self._left += 1  # so that nobody thinks all is done before all is begun
        for step in steps:
            self.add(step)
        self._one_less()
        while True:
            result = self._results.get()
            if isinstance(result, _Failure):
                raise result.error
            if isinstance(result, _AllDone):
                with self._lock:
                    if self._left == 0 and self._results.empty():
                        return
                continue  # a result was answered by further steps
            yield result
            self._room.release()

    def share(self, function: Callable[[Any], Any], items: Iterable[Any]) -> list[Any]:
        """Do something for each of many: by the caller, and by whoever of the crew is free.

        For steps of this crew, which then need not wait for those queued before. A failure, or the
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
        >>> with Crew[int](2) as crew:
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

    def _do(self, step: Step[R]) -> None:
        try:
            for found in step.work():
                if isinstance(found, Step):
                    self.add(found)
                else:
                    self._give(found)
        except BaseException as error:  # told to whoever waits for results
            self._results.put(_Failure(error))
        finally:
            self._one_less()

    def _give(self, result: R) -> None:
        while not self._room.acquire(timeout=0.1):
            if self._stopped:
                raise CancelledError
        self._results.put(result)

    def _one_less(self) -> None:
        with self._lock:
            self._left -= 1
            if self._left == 0:
                self._results.put(_AllDone())

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._stop()

    def _stop(self) -> None:
        with self._lock:
            self._stopped = True
        self._pool.shutdown(wait=True, cancel_futures=True)


class _Alone(Crew[R]):
    """A crew of the caller's own thread."""

    def __init__(self) -> None:
        self._waiting: deque[Step[R]] = deque()
        self._apart = Context()  # as in another thread, nobody listens to what steps open

    def add(self, step: Step[R]) -> None:
        self._waiting.append(step)

    def results(self, steps: Iterable[Step[R]]) -> Iterator[R]:
        self._waiting.extend(steps)
        end = _AllDone()
        while self._waiting:
            work: Iterator[Step[R] | R | _AllDone] = iter(self._waiting.popleft().work())
            while not isinstance(found := self._apart.run(next, work, end), _AllDone):
                if isinstance(found, Step):
                    self._waiting.append(found)
                else:
                    yield found

    def share(self, function: Callable[[Any], Any], items: Iterable[Any]) -> list[Any]:
        return [function(item) for item in items]

    def _stop(self) -> None:
        self._waiting.clear()
