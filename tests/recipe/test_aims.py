"""Aims in a recipe: what they take, and what they refuse."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfall.errors import RecipeError
from evenfall.recipe.recipe import Recipe, load_text

START = 'format = 1\nlights.lamp = { file = "lamp.exr" }\n[moods.dusk.aims]\n'


def recipe(aims: str) -> Recipe:
    return load_text(START + aims, Path("view.toml"), check_files=False)


def test_aims_are_named_tables() -> None:
    aims = recipe(
        "table = { area = { rectangle = [0.1, 0.1, 0.2, 0.2] }, stops = 0, must = true }\n"
        'window = { area = { mask = "window.png" }, ratio = "1:2", over = "table", weight = 2 }\n'
        'wall = { kelvin = 3000, ratio = "3:2", over = { ellipse = [0.5, 0.5, 0.1, 0.1] } }\n'
    )
    found = aims.moods["dusk"].aims
    assert found["table"].stops == 0
    assert found["table"].must
    assert found["window"].ratio_value == 0.5
    assert found["wall"].ratio_value == 1.5


def test_a_mood_has_its_own_aims_only() -> None:
    based = recipe('table = { brighter = "1/2" }\n[moods.night]\nbased_on = "dusk"\n')
    assert dict(based.moods["night"].aims) == {}


@pytest.mark.parametrize(
    ("aims", "said"),
    [
        ("x = {}", "nothing is aimed at"),
        ("x = { area = { rectangle = [0, 0, 1, 1] } }", "nothing is aimed at"),
        ("x = { neutral = false }", "nothing is aimed at"),
        ("x = { stops = 0, brighter = 0 }", "found stops and brighter"),
        ("x = { kelvin = 3000, neutral = true }", "kelvin and neutral"),
        ('x = { ratio = "4:1" }', "ratio and over go together"),
        ('x = { stops = 1, over = "y" }', "ratio and over go together"),
        ('x = { ratio = "4", over = "y" }', "a ratio such as"),
        ('x = { ratio = "0:1", over = "y" }', "a ratio such as"),
        ('x = { ratio = "4:1", over = "x" }', "cannot be over itself"),
        ('x = { ratio = "4:1", over = "tabel" }\ntable = { stops = 1 }', 'did you mean "table"'),
        ("x = { stops = 1, weight = 2, must = true }", "a weight or is a must"),
        ("x = { stops = 1, weight = 0 }", "weight"),
        ("x = { clipped_at_most = 1.2 }", "from 0 to 1"),
        ("x = { shadows_at_least = 0 }", "above 0"),
        ("x = { stops = 1, area = { polygon = [[0, 0], [1, 1]] } }", "polygon"),
        ("x = { stops = 1, area = { polygon = [[0, 0], [1, 1], [0.5, 0.5]] } }", "one line"),
        ("x = { stops = 1, area = { rectangle = [0, 0, 2, 1] } }", "from 0 to 1"),
    ],
)
def test_faults(aims: str, said: str) -> None:
    with pytest.raises(RecipeError, match=r"moods\.dusk\.aims") as caught:
        recipe(aims)
    assert said in str(caught.value)
