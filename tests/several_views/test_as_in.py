"""A view that is exposed as another one is: a lamp looks the same in both."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import imageio.v3 as iio
import numpy as np
import OpenEXR
import pytest
from click.testing import CliRunner, Result

import evenfall
from evenfall.cli.main import main
from evenfall.errors import PassError, RecipeError
from evenfall.recipe import load
from evenfall.record.read_record import read_provenance

LAMP, SUN_LIVING, SUN_TERRACE = 1.0, 0.5, 8.0
"""Radiance of the lamp itself, which no camera changes, and of what the sun shines on in each."""

SIZE = 32, 48

HOUSE = """\
format = 1
lights.sun = { file = "sun.exr", role = "key" }
lights.lamp = { file = "lamp.exr" }
look.tone.curve = "clip"
look.gamut.method = "clip"
deliverables = [{ format = "png", dither = false }]

[camera]
as_in = "living.toml"

[moods.day]

[moods.dusk]
lights = { sun = "off" }
camera = { exposure_stops = 0.5 }
"""


def srgb_code(linear: float) -> int:
    """8-bit code of a linear value; the curve of IEC 61966-2-1."""
    low = linear <= 0.0031308
    return round(255 * (12.92 * linear if low else 1.055 * linear ** (1 / 2.4) - 0.055))


def write(path: Path, luminance: np.ndarray) -> None:
    path.parent.mkdir(exist_ok=True)
    pixels = np.ascontiguousarray(np.repeat(luminance[..., None], 3, axis=2), np.float32)
    OpenEXR.File({}, {"RGB": pixels}).write(str(path))


def view(folder: Path, name: str, sun: float, lamp: tuple[slice, slice], unit: float = 1) -> None:
    """Write a view whose sun shines evenly, and whose lamp is seen at one place."""
    picture = np.zeros(SIZE)
    picture[lamp] = LAMP
    write(folder / name / "sun.exr", np.full(SIZE, sun) / unit)
    write(folder / name / "lamp.exr", picture / unit)
    text = f'based_on = "house.toml"\npasses.folder = "{name}"\n'
    (folder / f"{name}.toml").write_text(text, encoding="utf-8")


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A living room and a terrace, where the sun is four stops brighter; one lamp, seen in both."""
    monkeypatch.setenv("EVENFALL_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(HOUSE, encoding="utf-8")
    view(tmp_path, "living", SUN_LIVING, (slice(4, 8), slice(4, 8)))
    view(tmp_path, "terrace", SUN_TERRACE, (slice(20, 24), slice(30, 34)))
    return tmp_path


@pytest.fixture
def edit(job: Path) -> Callable[[str, str, str], None]:
    """Put one text for another in a file."""

    def put(name: str, old: str, new: str) -> None:
        text = (job / name).read_text(encoding="utf-8")
        assert old in text
        (job / name).write_text(text.replace(old, new), encoding="utf-8")

    return put


def invoke(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


def lamp_in(folder: Path, name: str) -> int:
    """Code of the lamp in the dusk of a view, where nothing else is lit."""
    return int(iio.imread(folder / "pictures" / f"{name}_dusk.png").max())


def test_a_lamp_has_the_same_display_value_in_both(job: Path) -> None:
    assert invoke("run", "living.toml", "terrace.toml").exit_code == 0
    # By hand: the living room's sun of 0.5 is brought to 18 %, and dusk is half a stop up.
    shown = LAMP * 0.18 / SUN_LIVING * 2**0.5
    assert lamp_in(job, "living") == lamp_in(job, "terrace") == srgb_code(shown)


def test_without_it_each_has_its_own(job: Path, edit: Callable[[str, str, str], None]) -> None:
    edit("house.toml", 'as_in = "living.toml"', "")
    assert invoke("run", "living.toml", "terrace.toml").exit_code == 0
    shown = LAMP * 0.18 / SUN_TERRACE * 2**0.5
    assert lamp_in(job, "terrace") == srgb_code(shown) < lamp_in(job, "living")


def test_stops_of_the_view_that_is_named_count(
    job: Path, edit: Callable[[str, str, str], None]
) -> None:
    edit("living.toml", "passes", "moods.dusk.camera.exposure_stops = 1\npasses")
    assert invoke("run", "living.toml", "terrace.toml").exit_code == 0
    assert lamp_in(job, "living") == lamp_in(job, "terrace") == srgb_code(LAMP * 0.36 * 2)


def test_a_mood_may_have_its_own(job: Path, edit: Callable[[str, str, str], None]) -> None:
    own = 'moods.dusk.camera = { as_in = "none", meter = "off", exposure_stops = -2 }\npasses'
    edit("terrace.toml", "passes", own)
    terrace = evenfall.open("terrace.toml")
    assert terrace.develop("dusk").camera.exposure_factor == 0.25
    assert terrace.develop("day").camera.exposure_factor == pytest.approx(0.18 / SUN_LIVING)


def test_passes_in_other_units_show_it_the_same(
    job: Path, edit: Callable[[str, str, str], None]
) -> None:
    view(job, "terrace", SUN_TERRACE, (slice(0, 4), slice(0, 4)), unit=100)
    edit("living.toml", "passes", "passes.luminance_scale = 1\npasses")
    edit("terrace.toml", "passes", "passes.luminance_scale = 100\npasses")
    assert invoke("run", "living.toml", "terrace.toml").exit_code == 0
    assert lamp_in(job, "living") == lamp_in(job, "terrace")


def test_it_is_told_where_exposure_comes_from(job: Path) -> None:
    assert "as in living.toml" in invoke("check", "terrace.toml").stdout
    assert "as in living.toml" in invoke("meter", "terrace.toml").stdout
    assert "as in" not in invoke("check", "living.toml").stdout
    assert invoke("run", "terrace.toml").exit_code == 0
    report = json.loads((job / "pictures" / "terrace_report.json").read_text(encoding="utf-8"))
    assert report["moods"]["dusk"]["exposure"]["as_in"] == "living.toml"
    assert "../living/sun.exr" in report["moods"]["dusk"]["made_of"]["inputs"]


@pytest.mark.parametrize(
    ("file", "old", "new", "again"),
    [
        ("house.toml", "0.5", "0.25", {"dusk"}),
        ("living.toml", "passes", "camera.exposure_stops = 1\npasses", {"day"}),
        ("living.toml", "passes", "look.vignette.natural = 1\npasses", set()),
    ],
)
def test_pictures_are_made_again_when_that_exposure_has_changed(
    job: Path,
    edit: Callable[[str, str, str], None],
    file: str,
    old: str,
    new: str,
    again: set[str],
) -> None:
    invoke("run", "terrace.toml")
    edit(file, old, new)
    report = evenfall.open("terrace.toml").run(overwrite=True)
    assert {each.mood for each in report.files if not each.kept and each.mood} == again


def test_pictures_are_made_again_when_the_pass_that_is_metered_has_changed(job: Path) -> None:
    invoke("run", "terrace.toml")
    write(job / "living" / "sun.exr", np.full(SIZE, 2 * SUN_LIVING))
    report = evenfall.open("terrace.toml").run(overwrite=True)
    assert not any(each.kept for each in report.files)
    assert lamp_in(job, "terrace") == srgb_code(LAMP * 0.18 * 2**0.5)


def test_a_picture_makes_itself_again_without_the_other_view(job: Path) -> None:
    invoke("run", "terrace.toml")
    for path in (job / "living.toml", job / "house.toml"):
        path.unlink()
    result = invoke("trace", "pictures/terrace_dusk.png", "--remake", "again")
    assert result.exit_code == 0, result.output
    assert "the same, byte for byte" in result.output
    assert "as metered in another mood or view" in result.output
    record = read_provenance(job / "pictures" / "terrace_dusk.png")
    assert record is not None
    assert "living/sun" not in str(record.passes)


def test_a_round_keeps_the_other_view(job: Path, edit: Callable[[str, str, str], None]) -> None:
    invoke("run", "terrace.toml")
    assert invoke("round", "keep", "terrace.toml").exit_code == 0
    assert (job / "rounds" / "001" / "living.toml").is_file()
    edit("living.toml", "passes", "camera.exposure_stops = 3\npasses")
    result = invoke("run", "terrace.toml", "--round", "1")
    assert result.exit_code == 0, result.output
    assert (job / "remade" / "round_1" / "terrace_dusk.png").read_bytes() == (
        job / "pictures" / "terrace_dusk.png"
    ).read_bytes()


def faults(name: str) -> str:
    with pytest.raises(RecipeError) as caught:
        load(name)
    return str(caught.value)


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        (
            "house.toml", "living.toml", "livng.toml",
            "house.toml:9: camera.as_in: there is no file livng.toml",
        ),
        (
            "living.toml", "passes", 'moods.dusk = "none"\npasses',
            "house.toml:9: camera.as_in: living.toml has no mood called 'dusk'",
        ),
        (
            "terrace.toml", "passes", "camera.exposure_stops = 1\npasses",
            "terrace.toml:2: camera.exposure_stops: has no effect: day is exposed as in living",
        ),
        (
            "terrace.toml", "passes", 'moods.dusk.camera.meter.of = "mix"\npasses',
            "terrace.toml:2: moods.dusk.camera.meter: has no effect: dusk is exposed as in",
        ),
        (
            "living.toml", "passes", 'camera.as_in = "terrace.toml"\npasses',
            "camera.as_in: the exposure is taken in a circle: "
            "terrace.toml -> living.toml -> terrace.toml",
        ),
        (
            "living.toml", "passes", "moods.dusk.lights.lmp = -1\npasses",
            "living.toml:2: moods.dusk.lights.lmp: there is no light or group called",
        ),
        (
            "terrace.toml", "passes", 'camera.as_in = "terrace.toml"\npasses',
            "terrace.toml:2: camera.as_in: the exposure is taken in a circle: "
            "terrace.toml -> terrace.toml",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_taken_is_told_with_file_and_line(
    job: Path,
    edit: Callable[[str, str, str], None],
    file: str,
    old: str,
    new: str,
    told: str,
) -> None:
    edit(file, old, new)
    assert told in faults("terrace.toml")


def test_the_change_of_a_dial_that_has_no_effect_is_refused(job: Path) -> None:
    result = invoke("change", "terrace.toml", "dusk", "exposure +1/3")
    assert result.exit_code == 2
    assert "exposed as in living.toml" in result.output
    assert invoke("change", "living.toml", "dusk", "exposure +1/3").exit_code == 0


def test_a_pass_that_the_other_view_lacks_is_told_before_anything_is_written(job: Path) -> None:
    (job / "living" / "sun.exr").unlink()
    with pytest.raises(PassError, match=r"living.sun\.exr"):
        evenfall.open("terrace.toml").run()
    assert not (job / "pictures").exists()
    assert invoke("check", "terrace.toml").exit_code == 1


def test_names_stay_relative_to_the_file_that_says_them(
    job: Path, edit: Callable[[str, str, str], None]
) -> None:
    (job / "shared").mkdir()
    (job / "house.toml").rename(job / "shared" / "house.toml")
    for name in ("living.toml", "terrace.toml"):
        edit(name, "house.toml", "shared/house.toml")
    edit("shared/house.toml", "living.toml", "../living.toml")
    assert invoke("run", "living.toml", "terrace.toml").exit_code == 0
    assert lamp_in(job, "living") == lamp_in(job, "terrace")


def test_frames_between_two_moods_take_it_too(
    job: Path, edit: Callable[[str, str, str], None]
) -> None:
    hour = (
        'sequence = { name = "hour", frames = 3, keys = [{ mood = "day", frame = 1 }, '
        '{ mood = "dusk", frame = 3 }] }\npasses'
    )
    edit("terrace.toml", "passes", hour)
    frames = evenfall.open("terrace.toml").frames()
    assert frames.is_whole
    # By hand: day is at 0.36, dusk at half a stop more, and the frame between at a quarter.
    middle = evenfall.open("terrace.toml", changes="sequence.frame=2").develop("hour")
    assert middle.camera.exposure_factor == pytest.approx(0.36 * 2**0.25)
    result = invoke("trace", "pictures/frames/terrace_hour_0002.png", "--remake", "again")
    assert "the same, byte for byte" in result.output


def test_the_shared_file_is_changed_for_all(job: Path) -> None:
    result = invoke("change", "house.toml", "dusk", "exposure +1/3")
    assert result.exit_code == 0, result.output
    assert load("living.toml").moods["dusk"].camera.exposure_stops == pytest.approx(5 / 6, abs=0.01)
    assert invoke("run", "living.toml", "terrace.toml").exit_code == 0
    assert lamp_in(job, "living") == lamp_in(job, "terrace") > srgb_code(LAMP * 0.36 * 2**0.5)
