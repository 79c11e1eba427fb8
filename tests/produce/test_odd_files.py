"""Runs on files with something odd in them: what is odd is named, and what is sound is kept."""

from __future__ import annotations

import numpy as np
import pytest

import evenfall
from evenfall.develop import pictures
from evenfall.errors import PassError

RECIPE = """format = 1
[lights.sun]
file = "sun.exr"
role = "key"
[lights.sky]
file = "sky.exr"
role = "sky"
[moods.day]
[moods.dusk.lights]
sun = "off"
[moods.dusk.camera]
meter = "off"
"""


def test_one_absurd_pixel_is_named_where_no_exposure_can_be_set(write_recipe):
    sun = np.full((16, 24, 3), 0.4, np.float32)
    sun[5, 20, 1] = 3e38
    recipe = write_recipe(RECIPE, {"sun": sun, "sky": (0.1, 0.2, 0.3)})
    says = (
        r"(?s)comes to a factor of .*sun\.exr: lights\.sun: its pixel at 20, 5 is 3e\+38, brighter"
    )
    with pytest.raises(PassError, match=says):
        evenfall.run(recipe)
    report = evenfall.run(recipe, keep_going=True)
    assert list(report.moods) == ["dusk"]
    assert report.lights["sun"].huge_pixels == 1
    assert "sun: 1 pixel is brighter than any light, 3e+38 at 20, 5" in report.notes


def test_a_sum_beyond_single_precision_names_the_pixel(write_recipe):
    sun = np.full((16, 24, 3), 0.4, np.float32)
    sun[5, 20, 1] = 3e38
    text = RECIPE + '[camera]\nmeter = "off"\n[moods.bright.lights.sun]\nstops = 2\n'
    recipe = write_recipe(text, {"sun": sun, "sky": (0.1, 0.2, 0.3)})
    with pytest.raises(PassError, match=r"lights\.sun: .*3\.4e38\); its pixel at 20, 5 is 3e\+38"):
        evenfall.run(recipe, moods=["bright"])


def test_broken_alpha_leaves_colour_as_it_is(write_recipe):
    sun = np.full((16, 24, 4), 0.5, np.float32)
    sun[..., 3] = 1
    sound = write_recipe(RECIPE, {"sun": sun, "sky": (0.1, 0.2, 0.3)})
    expected = pictures.mix(sound, "day")
    sun[2:8, 3:9, 3] = np.nan
    broken = write_recipe(RECIPE, {"sun": sun, "sky": (0.1, 0.2, 0.3)})
    assert np.array_equal(pictures.mix(broken, "day"), expected)
    notes = evenfall.run(broken).notes
    assert (
        "sun: 36 pixels have an alpha that is no number: it was mended, their colour kept" in notes
    )
