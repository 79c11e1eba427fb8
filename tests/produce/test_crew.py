"""Threads that work off steps: all that comes of them, results shared in order, failures heard."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import pytest

from evenfall.produce.crew import Crew, Step, crew_of
from evenfall.system.opened import Opened, Stamp, listening, note_opened


@dataclass(frozen=True, eq=False)
class Do(Step[object]):
    """A step that calls a function; what it returns is the result."""

    function: Callable[[], object]

    def work(self) -> Iterable[Step[object] | object]:
        yield self.function()


@dataclass(frozen=True)
class Count(Step[int]):
    """Gives its number, and the step below it."""

    number: int

    def work(self) -> Iterable[Step[int] | int]:
        yield self.number
        if self.number:
            yield Count(self.number - 1)


def all_of(crew: Crew[object], *functions: Callable[[], object]) -> list[object]:
    return list(crew.results([Do(function) for function in functions]))


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_what_comes_of_a_step_is_worked_off_too(workers):
    with crew_of(workers) as crew:
        assert sorted(crew.results([Count(30), Count(2)])) == sorted([*range(31), *range(3)])


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_further_steps_may_answer_a_result(workers):
    found = []
    with crew_of(workers) as crew:
        for number in crew.results([Count(0)]):
            found.append(number)
            if len(found) < 20:
                crew.add(Count(0))
    assert found == [0] * 20


def test_nothing_to_do_gives_nothing():
    with Crew[int](2) as crew:
        assert list(crew.results([])) == []


def test_a_crew_of_one_is_the_thread_that_sets_it_to_work():
    with crew_of(1) as crew:
        assert all_of(crew, threading.current_thread) == [threading.current_thread()]


@pytest.mark.parametrize("workers", [1, 2])
def test_nobody_else_hears_what_steps_open(workers):
    file = Opened(Path("sun.exr"), Stamp(1, 2, 3, 4, 5))
    with listening() as heard, crew_of(workers) as crew:
        all_of(crew, lambda: note_opened(file))
    assert list(heard) == []


def test_steps_are_begun_in_the_order_in_which_they_came():
    begun = []
    with crew_of(1) as crew:
        all_of(crew, *(lambda number=number: begun.append(number) for number in range(20)))
    assert begun == list(range(20))


def test_a_failure_reaches_whoever_waits_and_drops_the_rest():
    begun = []

    def fail():
        raise ValueError("the third")

    def work():
        begun.append(1)
        time.sleep(0.01)

    with pytest.raises(ValueError, match="the third"), Crew[object](2) as crew:
        all_of(crew, work, work, fail, *[work] * 200)
    assert len(begun) < 100


def test_results_that_nobody_takes_do_not_fill_the_memory():
    """Where writing is slower than working, work waits: two results a thread, and what is begun."""
    made = []

    def make():
        made.append(1)
        return "result"

    with Crew[object](2) as crew:
        results = crew.results([Do(make) for _ in range(50)])
        next(results)
        time.sleep(0.3)
        assert len(made) <= 1 + 2 * 2 + 2
        assert len(list(results)) == 49


def test_leaving_does_not_wait_for_room():
    with Crew[object](2) as crew:
        results = crew.results([Do(lambda: "result") for _ in range(50)])
        next(results)


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_shared_results_are_in_order(workers):
    with crew_of(workers) as crew:
        (found,) = all_of(crew, lambda: crew.share(lambda item: item * item, range(50)))
    assert found == [item * item for item in range(50)]


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_failure_of_an_item_is_the_crews(workers):
    def fail(item):
        if item == 3:
            raise ValueError(f"item {item}")

    with pytest.raises(ValueError, match="item 3"), crew_of(workers) as crew:
        all_of(crew, lambda: crew.share(fail, range(50)))


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_sharing_within_shared_work_ends(workers):
    def inner(item):
        return sum(crew.share(lambda part: part, range(item)))

    with crew_of(workers) as crew:
        results = all_of(crew, *[lambda: crew.share(inner, range(9))] * 6)
    assert results == [[sum(range(item)) for item in range(9)]] * 6


def test_free_threads_help():
    """Two items that wait for each other can only end on two threads."""
    both = threading.Barrier(2, timeout=30)
    with Crew[object](2) as crew:
        (found,) = all_of(crew, lambda: crew.share(lambda _: both.wait(), range(2)))
    assert sorted(found) == [0, 1]


def test_a_failure_ends_the_sharing():
    begun = []
    never = threading.Event()

    def work(item):
        begun.append(item)
        if item == 0:
            raise ValueError("item 0")
        never.wait(0.02)  # long enough for the failure to be heard

    with pytest.raises(ValueError, match="item 0"), Crew[object](2) as crew:
        all_of(crew, lambda: crew.share(work, range(50)))
    assert len(begun) < 25


def test_the_crews_end_ends_the_sharing():
    """Whoever stops a run does not wait until a large picture is compressed."""
    begun = []
    stopping = threading.Event()

    def work(item):
        begun.append(item)
        stopping.set()
        crew_has_stopped.wait(30)

    crew_has_stopped = threading.Event()

    class Watched(Crew[object]):
        def _stop(self):
            threading.Timer(0.2, crew_has_stopped.set).start()
            super()._stop()

    def fail():
        stopping.wait(30)
        raise KeyError("elsewhere")

    with pytest.raises(KeyError, match="elsewhere"), Watched(2) as crew:
        all_of(crew, fail, lambda: crew.share(work, range(50)))
    assert len(begun) <= 2
