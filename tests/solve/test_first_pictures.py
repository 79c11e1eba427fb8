"""The first recipe makes pictures to show, on scenes of several kinds.

The scenes are path-traced by a renderer that is not ours (`scenes/render.py`, Mitsuba 3). Lightness
is CIE L* of the delivered sRGB picture, reckoned by colour-science. The bands of its median are
common practice, judged by looking at the pictures: a day is bright and not burnt, dusk keeps its
room, night its pools of light.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

import evenfall

NAMES = (*("sunny_room", "overcast_room", "lamp_room", "studio", "house_by_day", "house_by_night"),)
BANDS = {"day": (48, 70), "dusk": (30, 48), "night": (16, 32)}
"""Median CIE L* of the whole picture; common practice, judged by looking."""

MOST_BURNT = 0.04
"""Of the picture, lamps that are seen included: they fill 0.5 to 2.5 % of these."""

Floats = npt.NDArray[np.float64]
Views = Callable[[str], evenfall.View]


@pytest.fixture(scope="module", params=NAMES)
def view(request: pytest.FixtureRequest, scene: Views) -> evenfall.View:
    return scene(request.param)


@pytest.fixture(scope="module")
def pictures(view: evenfall.View) -> dict[str, Floats]:
    return {mood: view.develop(mood).encoded().astype(np.float64) for mood in view.moods}


def lightness(picture: Floats) -> Floats:
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of optional packages that are not there
        import colour
    return np.asarray(colour.XYZ_to_Lab(colour.sRGB_to_XYZ(picture))[..., 0])


def test_moods_lie_where_pictures_of_their_kind_lie(pictures: dict[str, Floats]) -> None:
    medians = {mood: float(np.median(lightness(each))) for mood, each in pictures.items()}
    for mood, (least, most) in BANDS.items():
        assert least <= medians[mood] <= most, medians
    assert medians["day"] > medians["dusk"] + 5 > medians["night"] + 10


def test_nothing_burns_but_lamps(pictures: dict[str, Floats]) -> None:
    for mood, each in pictures.items():
        assert (each >= 254.5 / 255).any(axis=-1).mean() <= MOST_BURNT, mood


def test_the_recipe_gets_no_advice_about_itself(view: evenfall.View) -> None:
    assert [str(advice) for advice in view.check().advice] == []


def test_lamps_are_lit_by_day_and_keep_their_strength_at_dusk(view: evenfall.View) -> None:
    recipe = view.recipe
    lamps = [name for name, light in recipe.model.lights.items() if light.role == "fixture"]
    skies = [name for name, light in recipe.model.lights.items() if light.role == "sky"]
    day, dusk = (view.develop(mood).balance.lights for mood in ("day", "dusk"))
    for lamp in lamps:
        assert day[lamp].gain > 0
        if skies:
            assert dusk[lamp].gain == pytest.approx(day[lamp].gain)
    for sky in skies:
        assert 0 < dusk[sky].gain < day[sky].gain


def test_daylight_goes_down_where_no_window_is_in_view(scene: Views) -> None:
    """The brightest wall is no window that would have to be lit at night."""
    view = scene("from_the_window")
    day, dusk, night = (view.develop(mood).balance.lights for mood in ("day", "dusk", "night"))
    assert 0 < dusk["sky"].gain <= 0.5 * day["sky"].gain
    assert 0 < night["sky"].gain <= 0.25 * dusk["sky"].gain


def window(name: str) -> npt.NDArray[np.bool_]:
    """Sky seen through the window of the rooms, by their camera: planted by hand."""
    seen = np.zeros((100, 160), bool)
    seen[24:42, 44:92] = name in ("sunny_room", "overcast_room")
    return seen


def test_the_window_stands_in_proportion_to_the_room_at_dusk(
    view: evenfall.View, pictures: dict[str, Floats]
) -> None:
    seen = window(view.recipe.passes_folder.name.rstrip("0123456789"))
    if not seen.any():
        pytest.skip("no window")
    sky, room = pictures["dusk"][seen], pictures["dusk"][~seen]
    assert 35 <= np.median(lightness(sky)) <= 65
    assert abs(np.median(lightness(sky)) - np.median(lightness(room))) < 25
    red, _, blue = np.median(sky, axis=0)
    assert blue > 1.3 * red  # blue hour outside
    red, _, blue = np.median(room, axis=0)
    assert red > 1.2 * blue  # lamps inside
    assert np.median(lightness(pictures["night"][seen])) < 30


def test_reasons_stand_in_the_recipe(view: evenfall.View) -> None:
    text = view.recipe.text
    assert "so that day has a median lightness of" in text
    assert "# Dusk:" in text
    assert "# Night:" in text
    assert "glare.strength = 0.02  # a little light spills around lamps" in text


@pytest.mark.parametrize("name", ["lamp_room", "house_by_day"])
def test_solving_is_repeatable(scene: Views, name: str, tmp_path: Path) -> None:
    view = scene(name)
    again = tmp_path / view.recipe.path.parent.name
    again.mkdir()
    for file in view.recipe.passes_folder.glob("*.exr"):
        shutil.copy(file, again)
    evenfall.survey_folder(again, write=again / "first.toml")
    assert (again / "first.toml").read_text() == view.recipe.text
