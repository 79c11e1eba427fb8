"""What differs between two recipes, in words; what comes to the same is no difference."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from evenfall.compare.recipes import recipe_differences
from evenfall.recipe.recipe import load_text

TEXT = """\
format = 1
lights.sun = { file = "sun.exr", role = "key" }
lights.sky = { file = "sky.exr", role = "sky" }
lights.left = { file = "left.exr", rendered.lumens = 800 }
lights.right = { file = "right.exr", rendered.lumens = 800 }
groups.lamps = ["left", "right"]
look.glare.strength = 0.02
[moods.day]
lights = { lamps = "off", sky = -1 }
[moods.dusk]
based_on = "day"
lights = { sun = "off", sky = -3, lamps = { stops = 1, kelvin = 2700 } }
camera = { exposure_stops = 1, white_balance = { kelvin = 4600 } }
plate = { file = "dusk.jpg" }
"""

Lines = Callable[..., list[str]]


@pytest.fixture
def lines() -> Lines:
    """Lines that say what differs once a piece of the text is another."""

    def differ(*pairs: tuple[str, str], before: str = TEXT) -> list[str]:
        after = before
        for old, new in pairs:
            assert after.count(old) == 1, old
            after = after.replace(old, new)
        one, other = (load_text(text, Path("view.toml"), check_files=False)
                      for text in (before, after))  # fmt: skip
        return recipe_differences(one, other).lines()

    return differ


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("sky = -3", 'sky = "down 2"'),  # -1 - 2 = -3
        ("sky = -1", "sky = { factor = 0.5 }"),
        ("stops = 1, kelvin", "lumens = 1600, kelvin"),  # 800 lm and a stop
        ("lamps = { stops = 1, kelvin = 2700 }",
         "left = { stops = 1, kelvin = 2700 }, right = { stops = 1, kelvin = 2700 }"),
        ("exposure_stops = 1,", 'exposure_stops = "up 1",'),
        ('based_on = "day"', 'based_on = "day"   # as agreed'),
        ("look.glare.strength = 0.02", "look = { glare = { strength = 0.02 } }"),
    ],
)  # fmt: skip
def test_what_comes_to_the_same_is_no_difference(lines: Lines, old: str, new: str) -> None:
    assert lines((old, new)) == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("sky = -3", "sky = -2.5", ["dusk: sky: -3 stops -> -2 1/2 stops (up 1/2)"]),
        ("kelvin = 2700 }", "kelvin = 3000 }", [
            "dusk: left: +1 stop, 2700 K -> +1 stop, 3000 K (cooler 37)",
            "dusk: right: +1 stop, 2700 K -> +1 stop, 3000 K (cooler 37)",
        ]),
        ('sun = "off"', "sun = -9", ["dusk: sun: off -> -9 stops"]),
        ("sky = -3", 'sky = { match = { to = "left" } }',
         ["dusk: sky: -3 stops -> left to sky 1:1"]),
        ("exposure_stops = 1,", "exposure_stops = 1.5,",
         ["dusk: exposure: +1 stops -> +1 1/2 stops (up 1/2)"]),
        ("kelvin = 4600", "kelvin = 4300", ["dusk: white balance: 4600 K -> 4300 K"]),
        ("strength = 0.02", "strength = 0.03", [
            "day: glare strength: 0.02 -> 0.03", "dusk: glare strength: 0.02 -> 0.03",
        ]),
        ('plate = { file = "dusk.jpg" }', 'plate = { file = "dusk.jpg", stops = "-1/3" }',
         ["dusk: plate stops: 0 -> -1/3"]),
        ('plate = { file = "dusk.jpg" }', "", ["dusk: plate: file dusk.jpg -> nothing"]),
        ('role = "sky"', 'role = "fill"', ["light sky role: sky -> fill"]),
        ("lumens = 800 }\ngroups", "lumens = 900 }\ngroups", [
            "light right rendered lumens: 800 -> 900"]),
    ],
)  # fmt: skip
def test_what_differs(lines: Lines, old: str, new: str, said: list[str]) -> None:
    assert lines((old, new)) == said


def test_moods_and_deliverables_that_come_and_go(lines: Lines) -> None:
    more = TEXT + '[moods.night]\nbased_on = "dusk"\n[[deliverables]]\nformat = "tiff"\n'
    assert lines((TEXT, more)) == ["night: is new", "deliverable 1 format: png -> tiff"]
    assert lines((more, TEXT), before=more)[0] == "night: is gone"


def test_a_light_that_hangs_on_a_ratio_elsewhere_is_told_of(lines: Lines) -> None:
    """The step is the same; the gain it counts from is twice as strong."""
    text = TEXT.replace("sky = -1", 'sky = { match = { to = "sun", ratio = "4:1" } }').replace(
        "sky = -3", 'sky = "down 2"'
    )
    assert lines(("4:1", "2:1"), before=text) == [
        "day: sky: sun to sky 4:1 -> sun to sky 2:1 (up 1)",
        "dusk: sky: 2 down from day -> 2 down from day (up 1)",
    ]
