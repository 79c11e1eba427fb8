"""Small views that runs are tried on."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import evenfall
from evenfall.run.example import example_recipe


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory, monkeypatch):
    """Keep the user's cache out of it."""
    folder = tmp_path_factory.mktemp("cache")
    monkeypatch.setenv("EVENFALL_CACHE", str(folder))
    return folder


@pytest.fixture
def corner(tmp_path):
    """The tiny example, 48x32, in a folder of its own."""
    return example_recipe(tmp_path)


@pytest.fixture
def write_recipe(tmp_path) -> Callable[..., evenfall.Recipe]:
    """Write passes of plain colours (or given pixels) and a recipe of this text, and load it."""
    import OpenEXR

    def write(text: str, passes: dict[str, object], **options: object) -> evenfall.Recipe:
        for name, value in passes.items():
            pixels = np.asarray(value, np.float32)
            if pixels.ndim == 1:
                pixels = np.broadcast_to(pixels, (16, 24, pixels.size))
            pixels = np.ascontiguousarray(pixels)
            channels = {"RGBA" if pixels.shape[2] == 4 else "RGB": pixels}
            OpenEXR.File({}, channels).write(str(tmp_path / f"{name}.exr"))
        path: Path = tmp_path / "view.toml"
        path.write_text(text, encoding="utf-8")
        return evenfall.load(path, **options)

    return write
