"""Balance of a mood: gains times tints, daylight beneath them, all faults at once."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.errors import RecipeError
from evenfall.light.daylight import daylight_state
from evenfall.light.primaries import ACESCG, BT709
from evenfall.light.tint import light_rgb, tint_factors
from evenfall.mix.balance import balance_mood
from evenfall.recipe import LightSetting, Rendered

EXACT = 1e-9


def test_factors_are_gain_times_tint(five_lights):
    view = five_lights(
        """
        [moods.dusk.lights]
        sun = "off"
        sky = { stops = -2 }
        pendants = { lumens = 1600, kelvin = 2700 }
        """
    )
    balance = balance_mood(view, view.moods["dusk"], BT709)
    warm = tint_factors(LightSetting(kelvin=2700), Rendered(kelvin=4000), BT709).factors
    assert balance.factors["sun"] == (0, 0, 0)
    assert balance.factors["sky"] == (0.25, 0.25, 0.25)
    assert balance.factors["fill"] == (1, 1, 1)
    assert balance.factors["left"] == pytest.approx(2 * np.array(warm), rel=EXACT)
    assert balance.factors["right"] == pytest.approx(4 * np.array(warm), rel=EXACT)
    assert balance.lights["left"].tint.kelvin == pytest.approx(2700, abs=1e-3)
    assert balance.notes == ()


def test_every_light_stands_in_the_balance_in_the_recipes_order(five_lights):
    view = five_lights("[moods.day]\n")
    balance = balance_mood(view, view.moods["day"], ACESCG)
    assert list(balance.factors) == ["sun", "sky", "fill", "left", "right"]
    assert set(balance.factors.values()) == {(1.0, 1.0, 1.0)}


def test_all_faults_are_told_at_once_with_their_places(five_lights):
    view = five_lights(
        "[moods.dusk.lights]\nsun = { mired_shift = -300 }\nfill = { mired_shift = 900 }\n"
    )
    with pytest.raises(RecipeError) as caught:
        balance_mood(view, view.moods["dusk"], BT709)
    sun, fill = caught.value.faults
    assert sun.place == "moods.dusk.lights.sun"
    assert "leaves 1000 K to 25000 K" in sun.found
    assert fill.place == "moods.dusk.lights.fill"
    assert "leaves 1000 K to 25000 K" in fill.found
    assert view.text.splitlines()[sun.line - 1].startswith("sun = ")


def test_notes_carry_the_place(five_lights):
    view = five_lights("[moods.dusk.lights]\nfill = { kelvin = 1500 }\n")
    (note,) = balance_mood(view, view.moods["dusk"], BT709).notes
    assert note.startswith("moods.dusk.lights.fill: the colour lies outside")


def test_solved_gains_take_the_place_of_matches(five_lights):
    view = five_lights('[moods.day.lights]\nfill = { match = { to = "sun" } }\n')
    mood = view.moods["day"]
    assert balance_mood(view, mood, BT709).with_gains(view, {"fill": 0.3}).factors["fill"] == (
        0.3,
        0.3,
        0.3,
    )
    assert balance_mood(view, mood, BT709).factors["fill"] == (1, 1, 1)


def test_daylight_sets_gain_and_colour_of_sun_and_sky(five_lights):
    view = five_lights(
        '[moods.evening.daylight]\nsun = "sun"\nsky = "sky"\nsun_altitude_degrees = 10\n'
    )
    balance = balance_mood(view, view.moods["evening"], BT709)
    now, then = daylight_state(10), daylight_state(45)
    sun, sky = balance.lights["sun"], balance.lights["sky"]
    assert sun.gain == pytest.approx(now.sun_normal_lux / then.sun_normal_lux, rel=EXACT)
    assert sky.gain == pytest.approx(now.sky_lux / then.sky_lux, rel=EXACT)
    assert sun.tint.kelvin == pytest.approx(now.sun_kelvin, abs=1)
    # the colour it was rendered with comes from the recipe: 5200 K
    before = light_rgb((0.3402, 0.3542), BT709)[0]
    after = light_rgb(now.sun_xy, BT709)[0]
    assert sun.tint.factors == pytest.approx(after / before, rel=0.01)
    assert balance.factors["fill"] == (1, 1, 1)


def test_a_moods_own_setting_works_from_the_daylight(five_lights):
    start = '[moods.evening.daylight]\nsun = "sun"\nsky = "sky"\nsun_altitude_degrees = 10\n'
    plain, own = (
        five_lights(start),
        five_lights(
            start
            + "[moods.evening.lights]\nsun = { stops = -1 }\nsky = { factor = 0.2, kelvin = 9000 }"
        ),
    )
    before = balance_mood(plain, plain.moods["evening"], BT709)
    after = balance_mood(own, own.moods["evening"], BT709)
    assert after.lights["sun"].gain == pytest.approx(before.lights["sun"].gain / 2, rel=EXACT)
    assert after.lights["sun"].tint == before.lights["sun"].tint
    assert after.lights["sky"].gain == pytest.approx(before.lights["sky"].gain * 0.2, rel=EXACT)
    assert after.lights["sky"].tint.kelvin == pytest.approx(9000, abs=5)


def test_the_sun_of_a_night_is_off(five_lights):
    view = five_lights(
        '[moods.night.daylight]\nsun = "sun"\nsky = "sky"\nsun_altitude_degrees = -20\n'
    )
    balance = balance_mood(view, view.moods["night"], BT709)
    assert balance.factors["sun"] == (0, 0, 0)
    assert 0 < balance.lights["sky"].gain < 1e-6


def test_unknown_reference_altitude_is_assumed_and_said(five_lights):
    view = five_lights('[moods.day.daylight]\nsky = "fill"\nsun_altitude_degrees = 45\n')
    balance = balance_mood(view, view.moods["day"], BT709)
    assert balance.lights["fill"].gain == pytest.approx(1, rel=EXACT)
    assert any("taken as 45" in note for note in balance.notes)


def test_the_same_hour_as_rendered_changes_nothing_when_the_colour_is_the_models(five_lights):
    view = five_lights('[moods.day.daylight]\nsun = "sun"\nsun_altitude_degrees = 45\n')
    lights = dict(view.model.lights)
    lights["sun"] = lights["sun"].model_copy(update={"rendered": Rendered(sun_altitude_degrees=45)})
    object.__setattr__(view, "model", view.model.model_copy(update={"lights": lights}))
    assert balance_mood(view, view.moods["day"], BT709).factors["sun"] == pytest.approx((1, 1, 1))


def test_a_sun_rendered_below_the_horizon_is_a_fault(five_lights):
    view = five_lights('[moods.day.daylight]\nsun = "sun"\nsun_altitude_degrees = 45\n')
    lights = dict(view.model.lights)
    lights["sun"] = lights["sun"].model_copy(update={"rendered": Rendered(sun_altitude_degrees=-3)})
    object.__setattr__(view, "model", view.model.model_copy(update={"lights": lights}))
    with pytest.raises(RecipeError, match=r"moods.day.daylight.sun: .*gives no light"):
        balance_mood(view, view.moods["day"], BT709)


def test_a_step_counts_from_the_gain_of_the_other_mood_with_its_daylight(five_lights):
    """Two stops below what the sky gives by day, whatever the model says of the mood itself."""
    view = five_lights(
        """
        [moods.day]
        daylight = { sky = "sky", sun_altitude_degrees = 20 }
        lights = { sky = -1 }
        [moods.dusk]
        based_on = "day"
        daylight = { sky = "sky", sun_altitude_degrees = -2 }
        lights = { sky = "down 2" }
        [moods.later]
        based_on = "day"
        lights = { sky = "down 2" }
        """
    )
    day, dusk, later = (balance_mood(view, mood, BT709) for mood in view.moods.values())
    assert dusk.lights["sky"].gain == pytest.approx(day.lights["sky"].gain / 4, rel=EXACT)
    assert later.lights["sky"].gain == pytest.approx(day.lights["sky"].gain / 4, rel=EXACT)
    assert later.lights["sky"].tint == day.lights["sky"].tint != dusk.lights["sky"].tint


def test_a_gain_in_lumens_is_absolute_by_daylight_too(five_lights):
    """Stops and factors count from the hour; a flux is what it is: 1600 of 800 lm are twice."""
    view = five_lights(
        '[moods.evening]\ndaylight = { sky = "left", sun_altitude_degrees = 10 }\n'
        "lights = { left = { lumens = 1600 } }\n"
    )
    assert balance_mood(view, view.moods["evening"], BT709).lights["left"].gain == 2


@pytest.mark.parametrize(("stops", "is_legal"), [(59.5, True), (60.5, False)])
def test_a_pass_is_multiplied_by_up_to_60_stops(five_lights, stops, is_legal):
    view = five_lights(f"[moods.day.lights]\nsky = {{ factor = {2.0**stops} }}\n")
    if is_legal:
        assert balance_mood(view, view.moods["day"], BT709).lights["sky"].gain == 2.0**stops
        return
    with pytest.raises(RecipeError, match=r"moods\.day\.lights\.sky: .*over 60 stops"):
        balance_mood(view, view.moods["day"], BT709)


def test_a_light_that_is_off_gets_no_note_about_its_colour(five_lights):
    lit = five_lights("[moods.dusk.lights]\nfill = { factor = 1.0, kelvin = 1500 }\n")
    off = five_lights("[moods.dusk.lights]\nfill = { factor = 0.0, kelvin = 1500 }\n")
    assert balance_mood(lit, lit.moods["dusk"], BT709).notes
    assert balance_mood(off, off.moods["dusk"], BT709).notes == ()
