"""`evenfall plan`, as a person calls it."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner, Result

from evenfall.cli.main import main


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["plan", *map(str, arguments)])


def test_a_list_of_lights() -> None:
    result = call("sun", "sky", "Garden lamps", "--title", "Harbour house", "--prefix", "k1")
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("Harbour house: 3 passes and a beauty")
    assert "k1_garden_lamps.exr" in result.stdout
    assert "[ ] Lock the camera" in result.stdout


def test_help_shows_examples_a_line_each() -> None:
    lines = [line.strip() for line in call("--help").stdout.splitlines()]
    assert "evenfall plan view.toml --out passes.html" in lines
    assert "\\b" not in "".join(lines)


def test_a_recipe_whose_files_do_not_exist(tmp_path: Path) -> None:
    recipe = tmp_path / "view.toml"
    recipe.write_text('format = 1\n[lights.sun]\nfile = "sun.exr"\nrole = "key"\n[moods.day]\n')
    result = call(recipe)
    assert result.exit_code == 0, result.output
    assert "view: 1 pass and a beauty" in result.stdout


def test_json_holds_the_matrix() -> None:
    told = json.loads(call("sun", "sky", "--json").stdout)
    assert told["matrix"] == [[True, False], [False, True], [True, True]]
    assert told["lights"][1]["role"] == "sky"


def test_a_page_to_print_is_not_overwritten(tmp_path: Path) -> None:
    page = tmp_path / "passes.html"
    result = call("sun", "sky", "--out", page)
    assert result.exit_code == 0
    assert result.stdout == ""
    assert f"Pass plan: {page}" in result.stderr
    assert page.read_text().startswith("<!doctype html>")
    again = call("sun", "--out", page)
    assert again.exit_code == 1
    assert "exists already" in again.stderr
    assert call("sun", "--out", page, "--overwrite").exit_code == 0
    assert call("sun", "--out", tmp_path / "passes.txt").exit_code == 0


def test_wrong_use(tmp_path: Path) -> None:
    assert call().exit_code == 2
    assert call("sun:moon").exit_code == 2
    kind = call("sun", "--out", tmp_path / "passes.docx")
    assert (kind.exit_code, ".html (to print) or .txt" in kind.stderr) == (2, True)
    missing = call(tmp_path / "none.toml")
    assert missing.exit_code == 2
    assert "none.toml" in missing.stderr
