"""A corner at three moods, with a sequence through them; and a walk of numbered frames."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from evenfall.develop.example import example_recipe

HOUR = """
[sequence]
name = "hour"
frames = 9
keys = [{ mood = "day", frame = 1 }, { mood = "dusk", frame = 9 }]
"""


@pytest.fixture
def corner(tmp_path: Path) -> Callable[..., Path]:
    """Write the corner's recipe with more text; gives its path."""

    def write(more: str = HOUR, *, width: int = 48, height: int = 32) -> Path:
        recipe = example_recipe(tmp_path, width=width, height=height)
        recipe.path.write_text(recipe.text + more, encoding="utf-8")
        return recipe.path

    return write


@pytest.fixture
def walk(tmp_path: Path) -> Path:
    """Recipe of a walk of frames 8 to 12, their numbers in the middle of names."""
    recipe = example_recipe(tmp_path, width=48, height=32)
    text = recipe.text
    for light in ("sun", "sky", "lamp"):
        text = text.replace(f"{light}.exr", f"walk_###_{light}.exr")
        for frame in range(8, 13):
            shutil.copy(tmp_path / f"{light}.exr", tmp_path / f"walk_{frame:03d}_{light}.exr")
    path = tmp_path / "walk.toml"
    path.write_text(text + "\n[passes]\nframe = 8\n", encoding="utf-8")
    return path
