"""What names in files and recipes hold never commands a terminal."""

from __future__ import annotations

import ast
import json
import sys
from pathlib import Path

import numpy as np
import OpenEXR
import pytest
from click.testing import CliRunner

import evenfall.cli
from evenfall.cli.main import main
from evenfall.cli.saying import make_console, say, say_json
from evenfall.errors import Fault, PassError

MODULES = sorted(Path(evenfall.cli.__file__).parent.glob("*.py"))
HOSTILE = "sun\x1b[2J\x1b[31m\u202e\x9b0m"
"""Clears the screen, writes red, turns text round, and does so again by a single byte."""

unix_only = pytest.mark.skipif(sys.platform == "win32", reason="such names cannot be there")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_commands_speak_through_one_place(path: Path) -> None:
    if path.name == "saying.py":
        return
    called = {ast.unparse(node.func) for node in ast.walk(ast.parse(path.read_text()))
              if isinstance(node, ast.Call)}  # fmt: skip
    assert not called & {"click.echo", "click.secho", "Console"}


def unprintable(text: str) -> list[str]:
    return sorted({sign for sign in text if not sign.isprintable() and sign != "\n"})


def invoked(*arguments: str) -> str:
    result = CliRunner().invoke(main, list(arguments))
    assert not isinstance(result.exception, UnicodeError)
    return result.output


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Passes and a recipe with hostile names of a file, a layer, a part, a light and a mood."""
    grey = np.full((16, 24), 0.3, np.float16)
    layer = {f"{HOSTILE}.{channel}": grey for channel in "RGB"}
    OpenEXR.File({}, layer).write(str(tmp_path / "layers.exr"))
    OpenEXR.File({}, {"RGB": np.dstack([grey] * 3)}).write(str(tmp_path / f"{HOSTILE}.exr"))
    (tmp_path / "broken\x1b[2J.exr").write_bytes(b"v/1\1")
    name = json.dumps(HOSTILE)
    (tmp_path / "view.toml").write_text(
        f"format = 1\n[lights.sun]\nfile = {name}\nrole = 'key'\n[lights.sky]\n"
        f"file = 'layers.exr'\nlayer = {name}\nrole = 'sky'\n[moods.day]\ntitle = {name}\n".replace(
            f"file = {name}", f"file = {json.dumps(HOSTILE + '.exr')}"
        )
    )
    return tmp_path


@unix_only
@pytest.mark.parametrize(
    "arguments",
    [
        ("survey", "."),
        ("survey", ".", "--json"),
        ("check", "view.toml"),
        ("check", "view.toml", "--json"),
        ("check", "view.toml", "--set", "lights.sun.layer=moon"),
        ("check", "view.toml", "--set", f"lights.sun.file={HOSTILE}"),
        ("meter", "view.toml"),
        ("run", "view.toml", "--out", "out", "-v"),
        ("run", "view.toml", "--out", "out", "--json", "--overwrite"),
    ],
    ids=" ".join,
)
def test_hostile_names_are_shown_as_what_they_are(
    folder: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...]
) -> None:
    monkeypatch.chdir(folder)
    output = invoked(*arguments)
    assert unprintable(output) == []
    if "--json" in arguments:
        json.loads(output[output.index("{") :])
    else:
        assert "\\x1b[2J" in output


def test_faults_are_a_line_each() -> None:
    fault = Fault("a\nb.exr", "part \x1b[1m", "is caf\u00e9", "expected\u00a01")
    assert str(fault) == "a\\nb.exr: part \\x1b[1m: is café; expected\u00a01"
    assert str(PassError([fault, fault])).count("\n") == 1


def test_letters_of_all_languages_are_left_alone(capsys: pytest.CaptureFixture[str]) -> None:
    say("Küche 太陽 ciel d'été")
    say_json({"mood": "Küche\x9b", "太": 1})
    make_console().print("Küche \x1b[2J太陽", soft_wrap=True)
    assert capsys.readouterr().out == (
        'Küche 太陽 ciel d\'été\n{\n  "mood": "Küche\\u009b",\n  "太": 1\n}\nKüche \\x1b[2J太陽\n'
    )
