"""Rounds on the command line: what is listed and shown, and what is told of hurt ones."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from evenfall.cli.main import main
from evenfall.develop.example import example_recipe


@pytest.fixture
def recipe(monkeypatch: pytest.MonkeyPatch) -> Path:
    path = example_recipe().path
    monkeypatch.chdir(path.parent)
    kept = call("keep", path.name, "--asked", "lamp warmer", "--by", "Anna, call")
    assert kept.output.startswith("Round 1 is kept in rounds/001\n")
    return Path(path.name)


def call(*words: str) -> Result:
    return CliRunner().invoke(main, ["round", *words])


def test_a_round_is_listed_and_shown(recipe: Path) -> None:
    assert "1 open" in call("list").output
    (listed,) = json.loads(call("list", "--json").output)
    assert (listed["number"], listed["damages"], listed["trouble"]) == (1, [], "")
    shown = call("show", "1").output
    assert "By Anna, call\n" in shown
    assert "lamp warmer: open\n" in shown


def test_a_half_copied_round_is_seen_in_the_list(recipe: Path) -> None:
    Path("rounds/001/dusk.jpg").unlink()
    assert "missing" in call("list").output
    assert "Attention: dusk.jpg is missing\n" in call("show", "1").output


@pytest.mark.parametrize(
    ("record", "said"),
    [
        (None, "rounds/001: is not a whole round: round.toml is missing"),
        ("x = [", "rounds/001: round.toml is not valid TOML"),
        ("format = 99", "rounds/001: round.toml was kept by a newer evenfall (format 99"),
    ],
)
def test_a_round_that_cannot_be_read_is_not_returned_to(
    recipe: Path, record: str | None, said: str
) -> None:
    before = recipe.read_bytes()
    path = Path("rounds/001/round.toml")
    path.unlink()
    if record is not None:
        path.write_text(record, encoding="utf-8")
    for words in (("return", "1"), ("return", "1", "--recipe", recipe.name)):
        ended = call(*words)
        assert ended.exit_code == 2
        assert said in ended.stderr
    assert recipe.read_bytes() == before
    assert said.partition(": ")[2][:20] in " ".join(call("show", "1").output.split())


def test_of_rounds_of_several_views_one_has_to_say_whose(recipe: Path) -> None:
    other = recipe.with_name("terrace.toml")
    other.write_bytes(recipe.read_bytes())
    call("keep", other.name)
    before = recipe.read_bytes()
    for words in (("list",), ("show", "1"), ("return", "1")):
        ended = call(*words)
        assert ended.exit_code == 2
        assert f"rounds of several views lie here: {recipe.name} and terrace.toml" in ended.output
        assert f"--recipe {recipe.name}" in ended.output
    ended = CliRunner().invoke(main, ["compare", "1", "now"])
    assert (ended.exit_code, "--recipe" in ended.output) == (2, True)
    assert recipe.read_bytes() == before
    assert call("show", "1", "--recipe", "terrace.toml").exit_code == 0
