"""Work that is given up at any moment leaves nothing half done behind."""

from __future__ import annotations

import gc
import weakref

import numpy as np
import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.mix import engine
from evenfall.system.overtaken import Overtaken, while_wanted
from evenfall.view import View

GLARE = "look.glare.strength=0.05"


class Patience:
    """Wants something so many times that it is asked."""

    def __init__(self, times: int) -> None:
        self.left = times

    def __call__(self) -> bool:
        self.left -= 1
        return self.left >= 0


def read_and_show(view: View, kept: View) -> None:
    view.keep()
    kept.still("dusk")


def test_a_picture_given_up_at_any_moment_is_made_whole_the_next_time() -> None:
    view = evenfall.open(example_recipe(), changes=[GLARE], draft=True)
    expected = view.still("dusk")
    asked = Patience(10_000)
    with while_wanted(asked):
        view.keep().still("dusk")
    asked_in_all = 10_000 - asked.left
    assert asked_in_all > 10  # in reading, mixing, exposing, glare, and at the end
    for times in range(asked_in_all):
        kept = view.keep()
        with while_wanted(Patience(times)), pytest.raises(Overtaken):
            read_and_show(view, kept)
        assert np.array_equal(kept.still("dusk"), expected)


def test_nobody_asks_once_the_wish_is_over() -> None:
    view = evenfall.open(example_recipe(), draft=True).keep()
    with while_wanted(lambda: False):
        pass
    assert view.still("dusk").any()


def test_what_was_summed_so_far_is_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hand that turns gives up picture after picture: their memory must not wait for anybody."""
    jobs = []

    class Watched(engine._Job):
        def __init__(self, *given: object) -> None:
            super().__init__(*given)
            jobs.append(weakref.ref(self))

    view = evenfall.open(example_recipe(), draft=True).keep()
    monkeypatch.setattr(engine, "_Job", Watched)
    gc.disable()
    try:
        with while_wanted(lambda: False), pytest.raises(Overtaken):
            view.still("dusk")
        assert [job() for job in jobs] == [None]
    finally:
        gc.enable()
