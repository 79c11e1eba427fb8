"""Frames as files: named, equal to stills, kept, gone on with, and never missing without a word."""

from __future__ import annotations

import contextlib
import hashlib
import re
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
import pytest
from click.testing import CliRunner, Result
from PIL import Image
from tests.hours.conftest import HOUR

import evenfall
from evenfall.cli.main import main
from evenfall.errors import UsageError
from evenfall.passes import library
from evenfall.passes.reading import read
from evenfall.produce import frames as making
from evenfall.recipe import load
from evenfall.rounds.remaking import remake_picture
from evenfall.rounds.tracing import trace_picture
from evenfall.system import processors

Corner = Callable[..., Path]


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["run", *map(str, arguments)])


def digests(folder: Path) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.glob("*.png")
    }


def test_a_sequence_makes_numbered_frames_beside_the_stills(corner: Corner) -> None:
    path = corner()
    result = run(path)
    assert result.exit_code == 0, result.output
    assert "hour: 9 frames made" in result.output
    pictures = path.parent / "pictures"
    names = sorted(file.name for file in (pictures / "frames").glob("*.png"))
    assert names == [f"corner_hour_{frame:04d}.png" for frame in range(1, 10)]
    assert (pictures / "corner_day.png").exists()


def test_frames_that_are_not_made_are_spoken_of(
    corner: Corner, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = corner()
    monkeypatch.chdir(path.parent)
    made = "which 'evenfall run RECIPE --mood hour' makes"
    assert f"The frames of hour are not made, {made}" in run(path, "--json").stderr
    assert not (path.parent / "pictures" / "frames").exists()


def _all(folder: Path) -> set[str]:
    return {str(one.relative_to(folder)) for one in (folder / "pictures").rglob("*.png")}


def test_several_views_make_their_frames_too(
    corner: Corner, walk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = corner(HOUR.replace("9", "3"))
    monkeypatch.chdir(path.parent)
    shutil.copy("corner.toml", "still.toml")
    Path("still.toml").write_text(Path("still.toml").read_text().partition("[sequence]")[0])
    only = run(".", "--frames", "2-3")  # the walk has no such frames
    assert only.exit_code == 1
    assert "passes are missing for frames 2-3" in only.stderr
    frames = {f"pictures/frames/corner_hour_000{number}.png" for number in (2, 3)}
    assert _all(path.parent) == frames
    told = [line.split() for line in only.stderr.splitlines()[-4:]]
    assert told[1][:3] == ["corner.toml", "2", "0"]
    assert told[2][-2:] == ["no", "frames"]
    assert run("corner.toml", "still.toml").exit_code == 0
    made = _all(path.parent) - frames
    assert "pictures/frames/corner_hour_0001.png" in made
    assert "pictures/still_dusk.png" in made
    assert run("still.toml", "still.toml", "--frames", "1").exit_code == 2


def test_a_damaged_pass_stops_only_the_moods_of_a_frame_that_need_it(walk: Path) -> None:
    (walk.parent / "walk_009_lamp.exr").write_bytes(b"no picture")
    arguments = [walk, "--mood", "day", "--mood", "dusk", "--frames", "8-10"]
    usual = run(*arguments, "--out", walk.parent / "usual")
    assert usual.exit_code == 1
    names = [f"walk_{mood}_{number:04d}.png" for number in (8, 9, 10) for mood in ("day", "dusk")]
    whole = {name for name in names if "0009" not in name}
    assert {one.name for one in (walk.parent / "usual").glob("*.png")} == whole
    kept_on = run(*arguments, "--out", walk.parent / "on", "--keep-going")
    assert kept_on.exit_code == 1
    assert "walk_009_lamp.exr" in kept_on.stderr
    made = {one.name for one in (walk.parent / "on").glob("*.png")}
    assert made == set(names) - {"walk_dusk_0009.png"}
    (walk.parent / "walk_010_lamp.exr").unlink()
    run(*arguments, "--out", walk.parent / "gone", "--keep-going")
    made = {one.name for one in (walk.parent / "gone").glob("*.png")}
    assert made == set(names) - {"walk_dusk_0009.png", "walk_dusk_0010.png"}


def test_a_sequence_of_one_frame_is_the_still_byte_for_byte(corner: Corner) -> None:
    grain = "\n[look]\ngrain = { strength = 0.4 }\n"
    one = HOUR.replace("9\nkeys", "1\nkeys").replace(', { mood = "dusk", frame = 9 }', "")
    path = corner(one + grain)
    evenfall.open(path).run("day")
    evenfall.open(path).frames()
    pictures = path.parent / "pictures"
    frame = (pictures / "frames" / "corner_hour_0001.png").read_bytes()
    assert frame == (pictures / "corner_day.png").read_bytes()


def test_frames_are_the_same_in_any_order_number_and_with_any_threads(corner: Corner) -> None:
    path = corner(HOUR + "\n[look]\ngrain = { strength = 0.4 }\n")
    whole, parts = path.parent / "whole", path.parent / "parts"
    evenfall.open(path, workers=2).frames(out=whole)
    for frames in ("5-9", "1-4"):
        evenfall.open(path, workers=1).frames(frames=frames, out=parts)
    assert digests(whole) == digests(parts)
    still = evenfall.open(path, changes="sequence.frame=5").run("hour", out=path.parent / "still")
    assert still.files[0].sha256 == digests(whole)["corner_hour_0005.png"]


def test_what_stands_is_kept_and_what_a_key_changes_is_made_again(corner: Corner) -> None:
    three = HOUR.replace('"dusk", frame = 9', '"dusk", frame = 5 }, { mood = "night", frame = 9')
    night = '\n[moods.night]\nbased_on = "dusk"\nlights.sky = -4\n'
    path = corner(three + night)
    evenfall.open(path).frames()
    frames = path.parent / "pictures" / "frames"
    (frames / "corner_hour_0003.png").unlink()
    again = evenfall.open(path).frames()
    assert (again.made, again.kept) == ((3,), (1, 2, 4, 5, 6, 7, 8, 9))
    path.write_text(path.read_text().replace("lights.sky = -4", "lights.sky = -5"))
    changed = evenfall.open(path).frames(overwrite=True)
    assert changed.made == (6, 7, 8, 9)


def test_grain_and_dither_move_on_and_light_does_not_flicker(corner: Corner) -> None:
    still = HOUR.replace('"dusk", frame = 9', '"day", frame = 9')
    path = corner(still + "\n[look]\ngrain = { strength = 0.5, size = 0.02 }\n")
    evenfall.open(path).frames()
    frames = [
        np.asarray(Image.open(file), np.float64)
        for file in sorted((path.parent / "pictures" / "frames").glob("*.png"))
    ]
    means = [float(frame.mean()) for frame in frames]
    assert max(means) - min(means) < 0.5  # of 255
    first, second, third = (frame - np.mean(frames, axis=0) for frame in frames[:3])
    for one, other in ((first, second), (second, third), (first, third)):
        # Independent patterns less their mean of 9 correlate by -1/8; the same would by 1.
        assert np.corrcoef(one.ravel(), other.ravel())[0, 1] == pytest.approx(-1 / 8, abs=0.1)


def test_a_walk_is_metered_in_one_frame(walk: Path) -> None:
    result = run(walk, "--frames", "8-10,12", "--mood", "day")
    assert result.exit_code == 0, result.output
    frames = walk.parent / "pictures" / "frames"
    names = sorted(file.name for file in frames.glob("*.png"))
    assert names == [f"walk_day_{frame:04d}.png" for frame in (8, 9, 10, 12)]
    # A frame that is brighter is brighter in the picture, as its exposure is held.
    view = evenfall.open(walk, changes=["passes.frame=9", "passes.metered_frame=8"])
    held = view.develop("day").camera.exposure_factor
    assert held == evenfall.open(walk).develop("day").camera.exposure_factor


@pytest.fixture
def times_read(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often the pixels of a file were read, by its name."""
    counts: Counter[str] = Counter()

    def counting(path: Path, *arguments: Any, **further: Any) -> Any:
        counts[path.name] += 1
        return read(path, *arguments, **further)

    monkeypatch.setattr(library, "read", counting)
    return counts


def test_passes_that_stand_are_read_once_for_all_frames(
    corner: Corner, times_read: Counter[str]
) -> None:
    evenfall.open(corner(), workers=2).frames()
    assert times_read == {"sun.exr": 2, "sky.exr": 1, "lamp.exr": 1}  # the sun for its exposure too


def test_layers_that_stand_are_read_once_for_all_frames(
    corner: Corner, times_read: Counter[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A part that is too large to be decoded at once for a still is decoded once for all frames."""
    path = corner()
    text, layers = path.read_text(), {}
    for light in ("sun", "sky", "lamp"):
        pixels = OpenEXR.File(str(path.with_name(f"{light}.exr"))).channels()["RGB"].pixels
        for channel, name in enumerate("RGB"):
            layers[f"{light}.{name}"] = np.ascontiguousarray(pixels[..., channel], np.float32)
        text = text.replace(f'file = "{light}.exr"', f'file = "all.exr"\nlayer = "{light}"')
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File(header, layers).write(str(path.with_name("all.exr")))
    path.write_text(text, encoding="utf-8")
    evenfall.open(path, workers=2).frames(out=path.parent / "kept")
    assert times_read.pop("all.exr") == 5  # two bands for the exposure; by day, at dusk, between
    monkeypatch.setattr(making, "_STANDING_BYTES", 0)
    evenfall.open(path, workers=2).frames(out=path.parent / "banded")
    assert times_read["all.exr"] > 9  # bands of each frame
    for one in (path.parent / "kept").glob("*.png"):
        assert one.read_bytes() == (path.parent / "banded" / one.name).read_bytes()


def test_a_place_of_a_sun_on_its_way_is_read_once_for_all_frames(
    corner: Corner, times_read: Counter[str]
) -> None:
    hour = HOUR.replace("frame = 1 }", 'time = "17:00" }').replace(
        "frame = 9 }", 'time = "18:00" }'
    )
    path = corner(hour)
    shutil.copy(path.parent / "sun.exr", path.parent / "late.exr")
    two = 'file = ["sun.exr", "late.exr"]\ntimes = ["17:00", "18:00"]'
    path.write_text(path.read_text().replace('file = "sun.exr"', two), encoding="utf-8")
    made = evenfall.open(path, workers=2).frames()
    assert made.made == tuple(range(1, 10))
    assert max(times_read.values()) <= 3  # by itself at its hour, with its neighbour, for exposure


EVENING = """
[sequence]
name = "hour"
frames = 7
keys = [
  { mood = "day", time = "17:00", easing = "smooth" },
  { mood = "late", time = "18:00", easing = "hold" },
  { mood = "dusk", time = "19:00" },
]
[moods.late]
based_on = "day"
lights.sky = -1
[[deliverables]]
format = "png"
moods = ["day", "late", "dusk", "hour"]
"""


def test_every_frame_and_still_of_an_hour_is_made_again_by_its_record(corner: Corner) -> None:
    """At the hour of a key, between two passes of the sun, at the end: the same bytes."""
    path = corner(EVENING)
    shutil.copy(path.parent / "sky.exr", path.parent / "late.exr")
    two = 'file = ["sun.exr", "late.exr"]\ntimes = ["17:00", "19:00"]'
    path.write_text(path.read_text().replace('file = "sun.exr"', two))
    view = evenfall.open(path)
    view.run()
    view.frames()
    pictures = path.parent / "pictures"
    made = [*sorted(pictures.glob("frames/*.png")), *sorted(pictures.glob("*.png"))]
    assert len(made) == 7 + 4
    for number, picture in enumerate(made):
        traced = trace_picture(picture)
        assert traced.passes_are_same, picture.name
        again = remake_picture(traced, path.parent / f"again_{number}")
        assert again.same, (picture.name, again.reasons)


def test_a_walk_is_measured_once(walk: Path, times_read: Counter[str]) -> None:
    evenfall.open(walk, workers=2).frames("day", frames="8-12")
    assert times_read.pop("walk_008_sun.exr") == 2  # for the exposure of all, and for its picture
    assert set(times_read.values()) == {1}


def test_frames_do_not_depend_on_how_many_are_made_at_once(
    corner: Corner, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = corner()
    evenfall.open(path, workers=4).frames(out=path.parent / "many")
    monkeypatch.setattr(processors, "_BUDGET_BYTES", 2 * 48 * 32 * 26)
    evenfall.open(path, workers=4).frames(out=path.parent / "few")
    assert digests(path.parent / "many") == digests(path.parent / "few")


def test_frames_whose_passes_are_missing_are_named_and_the_rest_is_made(walk: Path) -> None:
    (walk.parent / "walk_010_sky.exr").unlink()
    (walk.parent / "walk_011_sun.exr").unlink()
    result = run(walk, "--frames", "8-12", "--mood", "day")
    assert result.exit_code == 1
    assert "3 frames made, 2 not made (10-11)" in result.output
    assert "passes are missing for frames 10-11; of frame 10: walk_010_sky.exr" in result.output
    assert (walk.parent / "pictures" / "frames" / "walk_day_0012.png").exists()
    one = run(walk, "--frames", "9-10", "--mood", "day", "--dry-run")
    assert "1 frame would be made, or kept where they stand, 1 not made (10)" in one.output
    assert "passes are missing for frame 10: walk_010_sky.exr; render this frame" in one.output


def test_a_frame_that_cannot_be_read_is_told_and_the_rest_is_made(walk: Path) -> None:
    damaged = walk.parent / "walk_011_sun.exr"
    damaged.write_bytes(damaged.read_bytes()[:-400])
    result = run(walk, "--frames", "8-12", "--mood", "day")
    assert result.exit_code == 1
    assert "4 frames made, 1 not made (11)" in result.output
    assert "walk_011_sun.exr" in result.output
    assert "frame 11" in result.output


def test_drafts_of_a_sequence_lie_with_the_drafts(corner: Corner) -> None:
    path = corner()
    assert run(path, "--draft", "--frames", "2").exit_code == 0
    names = [file.name for file in (path.parent / "drafts" / "frames").glob("*.png")]
    assert names == ["corner_hour_0002_draft.png"]


@pytest.mark.parametrize(
    ("frames", "said"),
    [
        ("0-3", "the sequence has frames 1-9, and no 0"),
        ("a", "expected frames such as"),
        ("9-3", "runs backwards; write 3-9"),
        ("1-99999999999", "too much"),
    ],
)
def test_frames_that_cannot_be_are_refused(corner: Corner, frames: str, said: str) -> None:
    result = run(corner(), "--frames", frames)
    assert result.exit_code == 2
    assert said in result.output


def test_frames_of_a_recipe_without_any(corner: Corner) -> None:
    with pytest.raises(UsageError, match="no light's file has #### in its name"):
        evenfall.open(corner("")).frames(frames="1-3")


def test_the_record_in_a_frame_makes_it_again(corner: Corner, tmp_path: Path) -> None:
    from evenfall.record.read_record import read_provenance

    path = corner()
    evenfall.open(path).frames(frames="4")
    frame = path.parent / "pictures" / "frames" / "corner_hour_0004.png"
    record = read_provenance(frame)
    assert record is not None
    again = path.with_name("again.toml")
    again.write_text(record.recipe_text, encoding="utf-8")
    shown = load(again, changes=record.changes)
    developed = evenfall.open(shown).develop(record.mood)
    expected = evenfall.open(path, changes="sequence.frame=4").develop("hour")
    np.testing.assert_array_equal(developed.encoded(), expected.encoded())


def test_check_tells_what_the_sequence_makes(corner: Corner) -> None:
    result = CliRunner().invoke(main, ["check", str(corner())])
    assert result.exit_code == 0, result.output
    assert "Sequence hour: 9 frames, 0.4 seconds at 24 a second: day at 1, dusk at 9." in (
        result.output
    )


def test_check_says_what_deliverables_show(corner: Corner, walk: Path) -> None:
    """As the guide has it: a film is of the sequence, or of a walk's moods, never of a still."""
    films = '\n[[deliverables]]\n[[deliverables]]\nformat = "film"\n'
    hour = corner(f"{HOUR}{films}")
    walk.write_text(walk.read_text() + films, encoding="utf-8")
    still = walk.with_name("still.toml")
    still.write_text(hour.read_text().replace(HOUR, ""), encoding="utf-8")
    for recipe, expected in (
        (hour, ["day, dusk", "hour"]),
        (walk, ["day, dusk", "day, dusk"]),
        (still, ["day, dusk", "nothing: there are no frames"]),
    ):
        told = CliRunner().invoke(main, ["check", str(recipe)]).output
        assert re.findall(r"^Deliverable: .* of (.*)\.$", told, re.MULTILINE) == expected


@pytest.mark.parametrize(
    "command",
    [
        ["change", "hour", "sky +1/3"],
        ["aim", "hour", "--dry-run"],
        ["match", "hour", "--to", "day.png", "--dry-run"],
    ],
    ids=lambda command: command[0],
)
def test_nothing_can_be_written_of_a_frame_of_the_sequence(
    corner: Corner, command: list[str]
) -> None:
    recipe = corner(HOUR.replace("frames = 9", "frames = 9\nframe = 5"))
    Image.new("RGB", (48, 32)).save(recipe.with_name("day.png"))
    words = [str(recipe.with_name(word)) if word == "day.png" else word for word in command[1:]]
    before = recipe.read_text()
    result = CliRunner().invoke(main, [command[0], str(recipe), *words])
    assert result.exit_code == 2, result.output
    assert "hour is a frame of the sequence, which follows from day and dusk" in result.output
    assert recipe.read_text() == before


def test_a_frame_of_the_sequence_is_metered_and_advised_on_as_a_frame(corner: Corner) -> None:
    """Of a frame near dusk, a night by its name, nobody says that it is lighter than the dusk."""
    late = HOUR.replace('"hour"', '"night"').replace("frames = 9", "frames = 9\nframe = 9")
    recipe = corner(late)
    result = CliRunner().invoke(main, ["meter", str(recipe)])
    assert result.exit_code == 0, result.output
    assert not any(advice.place == "moods.night" for advice in evenfall.open(recipe).check().advice)


def test_a_desk_shows_moods_and_no_frame(corner: Corner) -> None:
    from evenfall.desk.session import Session

    recipe = corner(HOUR.replace("frames = 9", "frames = 9\nframe = 5"))
    with contextlib.closing(Session(recipe)) as session:
        assert [brief.mood for brief in session.briefs()] == ["day", "dusk"]


@pytest.mark.parametrize("words", [["run", "--mood", "hour", "--mood", "dusk"], ["ask"]])
def test_a_sequence_where_moods_belong_is_told(corner: Corner, words: list[str]) -> None:
    further = ["hour", "0.5,0.5"] if words == ["ask"] else []
    result = CliRunner().invoke(main, [words[0], str(corner()), *words[1:], *further])
    assert result.exit_code == 2
    assert "hour is the sequence, and no mood" in result.output
