"""The camera of a mood: meter or settings, exposure stops and white balance together."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.camera.meter import Reading
from evenfall.camera.state import camera_state
from evenfall.errors import RecipeError
from evenfall.light.colour import kelvin_to_xy
from evenfall.light.primaries import BT709
from evenfall.light.tint import light_rgb

READING = Reading(luminance=0.045, target=0.18, lit_share=1.0)


def test_reading_and_stops_multiply(five_lights):
    view = five_lights("[camera]\nexposure_stops = '+1/2'\n[moods.day]\n")
    state = camera_state(view, view.moods["day"], BT709, reading=READING)
    assert state.exposure_factor == pytest.approx(4 * 2**0.5)
    assert state.matrix == pytest.approx(state.exposure_factor * np.eye(3))
    assert state.ev100 is None


def test_no_meter_leaves_values_as_they_are(five_lights):
    view = five_lights('[camera]\nmeter = "off"\nexposure_stops = -1\n[moods.day]\n')
    assert camera_state(view, view.moods["day"], BT709).exposure_factor == 0.5


def test_white_balance_is_in_the_matrix(five_lights):
    view = five_lights("[camera.white_balance]\nkelvin = 3200\n[moods.day]\n")
    state = camera_state(view, view.moods["day"], BT709, reading=READING)
    lamp = light_rgb(kelvin_to_xy(3200), BT709)[0]
    assert state.matrix @ (0.045 * lamp) == pytest.approx((0.18,) * 3)


def test_settings_expose_passes_of_known_scale(five_lights):
    settings = "iso = 100\naperture = 8\nshutter = '1/128'"
    view = five_lights(f"[camera.settings]\n{settings}\n[moods.day]\n")
    state = camera_state(view, view.moods["day"], BT709, luminance_scale=4.0)
    # EV 13 is right for 1024 cd/m2 (ISO 2720:1974, K = 12.5), a pixel of 256 here
    assert 256 * state.exposure_factor == pytest.approx(0.18)
    assert state.ev100 == pytest.approx(13)


def test_metering_and_setting_the_metered_exposure_are_one(five_lights):
    metered = five_lights("[camera.meter]\ngrey_percent = 12.5\n[moods.day]\n")
    reading = Reading(luminance=30.0, target=0.125, lit_share=1.0)
    by_meter = camera_state(
        metered, metered.moods["day"], BT709, reading=reading, luminance_scale=2.0
    )
    shutter = 64.0 / 2**by_meter.ev100  # at f/8
    by_hand = five_lights(f"[camera.settings]\nshutter = {shutter}\n[moods.day]\n")
    state = camera_state(by_hand, by_hand.moods["day"], BT709, luminance_scale=2.0)
    assert state.exposure_factor == pytest.approx(by_meter.exposure_factor)


def test_settings_without_a_scale_are_refused_with_a_way_out(five_lights):
    view = five_lights("[camera.settings]\niso = 100\n[moods.day]\n")
    with pytest.raises(RecipeError, match=r"camera.settings: .*passes.luminance_scale = 1.0"):
        camera_state(view, view.moods["day"], BT709)


def test_a_dark_neutral_spot_is_a_fault_of_the_recipe(five_lights):
    view = five_lights("[camera.white_balance]\nneutral = [0.5, 0.5]\n[moods.day]\n")
    with pytest.raises(RecipeError, match=r"moods.day.camera.white_balance: there is no light"):
        camera_state(view, view.moods["day"], BT709, reading=READING, neutral_rgb=(0, 0, 0))


@pytest.mark.parametrize("stops", [-91, 91])
def test_an_exposure_that_no_number_holds_is_refused(five_lights, stops):
    """More than 90 stops: 2^90 times a pixel of 2^37 is the end of IEEE 754 binary32 (2^128)."""
    view = five_lights("[moods.day]\n")
    reading = Reading(luminance=0.18 * 2.0**-stops, target=0.18, lit_share=1.0)
    with pytest.raises(RecipeError, match=r"moods\.day\.camera: .*within 90 stops"):
        camera_state(view, view.moods["day"], BT709, reading=reading)
    near = Reading(luminance=0.18 * 2.0 ** (-stops * 89 / 91), target=0.18, lit_share=1.0)
    camera_state(view, view.moods["day"], BT709, reading=near)
