"""Stops as a photographer writes them; a third of a stop is 2^(1/3)."""

from __future__ import annotations

import pytest

from evenfall.recipe.base import parse_stops
from evenfall.recipe.words.wording import stops_words


@pytest.mark.parametrize(
    ("text", "stops"),
    [
        ("0", 0),
        ("-2", -2),
        ("+2", 2),
        ("1/3", 1 / 3),
        ("-2/3", -2 / 3),
        ("+1 1/3", 4 / 3),
        ("- 1 2/3 stops", -5 / 3),
        ("1 stop", 1),
        ("-0.5", -0.5),
        (" 2.25 ", 2.25),
        ("3/2", 1.5),
        (3, 3),
        (-1.5, -1.5),
    ],
)
def test_stops_are_read(text: str | float, stops: float) -> None:
    assert parse_stops(text) == pytest.approx(stops, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    ["", "two", "1/0", "1//3", "1 1", "--1", "1/3/5", "1.5 1/3x", "∞", "1e3", True, None, []],
)
def test_what_is_no_number_of_stops(text: object) -> None:
    with pytest.raises(ValueError, match="expected stops"):
        parse_stops(text)


@pytest.mark.parametrize("thirds", range(-30, 31))
def test_thirds_are_written_and_read_back(thirds: int) -> None:
    assert parse_stops(stops_words(thirds / 3)) == pytest.approx(thirds / 3, abs=1e-12)


@pytest.mark.parametrize(
    ("stops", "words"),
    [(0.5, "+1/2"), (-1.5, "-1 1/2"), (0.1, "+0.10"), (-0.001, "0"), (2.15, "+2.15"), (12, "+12")],
)
def test_words(stops: float, words: str) -> None:
    assert stops_words(stops) == words
