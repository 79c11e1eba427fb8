"""The engine: what comes of a mood, from files and from passes kept in memory."""

from __future__ import annotations

import math

import numpy as np
import pytest

import evenfall
from evenfall.develop.asked import Asked
from evenfall.develop.engine import develop_moods
from evenfall.develop.example import example_recipe
from evenfall.develop.kept import KeptPasses
from evenfall.develop.opening import open_passes
from evenfall.errors import PassError, RecipeError
from evenfall.light.primaries import BT709, luminance_weights

EXACT = 1e-9
PIXELS = 1e-5  # float32 pixels
LIGHTS = ("sun", "sky", "fill", "left", "right")


@pytest.fixture(scope="module")
def arrays():
    """Random passes of five lights, shape (40, 60, 3), each brighter to one side."""
    rng = np.random.default_rng(11)
    ramp = np.linspace(0.2, 2.0, 60)[:, None]
    return {
        light: (
            rng.gamma(2.0, 0.2 + 0.1 * index, (40, 60, 3)) * np.roll(ramp, 12 * index, axis=0)
        ).astype(np.float32)
        for index, light in enumerate(LIGHTS)
    }


def test_an_alpha_that_lights_have_in_common_is_kept_once(arrays):
    cover = np.linspace(0, 1, 40 * 60, dtype=np.float32).reshape(40, 60, 1)
    sun, sky = (np.concatenate([arrays[light], cover], axis=2) for light in ("sun", "sky"))
    other = np.concatenate([arrays["fill"], cover**2], axis=2)
    kept = KeptPasses.of_arrays({"sun": sun, "fill": other, "sky": sky}).images
    assert kept["sky"].alpha is kept["sun"].alpha
    assert np.array_equal(kept["fill"].alpha, cover[..., 0] ** 2)


def balances_of(view, arrays):
    passes = KeptPasses.of_arrays(arrays)
    developed = develop_moods(passes, Asked(view), list(view.moods))
    return {mood.name: mood.balance for mood in developed}


def luminance(arrays, balance, light):
    mean = arrays[light].mean(axis=(0, 1), dtype=np.float64)
    return float(luminance_weights(BT709) @ (mean * np.array(balance.lights[light].factors)))


def test_a_step_from_a_matched_light_counts_from_the_gain_that_is_solved_there(five_lights, arrays):
    """Four to one by day, two stops down at dusk: sixteen to one against the sun of the day."""
    view = five_lights(
        """
        [moods.day.lights]
        fill = { match = { to = "sun", ratio = "4:1" } }
        [moods.dusk]
        based_on = "day"
        lights = { sun = "off", fill = "down 2" }
        [moods.night]
        based_on = "dusk"
        lights = { fill = "up 1/2" }
        """
    )
    balances = balances_of(view, arrays)
    day, dusk, night = (balances[mood].lights["fill"].gain for mood in view.moods)
    assert dusk == pytest.approx(day / 4, rel=EXACT)
    assert night == pytest.approx(day / 4 * math.sqrt(2), rel=EXACT)
    key = luminance(arrays, balances["day"], "sun")
    assert key / luminance(arrays, balances["dusk"], "fill") == pytest.approx(16, rel=PIXELS)


def test_what_counts_from_a_matched_light_can_be_matched_to(five_lights, arrays):
    view = five_lights(
        """
        [moods.day.lights]
        fill = { match = { to = "sun", ratio = "4:1" } }
        [moods.dusk]
        based_on = "day"
        [moods.dusk.lights]
        sun = "off"
        fill = "down 1"
        left = { match = { to = "fill", ratio = "2:1" } }
        """
    )
    dusk = balances_of(view, arrays)["dusk"]
    fill, left = (luminance(arrays, dusk, light) for light in ("fill", "left"))
    assert fill / left == pytest.approx(2, rel=PIXELS)


def test_kept_passes_give_the_same_bytes_as_files(corner):
    view = evenfall.open(corner)
    kept = view.keep()
    for mood in view.moods:
        np.testing.assert_array_equal(kept.mix(mood), view.mix(mood))
        np.testing.assert_array_equal(kept.develop(mood).encoded(), view.develop(mood).encoded())


def test_kept_drafts_give_the_same_bytes_as_drafts(tmp_path):
    recipe = example_recipe(tmp_path, width=1440, height=960)
    view = evenfall.open(recipe, draft=True)
    np.testing.assert_array_equal(
        view.keep().develop("dusk").encoded(), view.develop("dusk").encoded()
    )


def test_a_view_kept_in_memory_reads_no_file_again(corner):
    kept = evenfall.open(corner).keep()
    for light in ("sun", "sky", "lamp"):
        corner.pass_path(f"{light}.exr").unlink()
    brighter = kept.with_changes("moods.dusk.lights.lamp.stops=2")
    before, after = kept.mix("dusk"), brighter.mix("dusk")
    assert (after >= before).all()
    assert (after > before).any()


