"""Runs on files with something odd in them: what is odd is named, and what is sound is kept."""

from __future__ import annotations

import json

import numpy as np
import OpenEXR
import pytest

import evenfall
from evenfall.errors import PassError

RECIPE = """format = 1
[lights.sun]
file = "sun.exr"
role = "key"
[lights.sky]
file = "sky.exr"
role = "sky"
[moods.day]
[moods.dusk.lights]
sun = "off"
[moods.dusk.camera]
meter = "off"
"""


def test_one_absurd_pixel_is_named_where_no_exposure_can_be_set(write_recipe):
    sun = np.full((16, 24, 3), 0.4, np.float32)
    sun[5, 20, 1] = 3e38
    recipe = write_recipe(RECIPE, {"sun": sun, "sky": (0.1, 0.2, 0.3)})
    says = (
        r"(?s)comes to a factor of .*sun\.exr: lights\.sun: its pixel at 20, 5 is 3e\+38, brighter"
    )
    with pytest.raises(PassError, match=says):
        evenfall.open(recipe).run()
    report = evenfall.open(recipe).run(keep_going=True)
    assert list(report.moods) == ["dusk"]
    assert report.lights["sun"].huge_pixels == 1
    assert "sun: 1 pixel is brighter than any light, 3e+38 at 20, 5" in report.notes


def test_a_sum_beyond_single_precision_names_the_pixel(write_recipe):
    sun = np.full((16, 24, 3), 0.4, np.float32)
    sun[5, 20, 1] = 3e38
    text = RECIPE + '[camera]\nmeter = "off"\n[moods.bright.lights.sun]\nstops = 2\n'
    recipe = write_recipe(text, {"sun": sun, "sky": (0.1, 0.2, 0.3)})
    with pytest.raises(PassError, match=r"lights\.sun: .*3\.4e38\); its pixel at 20, 5 is 3e\+38"):
        evenfall.open(recipe).run(moods=["bright"])


def test_broken_alpha_leaves_colour_as_it_is(write_recipe):
    sun = np.full((16, 24, 4), 0.5, np.float32)
    sun[..., 3] = 1
    sound = write_recipe(RECIPE, {"sun": sun, "sky": (0.1, 0.2, 0.3)})
    expected = evenfall.open(sound).mix("day")
    sun[2:8, 3:9, 3] = np.nan
    broken = write_recipe(RECIPE, {"sun": sun, "sky": (0.1, 0.2, 0.3)})
    assert np.array_equal(evenfall.open(broken).mix("day"), expected)
    notes = evenfall.open(broken).run().notes
    assert (
        "sun: 36 pixels have an alpha that is no number: it was mended, their colour kept" in notes
    )


@pytest.mark.parametrize(("aspect", "stretched"), [(2.0, (48, 16)), (0.5, (24, 32))])
def test_pixels_that_are_not_square_keep_the_proportions_of_the_view(
    write_recipe, tmp_path, aspect, stretched
):
    """Read back by Pillow and OpenEXR."""
    import OpenEXR
    from PIL import Image

    text = (
        RECIPE + '[[deliverables]]\n[[deliverables]]\nformat = "exr"\n[[deliverables]]\nformat = '
    )
    text += '"tiff"\nwidth = 20\n[[deliverables]]\ncrop = "1:1"\nsuffix = "_square"\n'
    passes = {"sun": (0.4, 0.4, 0.4), "sky": (0.1, 0.2, 0.3)}
    write_recipe(text, passes)
    for name in passes:
        path = str(tmp_path / f"{name}.exr")
        pixels = OpenEXR.File(path).channels()["RGB"].pixels
        OpenEXR.File({"pixelAspectRatio": aspect}, {"RGB": pixels}).write(path)
    recipe = evenfall.load(tmp_path / "view.toml")
    report = evenfall.open(recipe).run(moods=["day"])
    made = {file.path.name: file.path for file in report.files}
    with Image.open(made["view_day.png"]) as picture:
        assert picture.size == stretched
    with Image.open(made["view_day.tif"]) as picture:
        assert picture.size == (20, round(20 * stretched[1] / stretched[0]))
    with Image.open(made["view_day_square.png"]) as picture:
        assert picture.size == (min(stretched),) * 2
    header = OpenEXR.File(str(made["view_day.exr"])).header()
    assert header["pixelAspectRatio"] == aspect
    assert header["dataWindow"][1].tolist() == [23, 15]
    assert any(f"pixels are {aspect:g} times as wide as high" in note for note in report.notes)
    draft = evenfall.open(recipe, draft=True).run(moods=["day"]).files[0].path
    with Image.open(draft) as picture:
        assert picture.size[0] / picture.size[1] == stretched[0] / stretched[1]


