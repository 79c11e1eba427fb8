"""Plates, masks and object numbers that cannot be used are found before a pixel is read."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

import evenfall
from evenfall.develop.side_pictures import check_side_pictures
from evenfall.errors import PixelSourceError

RECIPE = """format = 1
[lights.sun]
file = "sun.exr"
role = "key"
[moods.day]
[moods.dusk]
plate = { file = "plate.jpg" }
[moods.night]
based_on = "dusk"
regions = [{ area = { mask = "mask.png", channel = "A" }, exposure_stops = 1 }]
[moods.late]
based_on = "dusk"
plate = { file = "sound.png" }
"""


@pytest.fixture
def folder(tmp_path, write_recipe):
    sun = "lights.sun = { file = 'sun.exr', role = 'key' }"
    write_recipe(f"format = 1\n{sun}\n[moods.day]\n", {"sun": (0.3, 0.3, 0.3)})
    grey = np.full((8, 12, 3), 120, np.uint8)
    for name in ("sound.png", "mask.png", "plate.jpg"):
        Image.fromarray(grey).save(tmp_path / name)
    (tmp_path / "view.toml").write_text(RECIPE)
    return tmp_path


def test_faults_stand_where_the_recipe_names_the_file(folder):
    (folder / "plate.jpg").write_text("no picture at all")
    found = check_side_pictures(evenfall.load(folder / "view.toml"), ["day", "dusk", "night"])
    assert list(found) == ["dusk", "night"]
    (fault,) = found["dusk"]
    assert (fault.line, fault.place) == (7, "moods.dusk.plate.file")
    assert "plate.jpg: is not a picture of a known kind" in fault.found
    assert [fault.line for fault in found["night"]] == [7, 10]
    assert "mask.png: no channel 'A'" in found["night"][1].found
    assert found["night"][1].allowed == "expected one of R, G, B"


def test_a_plate_that_a_mood_replaces_is_not_looked_at(folder):
    (folder / "plate.jpg").write_text("no picture at all")
    assert check_side_pictures(evenfall.load(folder / "view.toml"), ["late"]) == {}


@pytest.mark.parametrize("keep", [1, 60, 200])
def test_a_plate_that_is_cut_short(folder, keep):
    data = (folder / "plate.jpg").read_bytes()
    (folder / "plate.jpg").write_bytes(data[:keep])
    with pytest.raises(PixelSourceError, match=r"(?s)view\.toml:7: moods\.dusk\.plate\.file: "):
        evenfall.open(folder / "view.toml").run(moods=["dusk"], dry_run=True)


def test_object_numbers_and_their_channels(folder, write_recipe):
    text = (
        (folder / "view.toml")
        .read_text()
        .replace('mask = "mask.png", channel = "A"', 'ids = "sun.exr", id = [7], channel = "id"')
    )
    recipe = write_recipe(text, {"sun": (0.3, 0.3, 0.3)})
    (fault,) = check_side_pictures(recipe, ["night"])["night"]
    assert fault.place == "moods.night.regions[0].area.ids"
    assert "sun.exr: no channel 'id'" in fault.found


def test_going_on_without_the_moods_that_need_it(folder):
    (folder / "plate.jpg").write_text("no picture at all")
    report = evenfall.open(folder / "view.toml").run(keep_going=True)
    assert list(report.moods) == ["day", "late"]
    assert any("plate.jpg: is not a picture" in fault.found for fault in report.faults)
