"""The guide's chapter on several views: its recipes and commands, as they stand there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from evenfall.cli.main import main
from evenfall.develop.example import example_recipe
from evenfall.recipe import load

from .reading import chapter, commands, snippets


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The recipes of the chapter, each under the name in its first line, and passes for them.

    What goes on in a file that was begun is put behind it.
    """
    for text in snippets(16):
        name = text.partition(".toml")[0].removeprefix("# ")
        with (tmp_path / f"{name}.toml").open("a", encoding="utf-8") as file:
            file.write(f"{text}\n")
    for view in ("kitchen", "terrace"):
        (tmp_path / view).mkdir()
        example_recipe(tmp_path / view).path.unlink()
    (tmp_path / "terrace" / "lamp.exr").unlink()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_every_command_of_the_chapter(house: Path) -> None:
    typed = commands(re.sub(r"```toml\n.*?```\n", "", chapter(16), flags=re.DOTALL))
    told = {}
    for command in typed:
        program, *arguments = shlex.split(command)
        assert program == "evenfall"
        result = CliRunner().invoke(main, arguments)
        assert result.exit_code == 0, (command, result.output)
        told[command] = result.output
    pictures = sorted(path.name for path in (house / "pictures").glob("*.png"))
    assert len(pictures) == 7
    assert [name for name in pictures if name.startswith("house")] == ["house_contact_sheet.png"]
    assert "house.toml has a value of its own" in told[typed[-1]]
    lamp = load("kitchen.toml").moods["dusk"].lights["lamp"]
    assert lamp.stops == pytest.approx(1 + 2 / 3)  # a third in the house, and one in the kitchen


def test_both_have_the_exposure_of_the_kitchen(house: Path) -> None:
    terrace = load("terrace.toml")
    assert {mood.camera.as_in for mood in terrace.moods.values()} == {"kitchen.toml"}
    assert {mood.camera.as_in for mood in load("kitchen.toml").moods.values()} == {None}


def test_the_kitchen_is_darker_outside_and_keeps_the_lamps(house: Path) -> None:
    dusk = load("kitchen.toml").moods["dusk"].lights
    assert (dusk["sky"].stops, dusk["lamp"].stops, dusk["lamp"].kelvin) == (-3.0, 1.0, 2700.0)
    assert list(load("terrace.toml").model.lights) == ["sun", "sky"]
