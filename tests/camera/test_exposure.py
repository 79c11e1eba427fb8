"""What is metered for which mood, and what camera settings come to."""

from __future__ import annotations

import math

import pytest

from evenfall.camera.exposure import (
    LightsOn,
    equivalent_ev100,
    plan_meter,
    settings_factor,
)
from evenfall.errors import RecipeError
from evenfall.recipe import CameraSettings

MOODS = """
[moods.day.lights]
pendants = "off"
[moods.dusk]
based_on = "day"
lights = { sun = "off", pendants = "on" }
"""


def plans(view):
    on = LightsOn(view)
    return {name: plan_meter(on, mood) for name, mood in view.moods.items()}


def test_the_key_alone_is_metered_and_held_for_all_moods(five_lights):
    view = five_lights(MOODS)
    by_mood = plans(view)
    assert by_mood["day"].lights == ("sun",)
    assert by_mood["day"].mood == "day"
    assert by_mood["dusk"] == by_mood["day"]


def test_the_first_mood_with_the_key_on_is_metered(five_lights):
    view = five_lights('[moods.night.lights]\nsun = "off"\n[moods.day]\n')
    assert plans(view)["night"].mood == "day"


def test_a_sun_below_the_horizon_or_a_factor_of_nothing_is_no_key(five_lights):
    view = five_lights(
        '[moods.night.daylight]\nsun = "sun"\nsun_altitude_degrees = -9\n'
        "[moods.flat.lights]\nsun = { factor = 0.0 }\n[moods.day]\n"
    )
    assert LightsOn(view).keys("night") == ()
    assert LightsOn(view).keys("flat") == ()
    assert plans(view)["night"].mood == "day"


def test_without_any_key_the_mix_of_the_first_mood_is_metered_and_said(five_lights):
    view = five_lights('[moods.night.lights]\nsun = "off"\nsky = "off"\n')
    plan = plans(view)["night"]
    assert plan.lights == ("fill", "left", "right")
    assert "no mood has a key light that is on" in plan.notes[0]


def test_any_set_of_lights_can_be_metered(five_lights):
    view = five_lights(MOODS + '[camera.meter]\nof = ["sun", "pendants"]\nmood = "dusk"\n')
    assert plans(view)["day"].lights == ("left", "right")
    assert plans(view)["day"].mood == "dusk"
    mixed = five_lights(MOODS + '[camera.meter]\nof = "mix"\n')
    assert plans(mixed)["dusk"].lights == ("sun", "sky", "fill")


def test_a_mood_with_its_own_meter_meters_itself(five_lights):
    view = five_lights(MOODS + '[moods.dusk.camera.meter]\nof = "mix"\ngrey_percent = 12\n')
    by_mood = plans(view)
    assert by_mood["dusk"].mood == "dusk"
    assert by_mood["dusk"].lights == ("sky", "fill", "left", "right")
    assert by_mood["dusk"].meter.grey_percent == 12
    assert by_mood["day"].lights == ("sun",)


@pytest.mark.parametrize(
    ("meter", "what"),
    [('method = "centre"', "the key"), ('of = "sun"', "what it names")],
)
def test_metering_what_is_off_is_refused_with_a_way_out(five_lights, meter, what):
    view = five_lights(MOODS + f"[moods.dusk.camera.meter]\n{meter}\n")
    with pytest.raises(RecipeError, match=f"{what} is off in dusk.*of = 'mix'") as caught:
        plan_meter(LightsOn(view), view.moods["dusk"])
    assert caught.value.faults[0].place == "moods.dusk.camera.meter"


def test_settings_or_no_meter_need_no_plan(five_lights):
    off = five_lights(MOODS + '[camera]\nmeter = "off"\n')
    assert plans(off) == {"day": None, "dusk": None}
    settings = five_lights(MOODS + "[camera.settings]\niso = 200\n")
    assert plans(settings)["day"] is None


# ISO 2720:1974 with K = 12.5: the right luminance at EV100 = 13 is 0.125 x 2^13 = 1024 cd/m2
EV13 = CameraSettings(iso=100, aperture=8, shutter="1/128")


def test_the_metered_luminance_lands_on_grey():
    assert 1024 * settings_factor(EV13, 1.0) == pytest.approx(0.18, rel=1e-12)
    assert equivalent_ev100(settings_factor(EV13, 1.0), 1.0) == pytest.approx(13)


def test_on_the_saturation_scale_the_metered_luminance_lands_lower():
    # ISO 12232:2019 and Lagarde and de Rousiers (2014): exposure 1 / (1.2 x 2^EV100); a K = 12.5
    # reading lands at 0.125 / 1.2 = 0.104167, 0.789 stop below 18 %
    settings = EV13.model_copy(update={"anchor": "saturation"})
    assert settings_factor(settings, 1.0) == pytest.approx(1 / (1.2 * 2**13), rel=1e-9)
    landed = 1024 * settings_factor(settings, 1.0)
    assert landed == pytest.approx(0.104167, abs=1e-6)
    assert math.log2(0.18 / landed) == pytest.approx(0.789, abs=1e-3)


def test_a_stop_of_any_setting_is_a_stop_of_exposure():
    base = settings_factor(EV13, 1.0)
    for change, stops in ({"iso": 200}, 1), ({"aperture": 4}, 2), ({"shutter": "1/512"}, -2):
        other = settings_factor(EV13.model_copy(update=change), 1.0)
        assert math.log2(other / base) == pytest.approx(stops)


def test_the_passes_scale_is_honoured():
    assert settings_factor(EV13, 50.0) == pytest.approx(50 * settings_factor(EV13, 1.0))
    saturation = EV13.model_copy(update={"anchor": "saturation"})
    assert settings_factor(saturation, 50.0) == pytest.approx(50 / (1.2 * 2**13), rel=1e-9)
