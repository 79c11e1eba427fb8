"""Moods in sentences: what stands there, what it is taken from, and what turning a figure says."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfall.change.changing import change_text
from evenfall.desk.aims import turned_aim
from evenfall.desk.brief import Brief, Clause, brief_of
from evenfall.desk.figures import Figure, Size, turned, turned_ratio
from evenfall.recipe.recipe import load_text
from evenfall.recipe.words.looks import look_words

HEAD = """format = 1
[lights.sun]
file = "sun.exr"
role = "key"
[lights.sky]
file = "sky.exr"
role = "sky"
[lights.left]
file = "left.exr"
[lights.right]
file = "right.exr"
[lights.porch]
file = "porch.exr"
title = "Porch light"
[groups]
pendants = ["left", "right"]
"""
MOODS = """
[moods.day.lights]
pendants = "off"
[moods.dusk]
title = "Dusk"
based_on = "day"
[moods.dusk.lights]
sun = "off"
sky = { stops = -2, kelvin = 10000 }
pendants = { stops = "1/3", kelvin = 2700 }
[moods.dusk.camera]
exposure_stops = 1.4
"""


def brief(mood: str, moods: str = MOODS) -> Brief:
    recipe = load_text(HEAD + moods, Path("view.toml"), check_files=False)
    return brief_of(recipe, mood)


def said(clauses: tuple[Clause, ...]) -> list[str]:
    return ["".join(s if isinstance(s, str) else s.text for s in each.spans) for each in clauses]


def sentence(found: Brief, kind: str) -> list[str]:
    return [f"{each.lead}: {'; '.join(said(each.clauses))}" for each in found.sentences
            if each.kind == kind]  # fmt: skip


def test_a_mood_reads_as_a_lighting_person_would_say_it() -> None:
    """The sentence is the one that a lighting person was heard to say; thin space in 10 000."""
    found = brief("dusk")
    assert sentence(found, "own") == [
        "Dusk is day with: the sun off; the sky 2 stops down at 10\u202f000 K; "
        "the pendants 1/3 up at 2700 K"
    ]
    assert sentence(found, "camera") == ["The camera: opens 1.4"]


def test_the_look_is_said_with_the_unit_of_each_number_and_as_check_says_it() -> None:
    moods = (
        "[moods.day.look]\nvignette = { natural = 0.5, focal_length_mm = 24 }\n"
        "tone = { highlight_stops = 7.5 }\nglare = { strength = 0.035 }\n"
    )
    found = brief("day", moods)
    words = [
        "white 7 1/2 stops over grey",
        "glare 0.035",
        "0.5 of the lens's natural fall-off",
        "a lens of 24 mm",
    ]
    assert sentence(found, "look") == [f"The look has: {'; '.join(words)}"]
    recipe = load_text(HEAD + moods, Path("view.toml"), check_files=False)
    assert look_words(recipe, "day") == ", ".join(words)


def test_aims_are_said_and_show_where_they_are() -> None:
    moods = (
        "[moods.day.aims]\nwall = { area = { rectangle = [0, 0, 0.5, 1] }, stops = -1.25 }\n"
        "lamps = { clipped_at_most = 0.03 }\n"
    )
    found = brief("day", moods)
    assert sentence(found, "aims") == [
        "It should show: wall 1.25 stops under middle grey; lamps at most 3.0% clipped"
    ]
    assert found.figures["aim:wall"].area == (0, 0, 0.5, 1)


@pytest.mark.parametrize(
    ("asked", "size", "count", "text"),
    [
        ("stops = -1.25", "third", 1, "0.92 stops under middle grey"),
        ('ratio = "4:1", over = "room"', "third", 1, "5:1 over room"),
        ('ratio = "4:1", over = "room"', "third", 3, "8:1 over room"),
        ('ratio = "4:1", over = "room"', "stop", -1, "2:1 over room"),
        ('ratio = "3:1", over = "room"', "third", -1, "2.5:1 over room"),
        ('ratio = "1:1", over = "room"', "third", -3, "1:2 over room"),
        ("kelvin = 2700", "third", 1, "2750 K"),
        ("clipped_at_most = 0.03", "tenth", -1, "at most 2.9% clipped"),
        ("clipped_at_most = 0.001", "third", -1, "at most 0.0% clipped"),
        ("shadows_at_least = 20", "third", 1, "shadows at L* 20.5 at least"),
        ("darker = 0.5", "stop", -1, "1 1/2 stops darker than it stood"),
        ("neutral = true", "third", 1, "neutral"),
    ],
)
def test_an_aim_turns_by_the_steps_of_what_it_asks(
    asked: str, size: Size, count: int, text: str
) -> None:
    """A third of a stop is a step of R10 (ISO 3: 2, 2.5, 4, 5, 8), a stop doubles; by hand."""
    moods = f"[moods.day.aims]\nroom = {{ stops = 0 }}\nwall = {{ {asked} }}\n"
    recipe = load_text(HEAD + moods, Path("view.toml"), check_files=False)
    turned_text = turned_aim(recipe, "day", "wall", size, count)
    after = load_text(turned_text, Path("view.toml"), check_files=False)
    assert brief_of(after, "day").figures["aim:wall"].text == text


@pytest.mark.parametrize("ratio", [0.3, 0.8, 1.0, 1.255, 1.58, 1.6, 3.0, 4.0, 6.3, 15.0])
def test_ratios_turn_the_way_that_the_hand_turns(ratio: float) -> None:
    for size in ("tenth", "third", "stop"):
        up, down = turned_ratio(ratio, size, 1), turned_ratio(ratio, size, -1)
        assert down < ratio < up
        assert up / down < {"tenth": 1.2, "third": 1.7, "stop": 4.1}[size]


def test_lights_that_nobody_mentions_stand_in_one_closing_sentence() -> None:
    assert sentence(brief("day"), "rest") == [
        "Not mentioned, and as rendered:: the sun; the sky; the porch light"
    ]


def test_what_is_taken_from_another_mood_says_so() -> None:
    moods = MOODS + '[moods.night]\nbased_on = "dusk"\nlights = { sky = -8 }\n'
    figures = brief("night", moods).figures
    assert {key: each.source for key, each in figures.items() if not key.startswith("dial")} == {
        "gain:sky": "",
        "tint:sky": "dusk",
        "gain:left+right": "dusk",
        "tint:left+right": "dusk",
        "gain:sun": "dusk",
        "gain:porch": "",
    }
    assert figures["dial:exposure"].source == "dusk"
    assert brief("day").figures["dial:exposure"].source == "the recipe"


def test_a_light_of_a_group_that_goes_its_own_way_has_a_clause_of_its_own() -> None:
    moods = "[moods.day.lights]\npendants = -1\nleft = -2\n"
    assert sentence(brief("day", moods), "own") == [
        "day has: the left 2 stops down; the right 1 stop down"
    ]


@pytest.mark.parametrize(
    ("setting", "text"),
    [
        ('"off"', "off"),
        ("0", "as rendered"),
        ("{ factor = 0.5 }", "times 0.5"),
        ('"1 1/3"', "1 1/3 stops up"),
        ('{ match = { to = "sky", ratio = "3:1" } }', "at 3:1 from the sky"),
        ("{ mired_shift = -30 }", "as rendered"),
    ],
)
def test_every_way_to_say_a_gain(setting: str, text: str) -> None:
    assert brief("day", f"[moods.day.lights]\nsun = {setting}\n").figures["gain:sun"].text == text


@pytest.mark.parametrize(
    ("key", "size", "count", "text"),
    [
        ("gain:sky", "third", 1, "1 2/3 stops down"),  # -2 + 1/3, by hand
        ("gain:sky", "tenth", -3, "2.3 stops down"),
        ("gain:sky", "stop", 3, "1 stop up"),
        ("gain:sun", "third", 1, "as rendered"),
        ("gain:left+right", "third", -1, "as rendered"),
        ("dial:exposure", "stop", -1, "0.4"),
        ("tint:left+right", "third", 2, "2800 K"),  # two steps of 50 K at 2700 K
        ("tint:sky", "tenth", -1, "9800 K"),  # 2 mired at 10,000 K are 200 K
    ],
)
def test_a_turn_goes_by_the_steps_of_the_trade(key: str, size: str, count: int, text: str) -> None:
    """A third, a tenth and a stop; mired = 1e6 / K (CIE 15), so 8 mired at 2700 K are 58 K."""
    figure = brief("dusk").figures[key]
    changed = change_text(HEAD + MOODS, Path("view.toml"), ["dusk"], turned(figure, size, count))
    recipe = load_text(changed.text, Path("view.toml"), check_files=False)
    assert brief_of(recipe, "dusk").figures[key].text.replace("\u202f", "") == text


def test_turning_up_and_down_comes_back_to_the_same_figure() -> None:
    for kind, value in (("kelvin", 2700.0), ("kelvin", 10_000.0), ("number", 0.035)):
        figure = Figure("x", kind, "", "", ("it",), value=value)
        up = turned(figure, "third", 1)[0].split()
        number = float(up[1] if kind == "kelvin" else up[2])
        back = turned(Figure("x", kind, "", "", ("it",), value=number), "third", -1)[0]
        assert number > value
        assert f"{value:g}" in back
