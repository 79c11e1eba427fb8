"""Advice that passes give rise to: plates they hide, fireflies, sizes that they do not have."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import OpenImageIO as oiio  # noqa: N813 - as its own documentation does
import pytest

import evenfall

RECIPE = """
format = 1
camera = { meter = "off" }
[lights.key]
file = "key.exr"
role = "key"
[moods.day]
plate = { file = "plate.png" }
[[deliverables]]
format = "png"
width = 160
"""

WriteRecipe = Callable[..., evenfall.Recipe]


def _grainy(channels: int = 3) -> np.ndarray:
    rng = np.random.default_rng(5)
    pixels = np.ones((48, 64, channels), np.float32)
    pixels[..., :3] = 0.3 + 0.01 * rng.standard_normal((48, 64, 1))
    return pixels


def _write(write_recipe: WriteRecipe, pixels: np.ndarray, text: str = RECIPE) -> evenfall.Recipe:
    recipe = write_recipe(text.replace("[moods.day]\nplate", "[moods.day]\n#"), {"key": pixels})
    plate = oiio.ImageBuf(np.full((48, 64, 3), 0.5, np.float32))
    assert plate.write(str(recipe.path.parent / "plate.png"))
    recipe.path.write_text(text, encoding="utf-8")
    return evenfall.load(recipe.path)


def _codes(advice: tuple[evenfall.Advice, ...]) -> dict[str, evenfall.Advice]:
    return {each.code: each for each in advice}


@pytest.mark.parametrize("silence", ["", 'silence = ["plate-not-seen"]\n'])
def test_a_plate_behind_opaque_passes_is_told_before_the_run(
    write_recipe: WriteRecipe, silence: str
) -> None:
    view = evenfall.open(_write(write_recipe, _grainy(), silence + RECIPE))
    for given in (view.check().advice, view.meter().advice):
        assert ("plate-not-seen" in _codes(given)) is not silence
        if not silence:
            assert _codes(given)["plate-not-seen"].place == "moods.day.plate"


def test_a_plate_behind_passes_with_alpha_may_be_seen(write_recipe: WriteRecipe) -> None:
    see_through = _grainy(4)
    see_through[:20, :, :] = 0
    view = evenfall.open(_write(write_recipe, see_through))
    assert view.check().headers["key"].has_alpha
    assert "plate-not-seen" not in _codes(view.check().advice)


def test_fireflies_come_with_the_line_that_mends_them(write_recipe: WriteRecipe) -> None:
    sparkling = _grainy()
    sparkling[[10, 30, 40], [12, 40, 22]] = 50.0
    recipe = _write(write_recipe, sparkling)
    advice = _codes(evenfall.open(recipe).meter().advice)["fireflies"]
    assert "3 pixels in key" in advice.message
    assert "passes.repair.fireflies = true" in advice.reason
    changes = ("passes.repair.fireflies=true",)
    assert "fireflies" not in _codes(evenfall.open(recipe.path, changes=changes).meter().advice)
    quiet = ('silence=["fireflies"]',)
    assert "fireflies" not in _codes(evenfall.open(recipe.path, changes=quiet).meter().advice)


def test_who_only_runs_hears_of_enlarging(write_recipe: WriteRecipe, tmp_path: Path) -> None:
    recipe = _write(write_recipe, _grainy())
    told = [
        note for note in evenfall.open(recipe).run(out=tmp_path / "a").notes if "enlarg" in note
    ]
    assert len(told) == 1
    assert "160 x 120 pixels are made of 64 x 48: enlarged 2.5 times" in told[0]
    silent = evenfall.open(recipe.path, changes=('silence=["enlarged"]',)).run(out=tmp_path / "b")
    assert not [note for note in silent.notes if "enlarg" in note]
