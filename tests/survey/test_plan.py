"""The pass plan: what is on in each pass, file names, and a page that prints."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

import pytest

from evenfall.drawings.plan_page import plan_page
from evenfall.errors import UsageError
from evenfall.recipe import load
from evenfall.survey.plan import (
    CAUTIONS,
    plan_from_recipe,
    plan_passes,
)
from evenfall.survey.plan_text import sheet_text

RECIPE = """
format = 1
[project]
title = "Harbour house"
view = "Kitchen"
[passes]
beauty = { file = "kitchen.exr", layer = "all" }
[lights.sun]
file = "kitchen.exr"
layer = "sun"
role = "key"
[lights.island]
file = "island.exr"
title = "Island pendants"
rendered = { kelvin = 2700, lumens = 800 }
[moods.day]
"""


def test_every_pass_has_one_light_on_and_the_beauty_all() -> None:
    matrix = plan_passes(["sun", "sky", "cove", "garden lamps"]).matrix()
    assert [sum(row) for row in matrix] == [1, 1, 1, 1, 4]
    assert [row.index(True) for row in matrix[:-1]] == [0, 1, 2, 3]


def test_a_recipe_is_planned_before_its_files_exist(tmp_path: Path) -> None:
    path = tmp_path / "kitchen.toml"
    path.write_text(RECIPE)
    plan = plan_from_recipe(load(path, check_files=False))
    assert plan.title == "Harbour house, Kitchen"
    assert [light.file for light in plan.lights] == ["kitchen.exr / sun", "island.exr"]
    assert plan.beauty == "kitchen.exr / all"
    text = sheet_text(plan)
    assert "Island pendants" in text
    assert "2700 K, 800 lm" in text


def test_text_holds_every_pass_format_and_caution() -> None:
    plan = plan_passes(["sun", "sky", "Under-cabinet strips:fixture"], prefix="k1")
    text = sheet_text(plan)
    for light in plan.lights:
        assert light.file in text
        assert light.what_is_on in " ".join(text.split())
    assert all(caution.title in text for caution in CAUTIONS)
    assert "scene-linear" in text


@pytest.mark.parametrize("width", [40, 79, 100])
@pytest.mark.parametrize("count", [1, 9, 30])
def test_no_line_is_longer_than_asked(width: int, count: int) -> None:
    lights = [f"lamp {number}:outdoor fixture" for number in range(count)]
    plan = plan_passes(lights, title="A house whose name is long " * 4)
    lines = sheet_text(plan, width=width).splitlines()
    assert max(map(len, lines)) <= max(width, 46)  # the headings are that long
    rows = [line for line in lines if line.split()[-1:] == ["o"] and line.split()[0] == "B"]
    assert sum(row.count(" o") for row in rows) == count  # the beauty, in as many blocks


def test_long_names_are_listed_in_full_above_the_matrix() -> None:
    name = "the lamps of the far terrace beyond the water"
    plan = plan_passes([name, "sky"], prefix="harbour_house_kitchen_v012")
    text = sheet_text(plan)
    assert name in " ".join(text.split())
    assert plan.lights[0].file in text
    assert "the lamps of the far...  o  ." in text


def test_marks_of_the_text_stand_below_their_numbers() -> None:
    lights = [f"lamp {number}" for number in range(1, 13)]
    lines = sheet_text(plan_passes(lights)).splitlines()
    head = next(n for n, line in enumerate(lines) if line.split() == [str(i) for i in range(1, 13)])
    for index in range(12):
        row = lines[head + 1 + index]
        at = lines[head].rindex(f"{index + 1:>3}", 0, lines[head].index("12") + 2) + 2
        assert row[at] == "o"
        assert row.count(" o") == 1


class Page(HTMLParser):
    """Counts elements, and insists that they close in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.classes: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag != "meta":
            self.open.append(tag)
        self.classes += [value or "" for name, value in attrs if name == "class"]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("count", [1, 3, 40])
def test_page_is_well_formed_and_whole(count: int) -> None:
    plan = plan_passes([f"lamp {number}" for number in range(count)], title='A <b> & "c"')
    page = Page()
    page.feed(plan_page(plan))
    assert page.open == []
    assert page.classes.count("on") == 2 * count
    assert page.classes.count("off") == count * count - count
    assert page.classes.count("tick") == count + 1 + len(CAUTIONS)
    assert 'A <b> & "c"' in page.text
    assert "http" not in plan_page(plan)  # needs nothing from elsewhere


def test_lists_that_cannot_be_planned_are_refused_whole() -> None:
    with pytest.raises(UsageError, match="no lights"):
        plan_passes([])
    with pytest.raises(UsageError, match=r"(?s)no such role: 'moon'.*a light without a name"):
        plan_passes(["sun:moon", ":key"])
    with pytest.raises(
        UsageError, match="two lights would be named 'wall_lamp'; give each light a name of its own"
    ):
        plan_passes(["wall lamp", "Wall-lamp"])
