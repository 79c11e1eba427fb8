"""What paints the desk's pictures: on a slow clock, and when there is something it cannot read."""

from __future__ import annotations

import errno
import os
import queue
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

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


@contextmanager
def _painting(recipe: Recipe) -> Iterator[tuple[Painter, queue.Queue[Picture]]]:
    pictures: queue.Queue[Picture] = queue.Queue()
    painting = Painter(lambda: View(recipe, draft=True, workers=1), pictures.put, pytest.fail)
    painting.show(1, {"now": recipe})
    painting.look(1, {"front": Shot("dusk")})
    painting.start()
    try:
        _wait_for(pictures, 1)
        yield painting, pictures
    finally:
        painting.end()


def test_a_damaged_pass_that_the_recipe_no_longer_names_is_forgotten(tmp_path: Path) -> None:
    recipe = example_recipe(tmp_path)
    data = bytearray((tmp_path / "lamp.exr").read_bytes())
    data[-300:-20] = bytes(280)  # inside a chunk: the header is sound
    (tmp_path / "damaged.exr").write_bytes(data)
    damaged = load_text(recipe.text.replace("lamp.exr", "damaged.exr"), recipe.path)
    with _painting(recipe) as (painting, pictures):
        painting.show(2, {"now": damaged})
        assert "cannot be decoded" in pictures.get(timeout=20).fault
        assert "cannot be decoded" in pictures.get(timeout=20).fault
        painting.show(3, {"now": _exposed(recipe, "dusk", 0.5)})
        _wait_for(pictures, 3)


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (OSError(errno.EIO, os.strerror(errno.EIO)), "The system refused to read: "),
        (ImportError("libcodec.so"), "A part of the program cannot be loaded: libcodec.so"),
    ],
)
def test_what_the_system_refuses_is_told_and_painting_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception, said: str
) -> None:
    recipe = example_recipe(tmp_path)

    def refused(*given: Any, **options: Any) -> Any:
        raise error

    with _painting(recipe) as (painting, pictures):
        with monkeypatch.context() as patched:
            patched.setattr(View, "still", refused)
            painting.show(2, {"now": _exposed(recipe, "dusk", 0.5)})
            assert pictures.get(timeout=20).fault.startswith(said)
            assert pictures.get(timeout=20).fault.startswith(said)
        painting.show(3, {"now": _exposed(recipe, "dusk", 1)})
        _wait_for(pictures, 3)
