"""Frames as files: named, equal to stills, kept, gone on with, and never missing without a word."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image
from tests.hours.conftest import HOUR

import evenfall
from evenfall.cli.main import main
from evenfall.errors import UsageError
from evenfall.recipe import load

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
    told = run(".").output
    assert f"complete; without the frames of hour, {made}" in " ".join(told.split())
    assert not (path.parent / "pictures" / "frames").exists()


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


def test_frames_whose_passes_are_missing_are_named_and_the_rest_is_made(walk: Path) -> None:
    (walk.parent / "walk_010_sky.exr").unlink()
    (walk.parent / "walk_011_sun.exr").unlink()
    result = run(walk, "--frames", "8-12", "--mood", "day")
    assert result.exit_code == 1
    assert "3 frames made, 2 not made (10-11)" in result.output
    assert "passes are missing for frames 10-11; of frame 10: walk_010_sky.exr" in result.output
    assert (walk.parent / "pictures" / "frames" / "walk_day_0012.png").exists()


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
