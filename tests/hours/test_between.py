"""Between two keys: stops at an even pace, colours in mired, and light that adds up."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

import evenfall
from evenfall.camera.white_balance import white_balance_matrix
from evenfall.develop.engine import develop_mood
from evenfall.light.primaries import BT709
from evenfall.light.tint import tint_factors
from evenfall.passes.header import Selector
from evenfall.passes.reading import read
from evenfall.recipe import LightSetting, Rendered, WhiteBalance, load

SUN_PATH = Path(__file__).parents[1] / "data" / "sun_path"

TWO = """
format = 1
camera = { meter = "off" }
lights.lamp = { file = "lamp.exr", rendered = { kelvin = 3000 } }
lights.sky = { file = "sky.exr" }

[moods.warm]
lights = { lamp = { stops = -1, kelvin = 2500 }, sky = "off" }
camera = { exposure_stops = -2, white_balance = { kelvin = 2500 } }
look = { grain = { strength = 0.1 }, tone = { curve = "evenfall", contrast = 1.0 } }

[moods.cold]
lights = { lamp = { stops = 3, kelvin = 10000, locus = "planckian" } }
camera = { exposure_stops = 1, white_balance = { kelvin = 4000 } }
look = { grain = { strength = 0.5 }, tone = { curve = "evenfall", contrast = 1.4 } }

[sequence]
frames = 5
keys = [{ mood = "warm", frame = 1 }, { mood = "cold", frame = 5 }]
"""


@pytest.fixture
def two(corner) -> Path:
    path = corner("").with_name("two.toml")
    path.write_text(TWO, encoding="utf-8")
    return path


def test_half_way_is_half_way_in_stops_and_in_mired(two: Path) -> None:
    developed = develop_mood(load(two, changes=["sequence.frame=3"]), "sequence")
    lamp = developed.balance.lights["lamp"]
    # By hand: -1 and +3 stops are +1 in the middle; 400 and 100 mired are 250, which is 4000 K.
    assert lamp.gain == pytest.approx(2.0)
    assert lamp.tint.kelvin == pytest.approx(4000, abs=1)
    expected = tint_factors(
        LightSetting(kelvin=4000, locus="planckian"), Rendered(kelvin=3000), BT709
    )
    np.testing.assert_allclose(lamp.tint.factors, expected.factors, rtol=1e-4)
    # -2 and +1 stops: -0.5.
    assert developed.camera.exposure_factor == pytest.approx(2**-0.5)
    # 400 and 250 mired: 325, which is 3076.92 K.
    between = white_balance_matrix(WhiteBalance(kelvin=3076.92), BT709)
    np.testing.assert_allclose(developed.camera.matrix, 2**-0.5 * between, atol=1e-4)
    assert developed.mood.look.grain.strength == pytest.approx(0.3)
    assert developed.mood.look.tone.contrast == pytest.approx(1.2)


def test_a_key_is_the_mood_itself_and_steps_to_it_are_small(two: Path) -> None:
    recipe = load(two)
    for frame, mood in ((1, "warm"), (5, "cold")):
        shown = develop_mood(load(two, changes=[f"sequence.frame={frame}"]), "sequence")
        still = develop_mood(recipe, mood)
        np.testing.assert_array_equal(shown.mix.planes, still.mix.planes)
        np.testing.assert_array_equal(shown.camera.matrix, still.camera.matrix)
    near = develop_mood(load(two, changes=["sequence.frames=100001", "sequence.frame=100000",
        "sequence.keys[1].frame=100001"]), "sequence")  # fmt: skip
    still = develop_mood(recipe, "cold")
    np.testing.assert_allclose(near.mix.planes, still.mix.planes, rtol=2e-3)
    np.testing.assert_allclose(near.camera.matrix, still.camera.matrix, atol=1e-3)


def test_a_light_that_is_off_comes_up_in_stops_from_nothing(two: Path) -> None:
    gains = [
        develop_mood(load(two, changes=[f"sequence.frame={frame}"]), "sequence")
        .balance.lights["sky"]
        .gain
        for frame in range(1, 6)
    ]
    assert gains[0] == 0
    assert gains[-1] == 1
    # By hand, over 8 stops: (2^-6 - 2^-8) / (1 - 2^-8) at a quarter of the way, and so on.
    expected = [(2.0**-stops - 2.0**-8) / (1 - 2.0**-8) for stops in (6, 4, 2)]
    np.testing.assert_allclose(gains[1:4], expected)


def test_sun_between_two_renders_against_one_rendered_there(tmp_path: Path) -> None:
    """Half of the sun at 34 degrees and half of that at 24, against a path tracer's render at 29.

    Found: half of the pixels are within 0.11 stop of the truth (0.24 and 0.31 without blending),
    and all light together is 13 % too much, 0.17 stop: a window lets more in the lower the sun
    stands, and not at an even pace. Where the edge of a shadow passed, a pixel is wrong by all of
    the sun: that is what the caution says.
    """
    (tmp_path / "sun.toml").write_text(
        f"""
format = 1
passes = {{ folder = "{SUN_PATH.as_posix()}", sun_altitude_degrees = 29 }}
[lights.sun]
file = ["sun_early.exr", "sun_late.exr"]
sun_altitudes_degrees = [34, 24]
[moods.day]
camera = {{ meter = "off" }}
""",
        encoding="utf-8",
    )
    mix = evenfall.open(tmp_path / "sun.toml").mix("day")
    early, late, truth = (
        read(SUN_PATH / f"sun_{name}.exr", [Selector()])[0].rgb()
        for name in ("early", "late", "between")
    )
    np.testing.assert_allclose(mix, (early + late) / 2, rtol=1e-6, atol=1e-7)

    def stops_off(picture: npt.NDArray[np.float32]) -> float:
        pair = [np.log2(one.mean(axis=-1) + 1e-3) for one in (picture, truth)]
        return float(np.median(np.abs(pair[0] - pair[1])))

    assert stops_off(mix) < 0.13
    assert stops_off(mix) < 0.5 * min(stops_off(early), stops_off(late))
    assert abs(np.log2(mix.mean() / truth.mean())) < 0.2
    assert early.mean() < truth.mean() < late.mean()
