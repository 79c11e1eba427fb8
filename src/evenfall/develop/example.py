"""A tiny view to try things on: a grey corner with a sun, a sky and a lamp."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np

from evenfall.recipe import Recipe, load

__all__ = ["example_recipe"]

_TEXT = """\
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

[moods.day]
lights = { lamp = "off" }

[moods.dusk]
lights = { sun = "off", sky = { stops = -2 }, lamp = { stops = 1, kelvin = 2700 } }
"""


def example_recipe(folder: Path | None = None, *, width: int = 48, height: int = 32) -> Recipe:
    """Write a tiny recipe and its passes, and load it.

    Parameters
    ----------
    folder : Path, optional
        Where to; a new temporary folder otherwise.
    width, height : int
        Size of the passes.

    Examples
    --------
    >>> list(example_recipe().moods)
    ['day', 'dusk']
    """
    import OpenEXR

    folder = Path(tempfile.mkdtemp(prefix="evenfall-example-")) if folder is None else folder
    across, down = np.linspace(0, 1, width), np.linspace(0, 1, height)[:, None]
    levels = {
        "sun": (0.4 + 0.6 * (across > down), (1.0, 0.93, 0.82)),
        "sky": (0.3 * (1 - 0.5 * down) + 0 * across, (0.62, 0.8, 1.1)),
        "lamp": (0.5 / (1 + 30 * ((across - 0.3) ** 2 + (down - 0.4) ** 2)), (1.0, 0.62, 0.28)),
    }
    for light, (level, colour) in levels.items():
        pixels = np.ascontiguousarray(level[..., None] * np.array(colour), np.float16)
        OpenEXR.File({}, {"RGB": pixels}).write(str(folder / f"{light}.exr"))
    recipe = folder / "corner.toml"
    recipe.write_text(_TEXT, encoding="utf-8")
    return load(recipe)
