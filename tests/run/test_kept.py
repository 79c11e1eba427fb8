"""A second run makes only what changed, also from another process with other hashes of words."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import evenfall
from evenfall.run import kept
from evenfall.run.example import example_recipe


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
    evenfall.run(recipe)
    evenfall.run(recipe, moods=["day"])
    assert all(file.kept for file in evenfall.run(recipe).files)


def test_sheet_without_a_mood_is_not_taken_for_the_whole_one(tmp_path: Path) -> None:
    """The mask is unreadable for a while: its mood is missing from the sheet, then it is not."""
    recipe = example_recipe(tmp_path)
    plate = tmp_path / "sky.png"
    plate.write_bytes(b"not yet")
    change = 'moods.dusk.plate={ file = "sky.png" }'
    loaded = evenfall.load(recipe.path, changes=[change])
    broken = evenfall.run(loaded, keep_going=True)
    assert broken.faults
    assert [file.made_of for file in broken.files if not file.mood] == [""]


def test_small_pictures_do_not_pile_up(
    tmp_path: Path, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept, "_THUMBNAILS_BYTES", 3_000_000)
    recipe = example_recipe(tmp_path)
    for stops in (1, 2, 3):
        changed = evenfall.load(recipe.path, changes=[f"camera.exposure_stops={stops}"])
        evenfall.run(changed, overwrite=True)
    sizes = [path.stat().st_size for path in (own_cache / "moods").iterdir()]
    assert sizes
    assert sum(sizes) <= 3_000_000
