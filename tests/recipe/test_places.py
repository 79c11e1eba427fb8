"""Dotted places: written and read back."""

from __future__ import annotations

import pytest

from evenfall.recipe.places import Place, dotted, parse_place

PLACES: list[tuple[Place, str]] = [
    (("moods", "dusk", "lights", "sun", "stops"), "moods.dusk.lights.sun.stops"),
    (("deliverables", 0, "format"), "deliverables[0].format"),
    (("moods", "late dusk", "title"), 'moods."late dusk".title'),
    (("lights", 'a "b"', "file"), r'lights."a \"b\"".file'),
    (("lights", "käfer.1", "file"), 'lights."käfer.1".file'),
    (("lights", "", "file"), 'lights."".file'),
    (("lights", "a\x1b\n", "file"), r'lights."a\U0000001b\U0000000a".file'),
    (("lights", "a\\b", "file"), r'lights."a\\b".file'),
    (("moods", "day", "look", "grade", "luts", 12, "file"), "moods.day.look.grade.luts[12].file"),
    (("a", 0, 1), "a[0][1]"),
]


@pytest.mark.parametrize(("place", "text"), PLACES)
def test_a_place_is_written_and_read_back(place: Place, text: str) -> None:
    assert dotted(place) == text
    assert parse_place(text) == place


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("moods.late dusk.title", ("moods", "late dusk", "title")),
        ("lights.'a.b'.file", ("lights", "a.b", "file")),
        (" moods . dusk ", ("moods", "dusk")),
        ("lights.käfer", ("lights", "käfer")),
    ],
)
def test_places_are_read_generously(text: str, place: Place) -> None:
    assert parse_place(text) == place


@pytest.mark.parametrize(
    "text", ["", ".", "a.", ".a", "a..b", "[0]", "a[", "a[x]", "a[-1]", 'a"b"']
)
def test_what_is_no_place_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"expected"):
        parse_place(text)
