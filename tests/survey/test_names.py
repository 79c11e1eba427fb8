"""Lights and roles from names: the documented patterns, and a recipe's own."""

from __future__ import annotations

import re

import pytest

from evenfall.errors import UsageError
from evenfall.survey import names as match
from evenfall.survey.names import (
    is_beauty_name,
    is_guide_name,
    light_names,
    match_name,
    role_from_name,
)


@pytest.mark.parametrize(
    ("stems", "names"),
    [
        (["sun", "sky", "pendants"], ("sun", "sky", "pendants")),
        (["living_light_sun", "living_light_cove"], ("sun", "cove")),
        (["villa.pass.Sun.0001", "villa.pass.Floor Lamp.0001"], ("sun", "floor_lamp")),
        (["sky_pass", "sun_pass"], ("sky", "sun")),
        (["v2_day_sun_final", "v2_day_sky_final"], ("sun", "sky")),
        (["lamp_a", "lamp_b"], ("lamp_a", "lamp_b")),
        (["floor_lamp", "table_lamp"], ("floor_lamp", "table_lamp")),
        (["villa_floor_lamp_v2", "villa_table_lamp_v2"], ("floor_lamp", "table_lamp")),
        (["villa_sun_left", "villa_sun_right"], ("sun_left", "sun_right")),
        (["villa_garden_lamp_1", "villa_garden_lamp_2"], ("garden_lamp_1", "garden_lamp_2")),
        (["garden_1", "garden_2"], ("garden_1", "garden_2")),
        (["garden_sun", "garden_1"], ("sun", "garden_1")),
        (["villa_1_final", "villa_2_final"], ("villa_1", "villa_2")),
        (["1_final", "2_final"], ("1_final", "2_final")),
        (["kitchen_sun", "kitchen_pendants"], ("sun", "pendants")),
        (["light_1", "light_2"], ("light_1", "light_2")),
        (["sun", "light_2", "3_light"], ("sun", "light_2", "3_light")),
        (["sky_lounge_sun", "sky_lounge_cove"], ("sun", "cove")),
        (["spot 1", "spot-2"], ("spot_1", "spot_2")),
        (["sun/0001".replace("/", "_"), "sky_0001"], ("sun", "sky")),
        (["Garden", "garden"], ("garden", "garden_2")),
        (["table_lamp"], ("table_lamp",)),
    ],
)
def test_lights_are_found_in_names(stems: list[str], names: tuple[str, ...]) -> None:
    assert light_names(stems) == names


def test_a_recipe_can_replace_the_patterns() -> None:
    found = light_names(["L_sun", "L_sky", "depth"], [r"^L_(?P<light>\w+)$"])
    assert found == ("sun", "sky", None)
    matched = match_name("K07-kitchen", [r"^K\d+-(?P<light>.+)$"])
    assert matched is not None
    assert (matched.light, matched.pattern) == ("kitchen", r"^K\d+-(?P<light>.+)$")


def test_patterns_that_do_not_work_are_all_told() -> None:
    with pytest.raises(UsageError, match=r"(?s)does not read.*names no light"):
        light_names(["sun"], ["(", "^(.+)$"])


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("sun", "key"),
        ("KeyLight", "key"),
        ("sky_dome", "sky"),
        ("window fill", "fill"),
        ("pendants", "fixture"),
        ("wall_washers", "fixture"),
        ("under-cabinet strips", "fixture"),
        ("terrace_lantern", "outdoor fixture"),
        ("GardenSpots", "outdoor fixture"),
        ("tv screen", "glow"),
        ("screens", "glow"),
        ("exterior_sky", "sky"),
        ("garden_sun", "key"),
        ("terrace_fill", "fill"),
    ],
)
def test_roles_from_words(name: str, role: str) -> None:
    guess = role_from_name(name)
    assert guess is not None
    assert guess.role == role
    assert guess.reason.startswith("named '")


def test_the_word_that_shines_is_the_reason_before_the_place() -> None:
    guess = role_from_name("floor_lamp")
    assert guess is not None
    assert guess.reason == "named 'lamp'"


@pytest.mark.parametrize("name", ["group_07", "misc", "", "sunken_area"])
def test_names_that_say_no_role(name: str) -> None:
    assert role_from_name(name) is None


def test_beauty_and_guides_are_told_from_lights() -> None:
    assert [is_beauty_name(n) for n in ("beauty", "living_Beauty_v3", "all lights")] == [True] * 3
    assert [is_beauty_name(n) for n in ("sun", "wall", "hall_pendants", "full_sun")] == [False] * 4
    assert [is_guide_name(n) for n in ("albedo", "view_normals", "depth")] == [True] * 3
    assert [is_guide_name(n) for n in ("sky", "bathroom", "masked_ball")] == [False] * 3


def test_the_documented_patterns_are_those_that_are_used() -> None:
    assert all("(?P<light>" in pattern for pattern in match.NAME_PATTERNS)
    table = re.findall(r"^``(.+?)``\s+``(.+?)``\s+(\S+)$", match.__doc__ or "", re.MULTILINE)
    assert len(table) == len(match.NAME_PATTERNS)
    for (_, example, light), pattern in zip(table, match.NAME_PATTERNS, strict=True):
        found = match_name(example)
        assert found is not None
        assert (found.light, found.pattern) == (light, pattern)


def test_words_have_one_role() -> None:
    words = [word for known in match.ROLE_WORDS.values() for word in known]
    assert len(words) == len(set(words))
