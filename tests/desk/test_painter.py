"""What paints the desk's pictures, on a clock whose reading takes long."""

from __future__ import annotations

import queue
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from evenfall.desk import painter
from evenfall.desk.painter import Painter, Picture, Shot
from evenfall.develop.example import example_recipe
from evenfall.recipe import Recipe
from evenfall.recipe.recipe import load_text
from evenfall.view import View


def _slowly() -> float:
    time.sleep(0.015)
    return time.monotonic()


def test_the_whole_picture_follows_every_turn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(painter, "_QUICK_SECONDS", 0)  # every machine is too slow to follow
    recipe = example_recipe(tmp_path)
    mood = next(iter(recipe.moods))
    turned = [_exposed(recipe, mood, stops) for stops in (0.5, 1.0, 1.5, 2.0)]
    pictures: queue.Queue[Picture] = queue.Queue()
    painting = Painter(lambda: View(recipe, draft=True, workers=1), pictures.put, pytest.fail)
    painting.show(1, {"now": recipe})
    painting.look(1, {"front": Shot(mood)})
    painting.start()
    try:
        _wait_for(pictures, 1)
        monkeypatch.setattr(painter, "time", SimpleNamespace(monotonic=_slowly))
        for version in range(2, 22):
            painting.turn(turned[version % 4], version)
            _wait_for(pictures, version)
    finally:
        painting.end()


def _exposed(recipe: Recipe, mood: str, stops: float) -> Recipe:
    text = recipe.text.replace(
        f"[moods.{mood}]", f"[moods.{mood}]\ncamera = {{ exposure_stops = {stops} }}", 1
    )
    return load_text(text, recipe.path)


def _wait_for(pictures: queue.Queue[Picture], version: int) -> None:
    """Wait for the whole picture of a version."""
    while True:
        picture = pictures.get(timeout=20)
        assert not picture.fault
        if picture.size == "whole" and picture.version == version:
            return
