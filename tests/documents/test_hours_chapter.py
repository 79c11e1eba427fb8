"""The guide's chapter on sequences and films: its recipes and commands, as they stand there."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from evenfall.cli.main import main
from evenfall.develop.example import example_recipe
from evenfall.recipe import load

from .reading import chapter, commands, snippets


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The recipes of the chapter, each under the name in its first line, and passes for them."""
    for text in snippets(17):
        name = text.partition(".toml")[0].removeprefix("# ")
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    example_recipe(tmp_path).path.unlink()
    for time in ("1730", "1800", "1830"):
        shutil.copy(tmp_path / "sun.exr", tmp_path / f"sun_{time}.exr")
    (tmp_path / "walk").mkdir()
    shutil.copy(tmp_path / "sky.exr", tmp_path / "walk")
    for light in ("sun", "lamp"):
        for frame in range(1, 10):
            shutil.copy(tmp_path / f"{light}.exr", tmp_path / "walk" / f"{light}.{frame:04d}.exr")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_every_command_of_the_chapter(job: Path) -> None:
    av = pytest.importorskip("av", reason="the extra 'film'")
    for command in commands(re.sub(r"```toml\n.*?```\n", "", chapter(17), flags=re.DOTALL)):
        program, *arguments = shlex.split(command)
        assert program == "evenfall"
        result = CliRunner().invoke(main, arguments)
        assert result.exit_code == 0, (command, result.output)
    frames = sorted(path.name for path in (job / "pictures" / "frames").glob("hour_*.png"))
    assert frames == [f"hour_evening_{number:04d}.png" for number in range(1, 10)]
    for film in ("hour_evening.mp4", "walk_evening.mp4"):
        with av.open(str(job / "pictures" / film)) as opened:
            assert sum(1 for _ in opened.decode(video=0)) == 9
    assert (job / "pictures" / "hour_day.png").exists()
    assert len(list((job / "pictures" / "frames").glob("walk_dusk_*.png"))) == 3


def test_the_sun_of_the_example_goes_down_within_it(job: Path) -> None:
    """At an equinox the sun sets about 18 h by the sun's own clock, which is near +01:00 there."""
    lights = [
        load("moving.toml", changes=[f"sequence.frame={frame}"]).moods["evening"]
        for frame in (1, 9)
    ]
    assert [mood.daylight.time[11:16] for mood in lights if mood.daylight] == ["17:30", "19:00"]
