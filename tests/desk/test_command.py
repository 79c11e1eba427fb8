"""`evenfall desk` in a terminal: what it says when it cannot serve."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

WITHOUT = (
    "import sys; sys.modules['uvicorn'] = None; sys.argv = ['evenfall', 'desk', {recipe!r}];"
    "from evenfall.cli.process import program; program()"
)


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments], capture_output=True, text=True, timeout=60, check=False
    )


def test_a_missing_extra_is_told_in_one_line(recipe: Path) -> None:
    ended = run("-c", WITHOUT.format(recipe=str(recipe)))
    assert ended.returncode == 2
    assert ended.stderr.splitlines() == [
        "the desk needs uvicorn, which is not installed: pip install 'evenfall[desk]'"
    ]


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        (["--host", "0.0.0.0"], 2, "is every address at once"),
        (["--host", "192.0.2.1"], 1, "cannot be served"),  # RFC 5737: nobody's
        (["--port", "99999"], 2, "not in the range"),
    ],
)
def test_an_address_that_cannot_be_served(
    recipe: Path, options: list[str], code: int, says: str
) -> None:
    ended = run("-m", "evenfall", "desk", str(recipe), "--no-open", *options)
    assert (ended.returncode, says in ended.stderr) == (code, True), ended.stderr
    assert "Traceback" not in ended.stderr


def test_a_recipe_that_is_not_sound_is_told_and_left(recipe: Path) -> None:
    text = recipe.read_text(encoding="utf-8") + "[moods.dusk.lights.sun]\nstops = 1\n"
    recipe.write_text(text, encoding="utf-8")
    ended = run("-m", "evenfall", "desk", str(recipe), "--no-open")
    assert ended.returncode == 2
    assert "corner.toml" in ended.stderr
    assert recipe.read_text(encoding="utf-8") == text
    assert list(recipe.parent.glob(".*.desk")) == []
