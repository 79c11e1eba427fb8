"""Threads that share work: results in order, failures heard, nothing left waiting."""

from __future__ import annotations

import threading

import pytest

from evenfall.run.pool import Crew


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
