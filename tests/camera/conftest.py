from __future__ import annotations

import pytest

from evenfall.recipe import load

HEAD = """format = 1
[lights.sun]
file = "sun.exr"
role = "key"
rendered = { kelvin = 5200, sun_altitude_degrees = 45 }
[lights.sky]
file = "sky.exr"
role = "sky"
rendered = { kelvin = 11500, sun_altitude_degrees = 45 }
[lights.fill]
file = "fill.exr"
role = "fill"
rendered = { kelvin = 5000 }
[lights.left]
file = "left.exr"
rendered = { kelvin = 4000, lumens = 800 }
[lights.right]
file = "right.exr"
rendered = { kelvin = 4000, lumens = 400 }
[groups]
pendants = ["left", "right"]
"""


@pytest.fixture
def recipe(tmp_path):
    """Load a recipe of five lights with the moods that are given as TOML."""

    def build(moods: str):
        path = tmp_path / "view.toml"
        path.write_text(HEAD + moods, encoding="utf-8")
        return load(path, check_files=False)

    return build
