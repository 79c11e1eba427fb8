"""What lights a spot: figures by hand, and against the developed picture itself."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

import evenfall
from evenfall.cli.main import main
from evenfall.errors import UsageError
from evenfall.recipe import Area

RECIPE = """\
format = 1
[passes]
luminance_scale = 100
[lights.sun]
file = "sun.exr"
role = "key"
[lights.lamp]
file = "lamp.exr"
[lights.sky]
file = "sky.exr"
[camera]
meter = "off"
exposure_stops = 1
[moods.day]
lights.lamp = { stops = 1 }
lights.sky = "off"
"""


@pytest.fixture
def view(tmp_path: Path) -> evenfall.View:
    """Sun 0.06 everywhere; a lamp of 0.06 on the left half, none on the right."""
    path = tmp_path / "flat.toml"
    path.write_text(RECIPE, encoding="utf-8")
    grey = np.full((32, 64, 3), 0.06, np.float32)
    left = grey * (np.arange(64) < 32)[None, :, None]
    passes = {"sun": grey, "lamp": left.astype(np.float32), "sky": grey}
    return evenfall.open(path, passes=passes)


def test_shares_and_stops_by_hand(view: evenfall.View) -> None:
    """On the left 0.06 x 2 of the sun and 0.12 x 2 of the lamp: 0.36, one stop over 0.18."""
    spot = view.ask("day", (0.25, 0.5))
    assert spot.stops == pytest.approx(1, abs=1e-5)
    lamp, sun = spot.lights
    assert (lamp.light, sun.light) == ("lamp", "sun")
    assert (lamp.share, sun.share) == pytest.approx((2 / 3, 1 / 3), abs=1e-6)
    assert lamp.stops == pytest.approx(math.log2(0.24 / 0.18), abs=1e-5)
    assert lamp.spot_stops == pytest.approx(math.log2(1 + 2 / 3), abs=1e-5)
    # Over the whole picture the lamp gives half as much as on the left: 0.12 of 0.24.
    assert lamp.picture_stops == pytest.approx(math.log2(1.5), abs=1e-5)
    # 100 cd/m2 a unit, before the camera: 0.06 and 0.12.
    assert spot.cd_m2 == pytest.approx(18, rel=1e-5)
    assert sun.cd_m2 == pytest.approx(6, rel=1e-5)


def test_a_stop_more_does_what_was_said(view: evenfall.View) -> None:
    before = view.ask("day", (0.25, 0.5))
    after = view.with_changes("moods.day.lights.lamp.stops=2").ask("day", (0.25, 0.5))
    assert after.stops - before.stops == pytest.approx(before.lights[0].spot_stops, abs=1e-5)


def test_a_light_that_gives_nothing_there_is_not_named(view: evenfall.View) -> None:
    assert [each.light for each in view.ask("day", "0.9,0.5").lights] == ["sun"]


def test_a_rectangle_and_an_area_are_the_same(view: evenfall.View) -> None:
    area = Area(rectangle=(0.25, 0, 0.75, 1))
    assert view.ask("day", "0.25,0,0.75,1") == view.ask("day", area)
    # Half of it has the lamp: 0.12 + 0.24 / 2.
    assert view.ask("day", area).stops == pytest.approx(math.log2(0.24 / 0.18), abs=1e-5)


@pytest.fixture
def halves(view: evenfall.View, tmp_path: Path) -> list[str]:
    """The flat view as files: its left half is object 3 and white in a mask, and an aim's area."""
    import OpenEXR

    numbers = np.where(np.arange(64) < 32, 3, 7)[None, :] * np.ones((32, 1), np.uint32)
    passes = {light: view.passes.read((light,))[light].planes for light in view.passes.headers}
    for light, planes in passes.items():
        pixels = np.stack(planes, axis=-1).astype(np.float32)
        OpenEXR.File({}, {"RGB": pixels}).write(str(tmp_path / f"{light}.exr"))
    ids = {"R": numbers.astype(np.uint32)}
    OpenEXR.File({}, ids).write(str(tmp_path / "objects.exr"))
    Image.fromarray(np.where(numbers == 3, 255, 0).astype(np.uint8)).save(tmp_path / "left.png")
    aims = (
        "[moods.day.aims]\nleft = { area = { rectangle = [0, 0, 0.5, 1] }, stops = 1 }\n"
        'right = { area = { ids = "objects.exr", id = [7] }, stops = 0 }\n'
    )
    path = view.recipe.path
    path.write_text(RECIPE + aims, encoding="utf-8")
    return ["ask", str(path), "day"]