def test_the_contact_sheet_shows_square_pixels(write_recipe, tmp_path):
    """A dot that is as wide as high on paper, though it has twice as many rows as columns."""
    import OpenEXR
    from PIL import Image
    from scipy.ndimage import find_objects, label

    sun = np.full((400, 200, 3), 0.02, np.float32)
    sun[100:300, 50:150] = (0.5, 0.01, 0.01)
    text = RECIPE.replace("[moods.day]", "[moods.day.camera]\nmeter = 'off'")
    write_recipe(text, {"sun": sun, "sky": np.zeros((400, 200, 3), np.float32)})
    for name in ("sun", "sky"):
        path = str(tmp_path / f"{name}.exr")
        pixels = OpenEXR.File(path).channels()["RGB"].pixels
        OpenEXR.File({"pixelAspectRatio": 2.0}, {"RGB": pixels}).write(path)
    report = evenfall.open(evenfall.load(tmp_path / "view.toml")).run()
    (sheet,) = [file.path for file in report.files if "sheet" in file.path.name]
    with Image.open(sheet) as picture:
        colours = np.asarray(picture.convert("RGB")).astype(int)
    labels, _ = label(colours[..., 0] - colours[..., 1] > 60)
    rows, columns = max(find_objects(labels), key=lambda box: box[0].stop - box[0].start)
    assert rows.stop - rows.start == pytest.approx(columns.stop - columns.start, abs=2)
    assert rows.stop - rows.start >= 100


def test_a_pass_of_enormous_values_is_named_and_warns_of_nothing_else(write_recipe):
    """Warnings of numpy fail the tests; the report stays JSON as RFC 8259 has it."""
    sun = np.full((16, 24, 3), 0.4, np.float32)
    recipe = write_recipe(RECIPE, {"sun": sun, "sky": (3e38, 2e38, 3e38)})
    report = evenfall.open(recipe).run()
    assert "sky: 384 pixels are brighter than any light, 3e+38 at 0, 0" in report.notes
    mean = report.moods["day"].statistics.mix_mean
    assert mean == pytest.approx((3e38, 2e38, 3e38))
    written = next(recipe.path.parent.glob("**/*_report.json")).read_text()
    json.loads(written, parse_constant=lambda found: pytest.fail(f"{found} is no JSON"))


def test_a_key_that_lies_outside_its_picture_is_told_where_no_exposure_can_be_set(write_recipe):
    recipe = write_recipe(RECIPE, {"sun": (1, 1, 1), "sky": (1, 1, 1)})
    header = {
        "compression": OpenEXR.ZIP_COMPRESSION,
        "type": OpenEXR.scanlineimage,
        "dataWindow": ((100, 50), (123, 65)),
        "displayWindow": ((0, 0), (23, 15)),
    }
    for name in ("sun", "sky"):
        stored = {"RGB": np.full((16, 24, 3), 0.4, np.float32)}
        OpenEXR.File(header, stored).write(str(recipe.path.parent / f"{name}.exr"))
    says = (
        r"(?s)there is no light of sun anywhere.*"
        r"sun\.exr: lights\.sun: is black: what was stored, at 100, 50 to 123, 65, lies outside"
    )
    with pytest.raises(PassError, match=says):
        evenfall.open(recipe.path).run(moods=["day"])
