"""Threads that share work: results in order, failures heard, nothing left waiting."""

from __future__ import annotations

import threading

import pytest

from evenfall.produce.pool import Crew


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_shared_results_are_in_order(workers):
    found = []
    with Crew(workers) as crew:
        crew.add(lambda: found.extend(crew.share(lambda item: item * item, range(50))))
    assert found == [item * item for item in range(50)]


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_failure_of_an_item_is_the_crews(workers):
    def fail(item):
        if item == 3:
            raise ValueError(f"item {item}")

    with pytest.raises(ValueError, match="item 3"), Crew(workers) as crew:
        crew.add(lambda: crew.share(fail, range(50)))


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_sharing_within_shared_work_ends(workers):
    results = []

    def inner(item):
        return sum(crew.share(lambda part: part, range(item)))

    with Crew(workers) as crew:
        for _ in range(6):
            crew.add(lambda: results.append(crew.share(inner, range(9))))
    assert results == [[sum(range(item)) for item in range(9)]] * 6


def test_free_threads_help():
    """Two items that wait for each other can only end on two threads."""
    both = threading.Barrier(2, timeout=30)
    with Crew(2) as crew:
        crew.add(lambda: crew.share(lambda _: both.wait(), range(2)))


def test_a_failure_ends_the_sharing():
    begun = []
    never = threading.Event()

    def work(item):
        begun.append(item)
        if item == 0:
            raise ValueError("item 0")
        never.wait(0.02)  # long enough for the failure to be heard

    with pytest.raises(ValueError, match="item 0"), Crew(2) as crew:
        crew.add(lambda: crew.share(work, range(50)))
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

    class Watched(Crew):
        def _stop(self):
            threading.Timer(0.2, crew_has_stopped.set).start()
            super()._stop()

    def fail():
        stopping.wait(30)
        raise KeyError("elsewhere")

    def share(crew):
        with crew:
            crew.add(fail)
            crew.add(lambda: crew.share(work, range(50)))

    with pytest.raises(KeyError, match="elsewhere"):
        share(Watched(2))
    assert len(begun) <= 2
