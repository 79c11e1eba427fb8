"""A house of three views: what they share in one file, and the passes of each in its own folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfall.develop.example import example_recipe

HOUSE = """\
# What all views of the house share.
format = 1

[lights.sun]
file = "sun.exr"
role = "key"

[lights.sky]
file = "sky.exr"
role = "sky"

[lights.lamp]
file = "lamp.exr"
rendered = { kelvin = 3000 }

[groups]
daylight = ["sun", "sky"]

[moods.day]
lights = { lamp = "off" }

[moods.dusk]
lights = { sun = "off", sky = { stops = -2 }, lamp = { stops = 1, kelvin = 2700 } }  # warm
"""

VIEWS = {
    "living": 'based_on = "house.toml"  # the house\npasses.folder = "living"\n',
    "kitchen": 'based_on = "house.toml"\npasses.folder = "kitchen"\n\n'
    "[moods.dusk.lights]\nsky = -3  # a north window\n",
    "terrace": 'based_on = "house.toml"\npasses.folder = "terrace"\nlights.lamp = "none"\n',
}


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """Folder of house.toml, living.toml, kitchen.toml, terrace.toml, and of their passes."""
    (tmp_path / "house.toml").write_text(HOUSE, encoding="utf-8")
    for number, (name, text) in enumerate(VIEWS.items()):
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
        (tmp_path / name).mkdir()
        recipe = example_recipe(tmp_path / name, width=48 - 8 * number, height=32)
        recipe.path.unlink()
    (tmp_path / "terrace" / "lamp.exr").unlink()
    return tmp_path
