"""Values that a half float cannot hold are brought into range, and the person is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import OpenImageIO

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.recipe import load

HALF_LARGEST = 65504.0  # IEEE 754 binary16


def bright_recipe(folder: Path, bits: int):
    folder.mkdir()
    path = example_recipe(folder).path
    path.write_text(
        path.read_text()
        + f'\n[[deliverables]]\nformat = "exr"\nbits = {bits}\ncamera = false\n'
        + "\n[sheet]\nmake = false\n"
    )
    return load(path, changes=["moods.dusk.lights.lamp.stops=20"])


def pixels(path: Path) -> np.ndarray:
    return OpenImageIO.ImageBuf(str(path)).get_pixels(OpenImageIO.FLOAT)


def test_half_is_clamped_knowingly_and_float_keeps_everything(tmp_path: Path) -> None:
    half = evenfall.open(bright_recipe(tmp_path / "a", 16)).run(moods=["dusk"])
    (note,) = [note for note in half.notes if "half range" in note]
    counted = int(note.split(": ")[1].split(" values")[0].replace(",", ""))
    full = evenfall.open(bright_recipe(tmp_path / "b", 32)).run(moods=["dusk"])
    assert not [note for note in full.notes if "half range" in note]
    exact = pixels(full.files[0].path)
    assert exact.max() > 8 * HALF_LARGEST
    assert counted == np.count_nonzero(np.abs(exact) > HALF_LARGEST)
    stored = pixels(half.files[0].path)
    assert stored.max() == HALF_LARGEST
    np.testing.assert_allclose(stored, np.minimum(exact, HALF_LARGEST), rtol=2**-11)
