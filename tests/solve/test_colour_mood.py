"""The mood of colour of a picture of another place: its mirror image has the same colours."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import evenfall
from evenfall.errors import UsageError
from evenfall.light.oklab import bt709_to_oklab, oklab_to_bt709

SAMPLES = Path(__file__).parents[2] / "sample_passes"


def test_colours_of_a_mirrored_crop_come_over(tmp_path: Path) -> None:
    view = evenfall.open(SAMPLES / "view.toml", draft=True).keep()
    cooler = view.with_changes("moods.dusk.lights.indoor.kelvin=4300")
    codes = np.round(cooler.develop("dusk").encoded() * 255).astype(np.uint8)
    Image.fromarray(codes[:300, ::-1].copy()).save(tmp_path / "elsewhere.jpg", quality=92)
    found = view.match("dusk", tmp_path / "elsewhere.jpg", only_colour=True, dry_run=True)
    assert found.off_by < 0.5 * found.was_off_by
    assert not found.written
    lamps = [each for each in found.changes["dusk"] if each.subject == "pendants"]
    assert "cooler" in str(lamps[0])


def test_references_without_a_mood(tmp_path: Path) -> None:
    view = evenfall.open(SAMPLES / "view.toml", draft=True)
    Image.fromarray(np.zeros((20, 30, 3), np.uint8)).save(tmp_path / "black.png")
    with pytest.raises(UsageError, match="black"):
        view.match("dusk", tmp_path / "black.png", only_colour=True)
    with pytest.raises(UsageError, match="scene-linear light has no mood"):
        view.match("dusk", SAMPLES / "truth" / "dusk.exr", only_colour=True)


def test_oklab_there_and_back() -> None:
    """The published example of OKLab: XYZ 0.950, 1, 1.089 (white) is L 1, a 0, b 0."""
    assert bt709_to_oklab(np.ones(3)) == pytest.approx([1, 0, 0], abs=1e-3)
    colours = np.random.default_rng(1).uniform(0, 1, (50, 3))
    assert oklab_to_bt709(bt709_to_oklab(colours)) == pytest.approx(colours, abs=1e-6)
