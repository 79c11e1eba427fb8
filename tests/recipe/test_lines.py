"""The line of every place, on everything that TOML 1.0 allows."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from evenfall.recipe.lines import map_lines
from evenfall.recipe.places import Place, parse_place

EVERYTHING = '''\
# comment with key = "value" and [table]
format = 1 # trailing [comment]
"quoted key" = 'literal # no comment'
site."late dusk".x = 1
text = """
[no.table]
no_key = 1 \\""" still inside
""" # after
literal = \'\'\'
]] = [[
''two quotes and five: \'\'\'\'\'
after = true

[passes] # heading
folder = "a # b"
list = [
  1, # one
  # lonely comment
  [2, 3],

  { x = 4, y.z = 5 },
]

[[deliverables]]
format = "png"
[deliverables.print]
width_mm = 1

[[ deliverables ]]
format = "tiff"

[moods.dusk.lights]
sun = { stops = -2, match = { to = "sky", list = ["a", "b"] } }

[moods.day] # out of order: moods.dusk came first
title = "Day"

[look]
[moods.dusk]
title = "Dusk"
[[moods.dusk.regions]]
area.ellipse = [0, 1, 2, 3]
[[moods.dusk.regions]]
area = {}
[moods.dusk.regions.lights]
sun = +1e3
"\\u00e4" = 07:32:00
'''

EXPECTED = {
    "format": 2,
    '"quoted key"': 3,
    "site": 4,
    'site."late dusk".x': 4,
    "text": 5,
    "literal": 9,
    "after": 12,
    "passes": 14,
    "passes.folder": 15,
    "passes.list": 16,
    "passes.list[0]": 17,
    "passes.list[1][1]": 19,
    "passes.list[2]": 21,
    "passes.list[2].y.z": 21,
    "deliverables": 24,
    "deliverables[0].format": 25,
    "deliverables[0].print": 26,
    "deliverables[0].print.width_mm": 27,
    "deliverables[1]": 29,
    "deliverables[1].format": 30,
    "moods": 32,
    "moods.dusk.lights": 32,
    "moods.dusk.lights.sun.match.list[1]": 33,
    "moods.day": 35,
    "look": 38,
    "moods.dusk": 39,
    "moods.dusk.title": 40,
    "moods.dusk.regions[0].area.ellipse[3]": 42,
    "moods.dusk.regions[1]": 43,
    "moods.dusk.regions[1].lights.sun": 46,
    'moods.dusk.regions[1].lights."ä"': 47,
}


def places_of(value: Any, place: Place = ()) -> Iterator[Place]:
    """Every place of a tree, as the standard library's own parser finds it."""
    if place:
        yield place
    if isinstance(value, dict):
        for key, item in value.items():
            yield from places_of(item, (*place, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from places_of(item, (*place, index))


@pytest.mark.parametrize(("place", "line"), EXPECTED.items())
def test_line_of_a_place(place: str, line: int) -> None:
    assert map_lines(EVERYTHING).lines[parse_place(place)] == line


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_the_map_has_exactly_the_places_of_the_document(line_end: str) -> None:
    text = EVERYTHING.replace("\n", line_end)
    assert set(map_lines(text).lines) == set(places_of(tomllib.loads(text)))


def test_lines_do_not_depend_on_line_ends() -> None:
    windows = EVERYTHING.replace("\n", "\r\n")
    assert map_lines(windows).lines == map_lines(EVERYTHING).lines


def test_a_missing_place_has_the_line_of_the_table_above() -> None:
    lines = map_lines(EVERYTHING)
    assert lines.line_of(("deliverables", 0, "print", "dpi")) == 26
    assert lines.line_of(("moods", "night", "title")) == 32
    assert lines.line_of(("camera", "meter")) is None


def test_what_is_said_twice_is_noted() -> None:
    lines = map_lines("[a]\nx = 1\n[b]\n[a]\nx = 2\n")
    assert lines.repeated == [(("a",), 4), (("a", "x"), 5)]
    assert lines.lines[("a",)] == 1


@pytest.mark.parametrize("text", ["a = [1, 2", "a = {", "[a", "a =", 'a = "', "a = 1 = 2", "]"])
def test_text_that_is_no_toml_ends_the_map_quietly(text: str) -> None:
    assert isinstance(map_lines("first = 1\n" + text).lines[("first",)], int)
