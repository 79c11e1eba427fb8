"""What the exposure map and the histogram are made of: all that the camera sees."""

from __future__ import annotations

import numpy as np
import pytest

import evenfall

VIEW = """
format = 1
[camera]
meter = "off"
exposure_stops = 1
[lights.sun]
file = "sun.exr"
role = "key"
[look]
glare = { strength = 0.5 }
[moods.day]
"""
PLATE = '[moods.day.plate]\nfile = "plate.exr"\nstops = -2\n'
CUT_OUT = """
[[moods.day.overlays]]
file = "figure.exr"
position = [0.25, 1.0]
height = 0.5
"""
REGION = """
[[moods.day.regions]]
area = { rectangle = [0.0, 0.0, 0.25, 0.25] }
exposure_stops = 3
"""


@pytest.fixture
def pictures():
    """A wall of 0.4 in the left half, nothing in the right; a plate and a figure of plain greys."""
    view = np.zeros((32, 48, 4), np.float32)
    view[:, :24] = (0.4, 0.4, 0.4, 1.0)
    return {
        "sun": view,
        "plate": np.full((32, 48, 3), 0.72, np.float32),
        "figure": np.full((8, 8, 3), 0.045, np.float32),
    }


def test_plates_cut_outs_and_regions_are_seen(write_recipe, pictures):
    """Stops by hand: the wall 0.4 twice as bright, the plate 0.72 two stops down, the figure."""
    text = VIEW + PLATE + CUT_OUT + REGION
    (mood,) = evenfall.open(write_recipe(text, pictures)).meter().moods
    stops = np.log2(mood.luminance / 0.18)
    assert stops[12, 18] == pytest.approx(np.log2(0.8 / 0.18), abs=1e-3)
    assert stops[3, 4] == pytest.approx(np.log2(6.4 / 0.18), abs=1e-3)
    assert stops[16, 40] == pytest.approx(0.0, abs=1e-3)
    assert stops[28, 12] == pytest.approx(-2.0, abs=1e-3)


def test_without_them_it_is_the_mix_as_exposed(write_recipe, pictures):
    """Glare belongs to the lens and comes later: nothing spills into the empty half."""
    (mood,) = evenfall.open(write_recipe(VIEW, pictures)).meter().moods
    assert mood.luminance[:, :24] == pytest.approx(0.8, rel=1e-4)
    assert mood.luminance[:, 24:] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("night", "curves"),
    [
        ("", ["view_curve.png"]),
        (
            "[moods.night.look]\ntone = { contrast = 2 }",
            ["view_day_curve.png", "view_night_curve.png"],
        ),
        ("[moods.night.look]\ntone = 'aces2'", ["view_day_curve.png"]),
    ],
)
def test_a_curve_that_all_moods_share_is_drawn_once(
    write_recipe, pictures, tmp_path, night, curves
):
    text = VIEW + "[moods.night]\nbased_on = 'day'\n" + night
    view = evenfall.open(write_recipe(text, pictures))
    report = view.meter(pictures=tmp_path / "drawn")
    names = sorted(path.name for path in report.pictures)
    assert [name for name in names if "curve" in name] == curves
    assert len([name for name in names if "curve" not in name]) == 4
    assert sorted(path.name for path in (tmp_path / "drawn").iterdir()) == names


@pytest.mark.parametrize("grain", ["", "grain = { strength = 0.05 }"])
@pytest.mark.parametrize("kind", ["avif", "gain-map jpeg"])
def test_a_run_with_grain_writes_hdr(write_recipe, kind, grain):
    """A lamp four stops over white: its light is in the file, as another decoder finds it."""
    import io

    import av
    import imagecodecs

    lamp = np.full((64, 96, 3), 0.18, np.float32)
    lamp[20:44, 30:66] = 16.0
    text = f"""
format = 1
[camera]
meter = "off"
[lights.lamp]
file = "lamp.exr"
[look]
{grain}
[moods.night]
[[deliverables]]
format = "{kind}"
quality = 95
"""
    run = evenfall.open(write_recipe(text, {"lamp": lamp})).run(moods=["night"])
    data = run.files[0].path.read_bytes()
    if kind == "avif":
        with av.open(io.BytesIO(data), format="mov") as container:
            frame = next(container.decode(video=0))
        luma = np.frombuffer(frame.planes[0], np.uint16).reshape(frame.height, -1)
        brightest = luma[:, : frame.width].max() / 1023
        assert brightest == pytest.approx(0.7518, abs=0.02)  # SMPTE ST 2084: 1,000 cd/m2
    else:
        found = imagecodecs.ultrahdr_decode(data)[..., :3].astype(float)
        assert found.max() == pytest.approx(1000 / 203, rel=0.05)  # ITU-R BT.2408: white 203 cd/m2
