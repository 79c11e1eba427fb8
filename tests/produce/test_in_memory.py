"""Passes that a program holds as arrays: developed and delivered without any pass file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import evenfall
from evenfall.errors import UsageError
from evenfall.record.read_record import read_provenance

Arrays = dict[str, np.ndarray]


@pytest.fixture
def arrays(corner: evenfall.Recipe) -> Arrays:
    """What the pass files of the corner hold, read by OpenImageIO."""
    import OpenImageIO as oiio  # noqa: N813

    found = {}
    for light in ("sun", "sky", "lamp"):
        buffer = oiio.ImageBuf(str(corner.passes_folder / f"{light}.exr"))
        kind = np.float16 if buffer.spec().format == "half" else np.float32
        found[light] = buffer.get_pixels(oiio.FLOAT).astype(kind)
    return found


@pytest.fixture
def alone(corner: evenfall.Recipe, tmp_path: Path) -> Path:
    """The recipe where there are no passes."""
    (tmp_path / "alone").mkdir()
    text = corner.path.read_text(encoding="utf-8")
    (tmp_path / "alone" / corner.path.name).write_text(text, encoding="utf-8")
    return tmp_path / "alone" / corner.path.name


def pixels(path: Path) -> np.ndarray:
    import imageio.v3 as imageio

    return imageio.imread(path)


def test_they_give_the_pictures_of_the_files(
    corner: evenfall.Recipe, alone: Path, arrays: Arrays
) -> None:
    of_files = evenfall.open(corner).run()
    view = evenfall.open(alone, passes=arrays)
    of_arrays = view.run()
    for one, other in zip(of_files.files, of_arrays.files, strict=True):
        assert one.path.name == other.path.name
        assert (pixels(one.path) == pixels(other.path)).all()
    np.testing.assert_array_equal(view.mix("dusk"), evenfall.open(corner).mix("dusk"))


def test_other_values_are_other_pictures_and_nothing_is_kept_wrongly(
    alone: Path, arrays: Arrays
) -> None:
    first = evenfall.open(alone, passes=arrays).run()
    arrays["lamp"] = arrays["lamp"] * arrays["lamp"].dtype.type(2)
    second = evenfall.open(alone, passes=arrays).run(overwrite=True)
    assert not any(file.kept for file in second.files)
    before = {file.mood: file.sha256 for file in first.files}
    after = {file.mood: file.sha256 for file in second.files}
    assert before["day"] == after["day"]  # the lamp is off
    assert before["dusk"] != after["dusk"]


def test_a_picture_says_of_which_values_it_was_made(alone: Path, arrays: Arrays) -> None:
    def noted() -> dict[str, str]:
        report = evenfall.open(alone, passes=arrays).run("dusk", overwrite=True)
        return dict(read_provenance(report.files[0].path).passes)

    first = noted()
    assert set(first) == {"sky", "lamp"}  # the sun was metered, and its reading is in the record
    assert noted() == first
    arrays["sky"] = arrays["sky"] / 2
    second = noted()
    assert {light for light in first if first[light] != second[light]} == {"sky"}


def test_files_are_not_taken_for_arrays(
    corner: evenfall.Recipe, arrays: Arrays, tmp_path: Path
) -> None:
    evenfall.open(corner, passes=arrays).run()
    assert not any(file.kept for file in evenfall.open(corner).run(overwrite=True).files)
    assert all(file.kept for file in evenfall.open(corner).run().files)


def test_a_light_without_an_array_is_named(alone: Path, arrays: Arrays) -> None:
    del arrays["sky"]
    with pytest.raises(UsageError, match="sky"):
        evenfall.open(alone, passes=arrays)


def test_drafts_that_are_kept_are_developed_without_reading_again(
    corner: evenfall.Recipe, monkeypatch: pytest.MonkeyPatch
) -> None:
    view = evenfall.open(corner, draft=True).keep()
    for file in corner.passes_folder.glob("*.exr"):
        file.rename(file.with_suffix(".gone"))
    assert view.develop("dusk").size == (48, 32)
    brighter = view.recipe.with_changes("moods.dusk.lights.lamp.stops=2", check_files=False)
    assert brighter.moods["dusk"].lights["lamp"].stops == 2
