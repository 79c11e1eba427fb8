"""A recipe that exists gets a first balance by the rules of the trade, with its reasons."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import evenfall
from evenfall.cli.main import main
from evenfall.errors import UsageError

BANDS = {"day": (48, 70), "dusk": (30, 50), "night": (14, 34)}
"""Median CIE L* of the whole picture; common practice, as for first recipes."""


def lightness(picture: np.ndarray) -> float:
    """Median CIE L* by colour-science."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of optional packages that are not there
        import colour
    return float(np.median(colour.XYZ_to_Lab(colour.sRGB_to_XYZ(picture))[..., 0]))


@pytest.fixture(params=["sunny_room", "lamp_room", "house_by_day"])
def spoilt(
    request: pytest.FixtureRequest, scene: Callable[[str], evenfall.View], tmp_path: Path
) -> Path:
    """A first recipe whose figures somebody has turned wildly."""
    first = scene(request.param).recipe
    shutil.copytree(first.passes_folder, tmp_path, dirs_exist_ok=True)
    path = tmp_path / first.path.name
    for phrase in ("exposure +2", *(f"{one} -3" for one in _lamps(path))):
        done = CliRunner().invoke(main, ["change", str(path), "all", phrase])
        assert done.exit_code == 0, done.output
    return path


def _lamps(path: Path) -> list[str]:
    recipe = evenfall.load(path)
    day = recipe.moods["day"].lights
    lamps = [name for name, light in recipe.model.lights.items() if light.role == "fixture"]
    return [name for name in lamps if not day[name].is_off][:1]


def test_moods_come_to_their_lightness_again(spoilt: Path) -> None:
    view = evenfall.open(spoilt)
    assert lightness(view.develop("day").encoded()) > 75
    done = CliRunner().invoke(main, ["aim", str(spoilt), "--first"])
    assert done.exit_code == 0, done.output
    assert "median lightness" in done.stdout
    text = spoilt.read_text(encoding="utf-8")
    assert "# so that the median lightness is" in text
    view = evenfall.open(spoilt)
    medians = {mood: lightness(view.develop(mood).encoded()) for mood in view.moods}
    for mood, (least, most) in BANDS.items():
        assert least <= medians[mood] <= most, medians
    again = view.aim_first(dry_run=True)
    assert not again.written
    moved = [str(each) for some in again.changes.values() for each in some]
    assert len(moved) <= 3, moved  # what is balanced stays


@pytest.mark.parametrize("spoilt", ["lamp_room"], indirect=True)
def test_one_mood_alone_and_bad_use(spoilt: Path) -> None:
    view = evenfall.open(spoilt)
    found = view.aim_first("dusk", dry_run=True)
    assert list(found.moods) == ["dusk"]
    assert "day" not in found.changes
    other = spoilt.with_name("other.toml")
    other.write_text(spoilt.read_text(encoding="utf-8") + "\n[moods.plain]\n", encoding="utf-8")
    with pytest.raises(UsageError, match="time_of_day"):
        evenfall.open(other).aim_first("plain")
    wrong = CliRunner().invoke(main, ["aim", str(spoilt), "--first", "--tints"])
    assert wrong.exit_code == 2
    assert CliRunner().invoke(main, ["aim", str(spoilt)]).exit_code == 2
