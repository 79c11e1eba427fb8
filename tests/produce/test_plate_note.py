"""A plate that cannot show is mentioned."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.recipe import load


def test_plate_behind_passes_without_alpha_is_mentioned(tmp_path: Path) -> None:
    path = example_recipe(tmp_path).path
    Image.fromarray(np.full((8, 8, 3), 128, np.uint8)).save(tmp_path / "sky.png")
    plate = 'moods.dusk.plate={ file = "sky.png" }'
    report = evenfall.open(load(path, changes=[plate])).run(moods=["dusk", "day"])
    assert any("sky.png is not seen" in note for note in report.moods["dusk"].notes)
    assert not report.moods["day"].notes
