"""Lights and roles from names: the documented patterns, and a recipe's own."""

from __future__ import annotations

import re

import pytest

from evenfall.errors import UsageError
from evenfall.survey import names as match
from evenfall.survey.names import light_names, match_name, role_from_name
from evenfall.survey.words import ALONE, BEAUTY_WORDS, DATA_WORDS, PART_WORDS, ROLE_WORDS


@pytest.mark.parametrize(
    ("stems", "names"),
    [
        (["group_a", "group_b"], ("group_a", "group_b")),
        (["L1", "L2"], ("l1", "l2")),
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
        (["居間_空", "居間_電灯"], ("空", "電灯")),
        (["лампа_ж", "лампа_я"], ("лампа_ж", "лампа_я")),
    ],
)
def test_lights_are_found_in_names(stems: list[str], names: tuple[str, ...]) -> None:
    assert tuple(name and name.key for name in light_names(stems)) == names


def test_a_recipe_can_replace_the_patterns() -> None:
    found = light_names(["L_sun", "L_sky", "depth"], [r"^L_(?P<light>\w+)$"])
    assert [name and name.key for name in found] == ["sun", "sky", None]
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
        ("ήλιος", "key"),
        ("güneş", "key"),
        ("दीपक 2", "fixture"),
        ("ท้องฟ้า", "sky"),
        ("farola_calle", "outdoor fixture"),
        ("poller_2", "outdoor fixture"),
        ("piscine", "outdoor fixture"),
        ("Tageslicht", "sky"),  # ends as lamps do
        ("Führungslicht", "key"),
        ("Fülllicht", "fill"),
        ("maanlicht", "key"),
        ("Leuchtschrift", "glow"),
        ("Notlicht", "fixture"),
        ("Gartenleuchten", "outdoor fixture"),
        ("Außenlicht", "outdoor fixture"),
        ("Straßenlampe_2", "outdoor fixture"),
        ("buitenlamp", "outdoor fixture"),
        ("Deckenleuchte", "fixture"),
        ("månljus", "key"),
        ("月光", "key"),
        ("环境光", "sky"),
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


@pytest.mark.parametrize(
    ("stem", "key", "title"),
    [
        ("Küchenlicht", "kuchenlicht", "Küchenlicht"),
        ("ciel été", "ciel_ete", "ciel été"),
        ("太陽", "太陽", None),
        ("люстра_зал", "люстра_зал", None),
        ("Spot #2 {left}", "spot_2_left", None),
        ("Straße", "strasse", "Straße"),
        ("ήλιος", "ήλιος", None),
        ("सूरज", "सूरज", None),
        ("โคมไฟ ดวงอาทิตย์", "โคมไฟ_ดวงอาทิตย์", None),
        ("שֶׁמֶשׁ", "שֶׁמֶשׁ", None),
        ("☀️", "light", None),
        ("!!!", "light", None),
    ],
)
def test_letters_of_all_languages_stay_readable(stem: str, key: str, title: str | None) -> None:
    (name,) = light_names([stem])
    assert name is not None
    assert (name.key, name.title) == (key, title)


def test_long_names_become_keys_that_a_recipe_takes() -> None:
    long = "pendant_" * 25
    names = light_names([f"{long}left", f"{long}right", "sun"])
    keys = [name.key for name in names if name]
    assert len(set(keys)) == 3
    assert all(len(key) <= 80 for key in keys)


def test_the_documented_patterns_are_those_that_are_used() -> None:
    assert all("(?P<light>" in pattern for pattern in match.NAME_PATTERNS)
    table = re.findall(r"^``(.+?)``\s+``(.+?)``\s+(\S+)$", match.__doc__ or "", re.MULTILINE)
    assert len(table) == len(match.NAME_PATTERNS)
    for (_, example, light), pattern in zip(table, match.NAME_PATTERNS, strict=True):
        found = match_name(example)
        assert found is not None
        assert (found.light, found.pattern) == (light, pattern)


def test_words_have_one_role() -> None:
    words = [word for known in ROLE_WORDS.values() for word in known]
    assert len(words) == len(set(words))


def test_words_of_data_and_of_roles_are_not_the_same() -> None:
    roles = {word for known in ROLE_WORDS.values() for word in known}
    data = {word for known in (*DATA_WORDS.values(), *ALONE.values()) for word in known}
    parts = {word for known in PART_WORDS.values() for word in known}
    assert not data & (roles | BEAUTY_WORDS | parts)
    assert roles & parts == {"emission", "emissive"}  # which pixels have to tell apart
    assert not BEAUTY_WORDS & (roles | parts)
