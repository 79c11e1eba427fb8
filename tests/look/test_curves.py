"""Published tone curves against published numbers."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from evenfall.light.curve_table import CurveTable
from evenfall.look.curves import hable, neutral, reinhard
from evenfall.look.grey_curve import GreyCurve
from evenfall.look.rendering import tone_curve
from evenfall.recipe.look import Clip, Evenfall, Hable, Reinhard

PRINTED = 6e-8  # numbers printed to 7 decimals
NEUTRAL = 1e-6  # numbers printed to 6 decimals, float32 arithmetic

# Extended curve of Reinhard et al. 2002 with a white of 4: the formula evaluated by hand.
REINHARD_4 = {
    0.01: 0.0099072, 0.18: 0.1542585, 0.5: 0.34375, 1.0: 0.53125,
    2.0: 0.75, 4.0: 1.0, 10.0: 1.4772727, 100.0: 7.1782178,
}  # fmt: skip
# Hable 2010, constants of the talk (GDC 2010), divided by its value at 11.2.
HABLE = {
    0.01: 0.0040481, 0.18: 0.0998568, 0.5: 0.2748351, 1.0: 0.4625261,
    2.0: 0.6668445, 5.0: 0.8846215, 11.2: 1.0,
}  # fmt: skip
# Khronos PBR Neutral: the specification's text and its shader source agree on these.
NEUTRAL_GREYS = {
    0.01: 0.000625, 0.04: 0.01, 0.08: 0.04, 0.18: 0.14,
    0.8: 0.76, 1.0: 0.869091, 2.0: 0.96, 100.0: 0.999421,
}  # fmt: skip
NEUTRAL_COLOURS = [
    ((1, 0.5, 0.25), (0.869091, 0.422529, 0.199248)),
    ((4, 1, 0.25), (0.983256, 0.468299, 0.339560)),
    ((2, 0.02, 0.02), (0.960615, 0.128726, 0.128726)),
    ((0.8, 0.4, 0.02), (0.780571, 0.381673, 0.002719)),
]


def test_reinhard() -> None:
    scene, display = np.array(list(REINHARD_4.items())).T
    np.testing.assert_allclose(reinhard(scene, 4.0), display, rtol=0, atol=PRINTED)


def test_reinhard_without_white_is_the_simple_curve() -> None:
    scene = np.array([0.18, 1.0, 10.0])
    np.testing.assert_allclose(
        reinhard(scene, 1e9), [0.1525424, 0.5, 0.9090909], rtol=0, atol=PRINTED
    )


def test_hable() -> None:
    scene, display = np.array(list(HABLE.items())).T
    np.testing.assert_allclose(hable(scene, 11.2), display, rtol=0, atol=PRINTED)
    assert hable(np.array([0.0]), 11.2)[0] == pytest.approx(0, abs=1e-12)


def test_neutral_greys() -> None:
    scene, display = np.array(list(NEUTRAL_GREYS.items())).T
    planes = np.tile(scene, (3, 1)).astype(np.float32)
    np.testing.assert_allclose(neutral(planes), np.tile(display, (3, 1)), rtol=0, atol=NEUTRAL)


def test_neutral_colours() -> None:
    scene, display = (np.array(values).T for values in zip(*NEUTRAL_COLOURS, strict=True))
    found = neutral(scene.astype(np.float32))
    np.testing.assert_allclose(found, display, rtol=0, atol=NEUTRAL)


def test_neutral_takes_negative_values_as_black() -> None:
    dark = np.array([[-1.0, -0.5], [0.0, 0.3], [0.0, 0.2]], np.float32)
    held = np.maximum(dark, 0)
    np.testing.assert_array_equal(neutral(dark), neutral(held))


@pytest.mark.parametrize(
    "curve",
    [GreyCurve(Evenfall()), *map(tone_curve, (Reinhard(), Hable(), Clip()))],
    ids=["evenfall", "reinhard", "hable", "clip"],
)
def test_table_of_a_curve_is_within_a_ten_thousandth(
    curve: Callable[[np.ndarray], np.ndarray],
) -> None:
    table = CurveTable(curve, top=2.0**16, ceiling=1.0)
    values = np.concatenate([[0.0, -1.0, 1e6], np.logspace(-9, 4, 200_001)]).astype(np.float32)
    exact = np.minimum(curve(np.clip(values.astype(np.float64), 0, 2.0**16)), 1.0)
    np.testing.assert_allclose(table(values), exact, rtol=0, atol=5e-5)


def test_table_cuts_a_corner_by_no_more_than_it_says() -> None:
    curve = GreyCurve(Evenfall(soft_highlights=0, soft_shadows=0))
    values = np.logspace(-9, 4, 200_001).astype(np.float32)
    error = np.abs(CurveTable(curve, top=2.0**16)(values) - curve(values.astype(np.float64)))
    slope_times_value = 1.25 * 1.0  # contrast at white, log-log; no curve is steeper there
    assert error.max() < slope_times_value * 2.0**-7 / 4 + 5e-5