def test_arrays_in_place_of_files(corner):
    """A lamp of 0.25 that is a stop up, in the colour it was rendered in, is 0.5."""
    arrays = {light: np.zeros((4, 6, 3), np.float32) for light in ("sun", "sky", "lamp")}
    arrays["lamp"][:] = 0.25
    view = evenfall.open(corner, changes="moods.dusk.lights.lamp.kelvin=3000", passes=arrays)
    mixed = view.mix("dusk")
    assert mixed.shape == (4, 6, 3)
    assert mixed[0, 0] == pytest.approx([0.5, 0.5, 0.5], rel=1e-6)


@pytest.mark.parametrize(
    ("array", "said"),
    [
        (np.zeros((4, 6), np.float32), r"lamp: expected an array \(H, W, 3 or 4\)"),
        (np.zeros((4, 6, 3), np.uint8), "lamp: expected float16 or float32, found uint8"),
        (np.full((4, 6, 3), np.nan, np.float32), "lamp: the array holds NaN or infinity"),
        (np.zeros((5, 6, 3), np.float32), "passes of one size are needed"),
    ],
)
def test_arrays_that_are_no_passes(corner, array, said):
    arrays = {light: np.zeros((4, 6, 3), np.float32) for light in ("sun", "sky", "lamp")}
    with pytest.raises(PassError, match=said):
        evenfall.open(corner, passes=arrays | {"lamp": array})


class TestOpened:
    """What a mood was made of is what was opened for it."""

    def names(self, recipe, mood):
        developed = evenfall.open(recipe).develop(mood)
        developed.chain()
        return {opened.path.name: opened.light for opened in developed.opened}

    def test_passes_that_are_on_and_the_one_that_is_metered(self, corner):
        """Dusk is exposed by the sun, which is off in it; day has no lamp."""
        assert self.names(corner, "dusk") == {
            "sun.exr": "sun",
            "sky.exr": "sky",
            "lamp.exr": "lamp",
        }
        assert self.names(corner, "day") == {"sun.exr": "sun", "sky.exr": "sky"}

    def test_nothing_is_metered_where_the_meter_is_off(self, corner):
        recipe = corner.with_changes('camera.meter="off"')
        assert set(self.names(recipe, "dusk")) == {"sky.exr", "lamp.exr"}

    def test_what_a_neutral_spot_in_another_mood_hangs_on(self, corner, tmp_path):
        """Day is balanced by a spot in dusk, where the sky is matched to the lamp in a mask."""
        from PIL import Image

        Image.new("L", (48, 32), 255).save(tmp_path / "mask.png")
        recipe = corner.with_changes(
            'camera.meter="off"',
            'moods.day.camera.white_balance={neutral=[0.5,0.5],neutral_mood="dusk"}',
            'moods.dusk.lights.sky={match={to="lamp",ratio="2:1",area={mask="mask.png"}}}',
            "moods.day.lights.sun.stops=1",
        )
        assert self.names(recipe, "day") == {
            "sun.exr": "sun",
            "sky.exr": "sky",
            "lamp.exr": "lamp",
            "mask.png": "",
        }

    def test_drafts_from_the_cache_name_the_passes_that_they_are_of(self, tmp_path):
        recipe = example_recipe(tmp_path, width=1440, height=960)
        for _ in range(2):
            developed = evenfall.open(recipe, draft=True).develop("day")
            opened = {each.path: each.light for each in developed.opened}
            assert opened == {recipe.pass_path(f"{name}.exr"): name for name in ("sun", "sky")}


def test_each_question_is_asked_once(corner, monkeypatch):
    """Of three moods, one of them metered for the others, once each."""
    from evenfall.develop import asked as asking

    counts = {}
    for name in ("plan_meter", "balance_mood", "plan_matches"):
        real = getattr(asking, name)

        def counted(*arguments, name=name, real=real):
            counts[name] = counts.get(name, 0) + 1
            return real(*arguments)

        monkeypatch.setattr(asking, name, counted)
    corner.path.write_text(corner.text + '[moods.night]\nbased_on = "dusk"\n')
    evenfall.open(corner.path).run()
    assert counts == {"plan_meter": 3, "balance_mood": 3, "plan_matches": 3}


def test_faults_of_several_moods_come_together(five_lights, arrays):
    dark = arrays | {"left": np.zeros_like(arrays["left"]), "right": np.zeros_like(arrays["right"])}
    view = five_lights(
        """
        [moods.day.lights]
        left = { match = { to = "sun" } }
        [moods.dusk.lights]
        right = { match = { to = "sun" } }
        """
    )
    with pytest.raises(RecipeError) as raised:
        balances_of(view, dark)
    assert [fault.place for fault in raised.value.faults] == [
        "moods.day.lights.left.match",
        "moods.dusk.lights.right.match",
    ]


def test_a_developed_mood_shows_itself(corner):
    """As a PNG that another library decodes to what a run would encode, rounded."""
    import imageio.v3 as imageio

    dusk = evenfall.open(corner).develop("dusk")
    shown = imageio.imread(dusk._repr_png_()).astype(float)
    assert np.abs(shown - 255 * dusk.encoded()).max() <= 0.5 + 1e-3


def test_memory_is_let_go_mood_by_mood(corner):
    import weakref

    asked = Asked(corner)
    mixes = []
    for developed in develop_moods(open_passes(corner), asked, ["day", "dusk"]):
        assert all(mix() is None for mix in mixes)
        mixes.append(weakref.ref(developed.mix))
        del developed
