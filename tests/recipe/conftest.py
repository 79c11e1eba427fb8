"""A small sound recipe, and what is said about it once it has been changed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from evenfall.errors import Fault, RecipeError
from evenfall.recipe import load

VILLA = """\
# Villa, living room.
format = 1

[project]
title = "Villa"  # goes on the sheet

[passes]
folder = "passes"
beauty = { file = "beauty.exr" }

[lights.sun]
file = "sun.exr"
role = "key"

[lights.sky]
file = "sky.exr"
role = "sky"
rendered = { kelvin = 10000 }

[lights.pendant_a]
file = "lamps.exr"
layer = "pendant_a"
rendered = { kelvin = 4000, lumens = 800 }

[lights.pendant_b]
file = "lamps.exr"
layer = "pendant_b"
rendered = { kelvin = 4000 }

[groups]
pendants = ["pendant_a", "pendant_b"]

[look]
tone = "neutral"

[moods.day]
lights = { pendants = "off", sky = "+1/2" }  # daylight alone

[moods.dusk]
title = "Blue hour"
based_on = "day"

[moods.dusk.lights]
sun = "off"
sky = { stops = -2, kelvin = 12000 }   # down and blue
pendants = { stops = "+1 1/3", kelvin = 2700 }

[moods.dusk.look.tone]
curve = "evenfall"
contrast = 1.4

[[deliverables]]
format = "png"

[[deliverables]]
format = "tiff"
bits = 16
"""


@pytest.fixture
def villa_text() -> str:
    return VILLA


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the villa's passes (empty files: nothing here reads pixels)."""
    (tmp_path / "passes").mkdir()
    for name in ("beauty", "sun", "sky", "lamps"):
        (tmp_path / "passes" / f"{name}.exr").touch()
    return tmp_path


@pytest.fixture
def write(folder: Path) -> Callable[..., Path]:
    """Write a recipe beside the passes."""

    def written(text: str | bytes = VILLA, name: str = "villa.toml") -> Path:
        path = folder / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return path

    return written


@pytest.fixture
def faults_of(write: Callable[..., Path]) -> Callable[..., list[Fault]]:
    """Faults of a recipe's text, the folder of the recipe taken out of what they say."""

    def faults(
        text: str | bytes, changes: tuple[str, ...] = (), check_files: bool = True
    ) -> list[Fault]:
        path = write(text)
        try:
            load(path, changes=changes, check_files=check_files)
        except RecipeError as error:
            return list(error.faults)
        return []

    return faults


@pytest.fixture
def said_of(faults_of: Callable[..., list[Fault]], folder: Path) -> Callable[..., str]:
    """What a person reads about a recipe's text, paths shortened."""

    def said(text: str | bytes, *changes: str) -> str:
        lines = [str(fault) for fault in faults_of(text, changes)]
        return "\n".join(lines).replace(f"{folder}/", "")

    return said