@pytest.mark.parametrize(
    "place",
    [
        ["left"],
        ["--mask", "left.png"],
        ["--object", "3"],
        ["--object", "3", "--ids", "objects.exr"],
    ],
)
def test_masks_objects_and_aims_are_places(halves: list[str], place: list[str]) -> None:
    done = CliRunner().invoke(main, [*halves, *place, "--json"])
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["stops"] == pytest.approx(1, abs=1e-3)
    assert told["lights"][0]["share"] == pytest.approx(2 / 3, abs=1e-3)


def test_a_mask_from_here(halves: list[str], tmp_path: Path) -> None:
    done = CliRunner().invoke(main, [*halves, "--mask", str(tmp_path / "left.png"), "--json"])
    assert json.loads(done.stdout)["stops"] == pytest.approx(1, abs=1e-3)


@pytest.mark.parametrize(
    ("place", "said"),
    [
        (["--object", "9"], "object 9 is nowhere in objects.exr; it holds 3 and 7"),
        (["--object", "lamp"], "object numbers, such as 3 or 3,7"),
        (["--mask", "nowhere.png"], "nowhere.png"),
        (["lift"], "the name of an aim of day (left and right)"),
        (["left", "--object", "3"], "one place at a time"),
        (["left", "--ids", "objects.exr"], "--ids goes with --object"),
    ],
)
def test_places_of_files_that_are_none(halves: list[str], place: list[str], said: str) -> None:
    done = CliRunner().invoke(main, [*halves, *place])
    assert done.exit_code in (1, 2)
    assert said in " ".join(done.output.split())
    assert done.exception is None or isinstance(done.exception, SystemExit)


def test_clipped_share(view: evenfall.View) -> None:
    bright = view.with_changes('look.tone="clip"', "moods.day.lights.lamp.stops=6")
    assert bright.ask("day", "0,0,1,1").clipped_share == pytest.approx(0.5)


@pytest.mark.parametrize("place", ["0.5", "0.5,1.2", "a,b", "0.4,0.2,0.1,0.5", "nan,0.5", ""])
def test_places_that_are_none(view: evenfall.View, place: str) -> None:
    with pytest.raises(UsageError, match="is no place"):
        view.ask("day", place)


def test_the_command(corner: evenfall.Recipe, tmp_path: Path) -> None:
    asked = ["ask", str(corner.path), "dusk", "0.3,0.4"]
    done = CliRunner().invoke(main, asked)
    assert done.exit_code == 0, done.output
    assert "from middle grey" in done.stdout
    told = json.loads(CliRunner().invoke(main, [*asked, "--json"]).stdout)
    assert told["lights"][0]["light"] == "lamp"
    assert sum(light["share"] for light in told["lights"]) == pytest.approx(1, abs=1e-4)
    maps = tmp_path / "maps"
    drawn = CliRunner().invoke(main, ["ask", str(corner.path), "dusk", "--picture", str(maps)])
    assert [path.name for path in sorted(maps.iterdir())] == [
        "corner_dusk_light_lamp.png",
        "corner_dusk_light_sky.png",
        "corner_dusk_lights.png",
    ]
    assert drawn.exit_code == 0
    assert CliRunner().invoke(main, ["ask", str(corner.path), "dusk"]).exit_code == 2


def test_pixels_that_are_no_numbers_are_told(corner: evenfall.Recipe) -> None:
    import OpenEXR

    path = corner.pass_path("lamp.exr")
    with OpenEXR.File(str(path), separate_channels=True) as file:
        planes = {name: np.array(one.pixels) for name, one in file.channels().items()}
    planes["G"][4:8, 10:20] = np.nan  # 40 pixels
    OpenEXR.File({}, planes).write(str(path))
    (note,) = evenfall.open(corner.path).ask("dusk", (0.3, 0.2)).notes
    assert note == (
        "lamp: 40 pixels of its pass are no numbers and were replaced; what is missing there is "
        "missing here"
    )
    said = CliRunner().invoke(main, ["ask", str(corner.path), "dusk", "0.3,0.2"])
    assert "40 pixels of its pass are no numbers" in " ".join(said.output.split())


def test_lone_sparkles_that_are_mended_are_numbers() -> None:
    """The sample's recipe mends some in every pass."""
    sample = Path(__file__).parents[2] / "sample_passes" / "view.toml"
    assert evenfall.open(sample).ask("dusk", (0.42, 0.61)).notes == ()
