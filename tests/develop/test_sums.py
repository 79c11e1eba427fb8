"""Mixes that are remembered: the same bytes where nothing changed, and by difference a hair off."""

from __future__ import annotations

import numpy as np
import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.view import View

CHANGED = "moods.dusk.lights.lamp.stops={}"
HAIR = 4e-6
"""Of the largest value: a few roundings of float32 (2^-24 each) over three lights."""


@pytest.fixture
def kept() -> View:
    return evenfall.open(example_recipe(), draft=True).keep()


def test_a_mix_that_has_not_changed_is_not_summed_again(kept: View) -> None:
    kept.develop("dusk")  # the meter sees the sun on the way
    one = kept.develop("dusk")
    again = kept.with_changes("moods.dusk.camera.exposure_stops=1").develop("dusk")
    assert again.mix.planes is one.mix.planes
    assert again.camera.exposure_factor == pytest.approx(2 * one.camera.exposure_factor)


@pytest.mark.parametrize("stops", [-3, 0, 0.5, 4])
def test_what_is_kept_at_its_own_size_has_the_bytes_of_a_run(kept: View, stops: float) -> None:
    kept.develop("dusk")
    changed = kept.with_changes(CHANGED.format(stops))
    fresh = evenfall.open(kept.recipe, draft=True).with_changes(CHANGED.format(stops))
    assert np.array_equal(changed.still("dusk"), fresh.still("dusk"))


def test_by_difference_only_the_last_digits_differ(kept: View) -> None:
    quick = kept.smaller(24)
    for _ in range(2):
        quick.develop("dusk")
    for stops in (1.1, -2.0, 3.0, 0.3):
        view = quick.with_changes(CHANGED.format(stops))
        fresh = kept.smaller(24).with_changes(CHANGED.format(stops))
        found, expected = view.mix("dusk"), fresh.develop("dusk").mix.rgb()
        assert np.abs(found - expected).max() <= HAIR * np.abs(expected).max()
        developed = view.develop("dusk").mix.rgb()
        assert np.abs(developed - expected).max() <= HAIR * np.abs(expected).max()


def test_other_lights_on_and_one_alone_are_summed_anew(kept: View) -> None:
    quick = kept.smaller(24)
    whole = quick.develop("dusk").mix.rgb()
    alone = quick.develop("dusk", lights=["lamp"]).mix.rgb()
    others = quick.develop("dusk", lights=["sun", "sky"]).mix.rgb()
    assert np.allclose(alone + others, whole, rtol=1e-5)
    dark = quick.with_changes('moods.dusk.lights.lamp="off"').develop("dusk").mix.rgb()
    assert np.allclose(dark, others)
