"""Gains solved from pixels: ratios in both conventions, groups, chains, circles, darkness."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenfall.camera.meter import meter
from evenfall.errors import RecipeError
from evenfall.light.primaries import ACESCG, BT709, luminance_weights
from evenfall.mix.areas import area_weights
from evenfall.mix.balance import balance_mood
from evenfall.mix.matching import (
    MeanNeed,
    means_needed,
    plan_matches,
    solve_matches,
    weighted_mean,
)
from evenfall.recipe import Area, Meter

EXACT = 1e-9
PIXELS = 1e-5  # float32 pixels
LIGHTS = ("sun", "sky", "fill", "left", "right")


@pytest.fixture(scope="module")
def planes():
    """Random passes of five lights, shape (3, 40, 60), each brighter to one side."""
    rng = np.random.default_rng(11)
    ramp = np.linspace(0.2, 2.0, 60)
    return {
        light: (rng.gamma(2.0, 0.2 + 0.1 * index, (3, 40, 60)) * np.roll(ramp, 12 * index)).astype(
            np.float32
        )
        for index, light in enumerate(LIGHTS)
    }


def solve(view, planes, space=BT709, mood="day"):
    """Take the means that are needed and solve."""
    means = {
        need: weighted_mean(
            planes[need.light], None if need.area is None else area_weights(need.area, 60, 40)
        )
        for need in means_needed(plan_matches(view, view.moods[mood]))
    }
    return solved_by(view, means, space, mood)


def solved_by(view, means, space=BT709, mood="day"):
    resolved = view.moods[mood]
    balance = balance_mood(view, resolved, space)
    return solve_matches(view, plan_matches(view, resolved), balance, space, means)


def luminance(view, planes, lights, solved, area=None, space=BT709, mood="day"):
    """Mean luminance of tinted and gained lights, from the pixels themselves."""
    factors = balance_mood(view, view.moods[mood], space).with_gains(view, solved).factors
    total = sum(planes[light] * np.array(factors[light])[:, None, None] for light in lights)
    picture = np.tensordot(luminance_weights(space), total, 1)
    weights = np.ones((40, 60)) if area is None else area_weights(area, 60, 40)
    return float((picture * weights).sum() / weights.sum())


def test_four_to_one_is_four_to_one(five_lights, planes):
    view = five_lights('[moods.day.lights]\nfill = { match = { to = "sun", ratio = "4:1" } }\n')
    solved = solve(view, planes)
    key = luminance(view, planes, ["sun"], solved)
    fill = luminance(view, planes, ["fill"], solved)
    assert key / fill == pytest.approx(4, rel=PIXELS)


# key:fill and (key+fill):fill of the same light, and the stops from lit to shadow side, by their
# definitions; the second convention is that of the American Society of Cinematographers
@pytest.mark.parametrize(
    ("stops", "plain", "both", "lit_to_shadow"),
    [(0, "1:1", "2:1", 1.0), (1, "2:1", "3:1", 1.584963), (2, "4:1", "5:1", 2.321928),
     (3, "8:1", "9:1", 3.169925)],
)  # fmt: skip
def test_both_conventions_name_the_same_light(
    five_lights, planes, stops, plain, both, lit_to_shadow
):
    gains = []
    for ratio, convention in ((plain, "key:fill"), (both, "(key+fill):fill")):
        view = five_lights(
            '[moods.day.lights.fill.match]\nto = "sun"\n'
            f'ratio = "{ratio}"\nconvention = "{convention}"\n'
        )
        solved = solve(view, planes)
        gains.append(solved["fill"])
        key = luminance(view, planes, ["sun"], solved)
        fill = luminance(view, planes, ["fill"], solved)
        assert math.log2(key / fill) == pytest.approx(stops, abs=PIXELS)
        assert math.log2((key + fill) / fill) == pytest.approx(lit_to_shadow, abs=PIXELS)
    assert gains[0] == pytest.approx(gains[1], rel=EXACT)


def test_the_ratio_holds_for_the_tinted_lights(five_lights, planes):
    view = five_lights(
        "[moods.day.lights]\nsun = { stops = -1, kelvin = 3500 }\n"
        'fill = { kelvin = 9000, match = { to = "sun", ratio = "3:1" } }\n'
    )
    for space in (BT709, ACESCG):
        solved = solve(view, planes, space)
        key = luminance(view, planes, ["sun"], solved, space=space)
        fill = luminance(view, planes, ["fill"], solved, space=space)
        assert key / fill == pytest.approx(3, rel=PIXELS)


@pytest.mark.parametrize(
    "area",
    [
        "rectangle = [0.1, 0.2, 0.4, 0.9]",
        "ellipse = [0.7, 0.5, 0.2, 0.3]\nfeather = 0.1",
        "gradient = { start = [0.2, 0.0], end = [0.8, 1.0] }",
    ],
)
def test_the_ratio_holds_in_its_area(five_lights, planes, area):
    text = '[moods.day.lights.left.match]\nto = "sky"\n[moods.day.lights.left.match.area]\n' + area
    view = five_lights(text)
    solved = solve(view, planes)
    where = view.moods["day"].lights["left"].match.area
    left, sky = (luminance(view, planes, [name], solved, where) for name in ("left", "sky"))
    assert left / sky == pytest.approx(1, rel=PIXELS)
    elsewhere = luminance(view, planes, ["left"], solved) / luminance(view, planes, ["sky"], solved)
    assert abs(elsewhere - 1) > 0.05


def test_metering_the_matched_lights_reads_the_ratio(five_lights, planes):
    # solving 4:1 and then metering says 4:1 within half a percent; lights of one shape, so that the
    # meter's log average and the solver's mean compare the same thing
    shape = planes["sun"]
    passes = {**planes, "fill": shape * np.float32(0.61)}
    view = five_lights(
        '[moods.day.lights]\nfill = { kelvin = 5200, match = { to = "sun", ratio = "4:1" } }\n'
    )
    balance = balance_mood(view, view.moods["day"], BT709)
    factors = balance.with_gains(view, solve(view, passes)).factors
    sun, fill = (
        meter(
            passes[light] * np.array(factors[light], np.float32)[:, None, None],
            luminance_weights(BT709),
            Meter(),
        ).luminance
        for light in ("sun", "fill")
    )
    assert sun / fill == pytest.approx(4, rel=0.005)


def test_a_group_is_matched_as_one_light_with_one_gain(five_lights, planes):
    view = five_lights(
        '[moods.day.lights]\npendants = { match = { to = "sky", ratio = "2:1" } }\n'
        "left = { kelvin = 2700 }\n"
    )
    solved = solve(view, planes)
    assert solved["left"] == solved["right"]
    sky = luminance(view, planes, ["sky"], solved)
    both = luminance(view, planes, ["left", "right"], solved)
    assert sky / both == pytest.approx(2, rel=PIXELS)


def test_two_entries_are_solved_each_on_its_own(five_lights, planes):
    same = '{ match = { to = "sky", ratio = "2:1" } }'
    view = five_lights(f"[moods.day.lights]\nleft = {same}\nright = {same}\n")
    solved = solve(view, planes)
    sky = luminance(view, planes, ["sky"], solved)
    for light in ("left", "right"):
        assert sky / luminance(view, planes, [light], solved) == pytest.approx(2, rel=PIXELS)


def test_a_group_may_be_the_other_side(five_lights, planes):
    view = five_lights('[moods.day.lights]\nfill = { match = { to = "pendants" } }\nleft = "off"\n')
    solved = solve(view, planes)
    right = luminance(view, planes, ["right"], solved)
    assert luminance(view, planes, ["fill"], solved) == pytest.approx(right, rel=PIXELS)


def test_chains_are_solved_from_their_end(five_lights, planes):
    view = five_lights(
        '[moods.day.lights]\nright = { match = { to = "left", ratio = "2:1" } }\n'
        'left = { match = { to = "fill", ratio = "2:1" } }\n'
        'fill = { match = { to = "sun", ratio = "2:1" } }\nsun = { stops = 1 }\n'
    )
    solved = solve(view, planes)
    sun, right = (luminance(view, planes, [light], solved) for light in ("sun", "right"))
    assert sun / right == pytest.approx(8, rel=PIXELS)


def test_matches_are_inherited_and_can_be_replaced(five_lights, planes):
    view = five_lights(
        '[moods.day.lights]\npendants = { match = { to = "sun", ratio = "2:1" } }\n'
        '[moods.later]\nbased_on = "day"\n[moods.later.lights]\nsun = { stops = -1 }\nleft = 0.0\n'
    )
    by_day, later = solve(view, planes), solve(view, planes, mood="later")
    assert set(by_day) == {"left", "right"}
    assert set(later) == {"right"}
    sun, right = (
        luminance(view, planes, [light], later, mood="later") for light in ("sun", "right")
    )
    assert sun / right == pytest.approx(2, rel=PIXELS)


def test_each_mean_is_asked_for_once(five_lights):
    view = five_lights(
        '[moods.day.lights]\nfill = { match = { to = "sun" } }\nleft = { match = { to = "sun" } }\n'
        '[moods.dusk]\nbased_on = "day"\n'
    )
    needs = means_needed(
        matching for mood in view.moods.values() for matching in plan_matches(view, mood)
    )
    assert needs == (MeanNeed("fill", None), MeanNeed("sun", None), MeanNeed("left", None))
    assert means_needed([]) == ()


def test_circles_are_refused_by_name(five_lights):
    view = five_lights(
        '[moods.day.lights]\nfill = { match = { to = "left" } }\n'
        'left = { match = { to = "right" } }\nright = { match = { to = "fill" } }\n'
    )
    with pytest.raises(RecipeError, match="in a circle: fill -> left -> right -> fill"):
        plan_matches(view, view.moods["day"])


def test_matching_to_a_light_that_is_off_is_refused(five_lights):
    view = five_lights('[moods.night.lights]\nsun = "off"\nfill = { match = { to = "sun" } }\n')
    with pytest.raises(RecipeError, match=r"moods.night.lights.fill.match.to: sun is off in night"):
        plan_matches(view, view.moods["night"])


@pytest.mark.parametrize(("dark", "name"), [("sun", "sun"), ("fill", "fill")])
def test_darkness_in_the_area_is_refused(five_lights, planes, dark, name):
    view = five_lights(
        '[moods.day.lights.fill.match]\nto = "sun"\narea = { rectangle = [0, 0, 0.5, 0.5] }\n'
    )
    passes = {**planes, dark: np.zeros_like(planes[dark])}
    with pytest.raises(RecipeError, match=f"there is no light of {name} in its area"):
        solve(view, passes)


def test_means_are_weighted_and_negatives_count():
    pixels = np.array([[[1.0, -1.0]], [[2.0, 0.0]], [[4.0, 4.0]]], dtype=np.float32)
    weights = np.array([[3.0, 1.0]], dtype=np.float32)
    assert weighted_mean(pixels, weights) == pytest.approx((0.5, 1.5, 4.0))
    assert weighted_mean(pixels) == pytest.approx((0.0, 1.0, 4.0))
    assert weighted_mean(pixels, np.zeros((1, 2), np.float32)) == pytest.approx((0, 0, 0))


def test_an_area_is_a_usable_key():
    first, second = (Area(rectangle=(0, 0, 0.5, 0.5)) for _ in range(2))
    assert MeanNeed("sun", first) == MeanNeed("sun", second)
    assert len({MeanNeed("sun", first), MeanNeed("sun", second)}) == 1
