"""Several views are made one after the other, and what fails in one does not stop the others."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import evenfall
from evenfall.cli.main import main
from evenfall.errors import UsageError
from evenfall.view import find_recipes, run_views


@pytest.fixture(autouse=True)
def _here(house: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EVENFALL_CACHE", str(house / "cache"))
    monkeypatch.chdir(house)


def invoke(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["run", *arguments])


def pictures(house: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in (house / "pictures").glob("*.png")}


def test_each_comes_out_as_if_it_were_run_alone(house: Path) -> None:
    result = invoke("living.toml", "kitchen.toml", "terrace.toml")
    assert result.exit_code == 0
    together = pictures(house)
    assert len(together) == 9  # two moods and a contact sheet each
    for view in ("living", "kitchen", "terrace"):
        evenfall.open(f"{view}.toml").run(out="alone")
    assert {p.name: p.read_bytes() for p in (house / "alone").glob("*.png")} == together


def test_a_folder_is_its_views_without_what_they_build_on(house: Path) -> None:
    (house / "notes.toml").write_text('title = "no recipe"\n', encoding="utf-8")
    (house / ".hidden.toml").write_text("moods = {}\n", encoding="utf-8")
    assert [path.stem for path in find_recipes([house])] == ["kitchen", "living", "terrace"]
    table = invoke(".").stderr.splitlines()[-4:]
    assert [line.split()[0] for line in table] == ["view", "kitchen.toml", "living.toml",
                                                   "terrace.toml"]  # fmt: skip
    assert all(
        line.split()[1:3] == ["3", "0"] and line.rstrip().endswith("complete") for line in table[1:]
    )


def test_a_recipe_that_is_broken_is_told_first_and_stops_nothing(house: Path) -> None:
    (house / "kitchen.toml").write_text('based_on = "hose.toml"\n', encoding="utf-8")
    result = invoke("living.toml", "kitchen.toml", "terrace.toml")
    assert result.exit_code == 2
    assert result.stderr.startswith("kitchen.toml:1: based_on: there is no file hose.toml")
    assert len(pictures(house)) == 6
    table = result.stderr.splitlines()[-3:]
    assert table[1].startswith("kitchen.toml")
    assert "failed: there is no file hose.toml" in table[1]


def test_a_damaged_pass_stops_only_its_view(house: Path) -> None:
    (house / "living" / "sky.exr").write_bytes(b"no picture")
    result = invoke("living.toml", "kitchen.toml")
    assert result.exit_code == 1
    assert "sky.exr" in result.stderr
    assert sorted(pictures(house)) == [
        "kitchen_contact_sheet.png", "kitchen_day.png", "kitchen_dusk.png",
    ]  # fmt: skip


def test_as_json_each_view_has_its_report(house: Path) -> None:
    (house / "kitchen.toml").unlink()
    result = invoke("living.toml", "kitchen.toml", "--json", "--mood", "dusk")
    told = {Path(one["recipe"]).name: one for one in json.loads(result.stdout)}
    assert told["kitchen.toml"]["report"] is None
    assert "there is no such file" in told["kitchen.toml"]["error"]
    assert [file["mood"] for file in told["living.toml"]["report"]["files"]] == ["dusk"]
    assert result.exit_code == 2


def test_a_dry_run_makes_nothing(house: Path) -> None:
    result = invoke(".", "--dry-run")
    assert result.exit_code == 0
    assert result.stdout.count("would be made") == 9
    assert not (house / "pictures").exists()


def test_quiet_says_nothing_but_faults(house: Path) -> None:
    assert invoke("living.toml", "terrace.toml", "-q").output == ""


@pytest.mark.parametrize("option", [["--watch", "--draft"], ["--round", "1"], ["--passes", "x"]])
def test_what_goes_with_one_recipe_is_refused(option: list[str]) -> None:
    result = invoke("living.toml", "kitchen.toml", *option)
    assert result.exit_code == 2
    assert f"{option[0]} goes with one recipe" in result.stderr


def test_an_empty_folder_is_told(house: Path) -> None:
    (house / "empty").mkdir()
    result = invoke("empty")
    assert result.exit_code == 2
    assert "holds no recipe" in result.stderr


def test_the_same_recipe_twice_is_made_once(house: Path) -> None:
    made = list(run_views(["living.toml", house / "living.toml", "./living.toml"]))
    assert len(made) == 1


def test_recipes_of_one_name_do_not_write_into_one_folder(house: Path) -> None:
    (house / "other").mkdir()
    (house / "other" / "living.toml").write_text('based_on = "../living.toml"\n', encoding="utf-8")
    assert all(one.is_whole for one in run_views(["living.toml", "other/living.toml"]))
    with pytest.raises(UsageError, match="have one name in one folder"):
        next(run_views(["living.toml", "other/living.toml"], out="pictures"))


def test_a_run_that_is_stopped_says_which_views_were_not_begun(house: Path) -> None:
    def stop(recipe: Path) -> None:
        if recipe.stem == "terrace":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(run_views(["living.toml", "terrace.toml"], on_begin=stop))
    assert sorted(pictures(house)) == [
        "living_contact_sheet.png", "living_day.png", "living_dusk.png",
    ]  # fmt: skip
