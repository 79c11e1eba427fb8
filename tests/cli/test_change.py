"""`evenfall change` as a person calls it."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from evenfall.cli.main import main

TEXT = """\
format = 1
lights.sun = { file = "sun.exr", role = "key" }
lights.lamp = { file = "lamp.exr" }
[moods.dusk]
lights = { sun = "off", lamp = -1 }
[moods.night]
based_on = "dusk"
"""


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    path = tmp_path / "view.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def change(recipe: Path, *arguments: str) -> Result:
    return CliRunner().invoke(main, ["change", str(recipe), *arguments])


def test_it_says_what_stood_and_what_stands_and_what_changes_with_it(recipe: Path) -> None:
    result = change(recipe, "dusk", "lamp +1/3")
    assert result.exit_code == 0
    assert result.stdout.splitlines() == [
        "dusk",
        "  lamp  -1 stop  ->  -2/3 stop  (up 1/3)",
        "night changes with it",
        "  lamp  -1 stop  ->  -2/3 stop  (up 1/3)",
        "To leave it as before: --keep night",
        f"{recipe} is changed.",
    ]


def test_what_is_offered_can_be_typed_as_it_stands(recipe: Path) -> None:
    recipe.write_text(TEXT.replace("[moods.night]", '[moods."late night"]'), encoding="utf-8")
    offered = change(recipe, "dusk", "lamp +1/3", "--dry-run").stdout.splitlines()[-2]
    assert offered == "To leave it as before: --keep 'late night'"
    words = shlex.split(offered.partition(": ")[2])
    assert change(recipe, "dusk", "lamp +1/3", *words).exit_code == 0


def test_dry_run_and_keep(recipe: Path) -> None:
    result = change(recipe, "dusk", "lamp +1/3", "--keep", "night", "--dry-run")
    assert result.stdout.splitlines()[-2:] == ["Kept as it was: night.", "Nothing was written."]
    assert recipe.read_text(encoding="utf-8") == TEXT


def test_json(recipe: Path) -> None:
    told = json.loads(change(recipe, "all", "lamp 2700 K", "--json").stdout)
    assert told["written"]
    assert told["moods"]["dusk"] == [
        {"subject": "lamp", "before": "-1 stop", "after": "-1 stop, 2700 K", "way": ""}
    ]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            ("dusk", "lampe +1"),
            '"lampe +1": there is nothing called "lampe"; did you mean "lamp +1"?',
        ),
        (("dawn", "lamp +1"), 'found no mood "dawn"'),
        (("dusk",), "Missing argument 'PHRASE...'"),
    ],
)
def test_mistakes_end_with_2(recipe: Path, arguments: tuple[str, ...], said: str) -> None:
    result = change(recipe, *arguments)
    assert result.exit_code == 2
    assert said in result.stderr
    assert recipe.read_text(encoding="utf-8") == TEXT


def test_the_help_teaches_the_grammar() -> None:
    text = CliRunner().invoke(main, ["change", "--help"]).stdout
    for form in ("+1/3", "x1.5", "1200 lm", "4:1 to sun", "warmer 20", "white balance 4300 K"):
        assert form in text
