"""A second run makes only what changed, also from another process with other hashes of words."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.record import thumbnails


def _run(recipe: Path, seed: int, *changes: str) -> dict[str, bool]:
    """Run in a process of its own; gives by file name whether it was kept."""
    call = [sys.executable, "-m", "evenfall", "run", str(recipe), "--overwrite", "--json"]
    for change in changes:
        call += ["--set", change]
    done = subprocess.run(
        call,
        env={**os.environ, "PYTHONHASHSEED": str(seed)},
        capture_output=True,
        text=True,
        check=True,
    )
    return {Path(file["path"]).name: file["kept"] for file in json.loads(done.stdout)["files"]}


@pytest.fixture
def matched(tmp_path: Path) -> Path:
    """A recipe whose day has a solved ratio, so that its exposure follows from several lights."""
    recipe = example_recipe(tmp_path).path
    text = recipe.read_text(encoding="utf-8")
    match = '{ lamp = "off", sky = { match = { to = "sun", ratio = "4:1" } } }'
    recipe.write_text(text.replace('{ lamp = "off" }', match), encoding="utf-8")
    return recipe


def test_an_unchanged_recipe_makes_nothing_again(matched: Path) -> None:
    assert not any(_run(matched, 1).values())
    before = {path: path.read_bytes() for path in (matched.parent / "pictures").glob("*.png")}
    assert all(_run(matched, 2).values())
    assert before == {path: path.read_bytes() for path in before}


def test_a_change_in_one_mood_makes_only_that_mood_again(matched: Path, tmp_path: Path) -> None:
    change = "moods.dusk.lights.lamp.kelvin=2400"
    _run(matched, 1)
    state = _run(matched, 2, change)
    assert state["corner_day.png"]
    assert not state["corner_dusk.png"]
    picture = matched.parent / "pictures" / "corner_dusk.png"
    after_feedback = picture.read_bytes()
    picture.unlink()
    _run(matched, 3, change)
    assert picture.read_bytes() == after_feedback


def test_sheet_is_still_known_after_a_run_of_one_mood(tmp_path: Path) -> None:
    recipe = example_recipe(tmp_path)
    evenfall.open(recipe).run()
    evenfall.open(recipe).run(moods=["day"])
    assert all(file.kept for file in evenfall.open(recipe).run().files)


def test_sheet_without_a_mood_is_not_taken_for_the_whole_one(tmp_path: Path) -> None:
    """The mask is unreadable for a while: its mood is missing from the sheet, then it is not."""
    recipe = example_recipe(tmp_path)
    plate = tmp_path / "sky.png"
    plate.write_bytes(b"not yet")
    change = 'moods.dusk.plate={ file = "sky.png" }'
    loaded = evenfall.load(recipe.path, changes=[change])
    broken = evenfall.open(loaded).run(keep_going=True)
    assert broken.faults
    assert [file.made_of for file in broken.files if not file.mood] == [None]


def test_small_pictures_do_not_pile_up(
    tmp_path: Path, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(thumbnails, "_THUMBNAILS_BYTES", 3_000_000)
    recipe = example_recipe(tmp_path)
    for stops in (1, 2, 3):
        changed = evenfall.load(recipe.path, changes=[f"camera.exposure_stops={stops}"])
        evenfall.open(changed).run(overwrite=True)
    sizes = [path.stat().st_size for path in (own_cache / "moods").iterdir()]
    assert sizes
    assert sum(sizes) <= 3_000_000


def test_a_small_picture_comes_back_as_it_was_or_not_at_all(own_cache: Path) -> None:
    """Wider than high; then a byte of it differs, then some are missing."""
    codes = np.arange(5 * 7 * 3, dtype=np.uint8).reshape(5, 7, 3)
    thumbnails.store_thumbnail("a" * 40, codes)
    (path,) = (own_cache / "moods").iterdir()
    found = thumbnails.load_thumbnail("a" * 40, (7, 5))
    assert found is not None
    np.testing.assert_array_equal(found, codes)
    kept = path.read_bytes()
    for spoiled in (bytes([kept[0] ^ 1]) + kept[1:], kept[3:], b""):
        path.write_bytes(spoiled)
        assert thumbnails.load_thumbnail("a" * 40, (7, 5)) is None
    rows = codes[:4].tobytes()
    path.write_bytes(rows + hashlib.sha256(rows).digest())
    assert thumbnails.load_thumbnail("a" * 40, (7, 5)) is None


STUDIO = """ocio_profile_version: 2
environment: {SHOT: a}
search_path: luts
roles: {default: linear}
displays:
  desk: [!<View> {name: graded, colorspace: graded}, !<View> {name: plain, colorspace: linear}]
colorspaces:
  - !<ColorSpace> {name: linear}
  - !<ColorSpace> {name: graded, from_scene_reference: !<FileTransform> {src: "${SHOT}.cube"}}
"""
"""A config whose view is a LUT, found by its search path and an environment variable."""


def _lut(path: Path, top: float) -> None:
    """A LUT from 0 and 1 to 0 and `top`, always as long, and as old as it was."""
    old = path.stat() if path.exists() else None
    path.parent.mkdir(exist_ok=True)
    path.write_text(f"LUT_1D_SIZE 2\n0 0 0\n{top:.2f} {top:.2f} {top:.2f}\n", encoding="utf-8")
    if old is not None:
        assert path.stat().st_size == old.st_size
        os.utime(path, ns=(old.st_atime_ns, old.st_mtime_ns))


@pytest.fixture
def studio_view(tmp_path, write_recipe, monkeypatch):
    """A recipe of two moods, one through the LUT of a studio's config, the other beside it."""
    monkeypatch.delenv("SHOT", raising=False)
    (tmp_path / "studio.ocio").write_text(STUDIO, encoding="utf-8")
    _lut(tmp_path / "luts" / "a.cube", 0.5)
    _lut(tmp_path / "luts" / "b.cube", 0.9)
    view = 'config = "studio.ocio", display = "desk", source = "linear"'
    text = f"""format = 1
[lights.sun]
file = "sun.exr"
role = "key"
[camera]
meter = "off"
[moods.graded.look]
view = {{ {view}, view = "graded" }}
[moods.plain.look]
view = {{ {view}, view = "plain" }}
[[deliverables]]
format = "png"
"""
    return write_recipe(text, {"sun": (0.8, 0.8, 0.8)})


def _made(recipe: evenfall.Recipe) -> tuple[dict[str, bool], float]:
    """Which moods' pictures were kept, and the mean of the graded one."""
    import imageio.v3 as imageio

    files = {
        file.mood: file for file in evenfall.open(recipe).run(overwrite=True).files if file.mood
    }
    mean = np.mean(imageio.imread(files["graded"].path)) / 255
    return {mood: file.kept for mood, file in files.items()}, float(mean)


def test_a_lut_that_a_config_names_makes_its_moods_again(studio_view, tmp_path, monkeypatch):
    """The picture is the pass times the LUT's top, within the dither of a code."""
    code = 1 / 255
    assert _made(studio_view) == ({"graded": False, "plain": False}, pytest.approx(0.4, abs=code))
    assert _made(studio_view)[0] == {"graded": True, "plain": True}
    _lut(tmp_path / "luts" / "a.cube", 0.7)
    assert _made(studio_view) == ({"graded": False, "plain": True}, pytest.approx(0.56, abs=code))
    monkeypatch.setenv("SHOT", "b")
    assert _made(studio_view) == ({"graded": False, "plain": True}, pytest.approx(0.72, abs=code))
    assert _made(studio_view)[0] == {"graded": True, "plain": True}
