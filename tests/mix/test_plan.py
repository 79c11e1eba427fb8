"""The plan: what is read, in which order, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.mix.plan import RegionalGain, plan_mix

BATCHES = (("a", "d"), ("b",), ("c",))


def test_lights_off_everywhere_are_not_read():
    plan = plan_mix({"day": {"a": (1, 1, 1), "b": (0, 0, 0)}, "night": {"d": (0, 0.5, 0)}}, BATCHES)
    assert plan.lights == ("a", "d")
    assert "b" not in plan.factors["day"]


def test_order_of_summing_does_not_depend_on_the_moods_chosen():
    both = plan_mix({"day": {"a": (1, 1, 1)}, "night": {"b": (1, 1, 1), "d": (1, 1, 1)}}, BATCHES)
    night = plan_mix({"night": {"b": (1, 1, 1), "d": (1, 1, 1)}}, BATCHES)
    order = [light for light in both.lights if light in night.factors["night"]]
    assert tuple(order) == night.lights == ("d", "b")


def test_needed_by_names_moods_in_order():
    plan = plan_mix({"day": {"a": (1, 1, 1)}, "night": {"a": (1, 0, 0), "b": (1, 1, 1)}}, BATCHES)
    assert plan.needed_by(["a"]) == ("day", "night")
    assert plan.needed_by(["b", "c"]) == ("night",)


@pytest.mark.parametrize("bad", [(-1.0, 1, 1), (np.nan, 1, 1), (1, np.inf, 1), (1e39, 1, 1)])
@pytest.mark.filterwarnings("ignore:overflow encountered in cast")
def test_impossible_factors_are_refused(bad):
    with pytest.raises(ValueError, match="mood 'day', light 'a': expected three factors"):
        plan_mix({"day": {"a": bad}}, BATCHES)


def test_light_without_a_pass_is_refused():
    with pytest.raises(ValueError, match="no pass holds moon"):
        plan_mix({"night": {"moon": (1, 1, 1)}}, BATCHES)


def test_empty_regional_gains_are_dropped():
    gain = RegionalGain(np.ones((1, 1), np.float32), {"a": 2.0})
    plan = plan_mix({"x": {"a": (1, 1, 1)}, "y": {}}, BATCHES, {"x": (gain,), "y": ()})
    assert plan.regional == {"x": (gain,)}


def test_lights_that_are_measured_are_read_though_no_mood_needs_them() -> None:
    batches = [("sun", "sky"), ("lamp",)]
    assert plan_mix({"day": {"sun": (1, 1, 1)}}, batches, also=["sky"]).lights == ("sun", "sky")
    assert plan_mix({"day": {"sun": (1, 1, 1)}}, batches).lights == ("sun",)
