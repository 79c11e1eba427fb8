"""Several views are made one after the other, and what fails in one does not stop the others."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner, Result
from PIL import Image

import evenfall
from evenfall.cli.main import main
from evenfall.errors import UsageError
from evenfall.record.read_record import read_provenance
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
    assert together.pop("house_contact_sheet.png")  # of all together
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
    made = {name for name in pictures(house) if not name.startswith("house")}
    assert made == {f"{view}_{what}.png" for view in ("living", "terrace")
                    for what in ("day", "dusk", "contact_sheet")}  # fmt: skip
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


def test_one_sheet_shows_all_views(house: Path) -> None:
    views = ("living.toml", "kitchen.toml", "terrace.toml")
    sheet = house / "pictures" / "house_contact_sheet.png"
    told = invoke(*views)
    assert f"pictures/{sheet.name}  made" in told.stdout
    with Image.open(sheet) as drawn, Image.open(sheet.with_stem("living_contact_sheet")) as one:
        assert drawn.height > drawn.width  # three views under each other
        assert drawn.width == one.width  # and the two moods of each beside each other
    before = sheet.read_bytes()
    assert f"pictures/{sheet.name}  kept" in invoke(*views).stdout
    shutil.rmtree(house / "cache")  # small pictures are gone, and developed again
    assert f"pictures/{sheet.name}  kept" in invoke(*views).stdout
    assert sheet.read_bytes() == before
    assert f"drafts/{sheet.stem}_draft.png  made" in invoke(*views, "--draft").stdout


def test_the_sheet_carries_what_the_sheets_of_its_views_carry(house: Path) -> None:
    """Those are made again from it in tests/rounds; here it is that nothing gets lost."""
    names = ("living", "kitchen", "terrace")
    assert invoke(*(f"{name}.toml" for name in names)).exit_code == 0
    sheet = house / "pictures" / "house_contact_sheet.png"
    record = read_provenance(sheet)
    alone = [read_provenance(sheet.with_name(f"{name}_contact_sheet.png")) for name in names]
    assert record is not None
    assert list(record.views) == alone
    told = CliRunner().invoke(main, ["trace", str(sheet)])
    assert told.exit_code == 0
    assert told.stdout.count("are here, and the same") == 3
    (house / "kitchen" / "lamp.exr").unlink()
    missing = json.loads(CliRunner().invoke(main, ["trace", str(sheet), "--json"]).stdout)
    assert [view["passes"].get("lamp") for view in missing["views"]] == ["same", "missing", None]
    for option in ("--recipe", "--remake"):
        refused = CliRunner().invoke(main, ["trace", str(sheet), option, str(house / "again")])
        assert refused.exit_code == 2
        assert "living.toml, kitchen.toml and terrace.toml" in refused.stderr


def test_a_view_that_wants_no_record_has_none_on_the_sheet(house: Path) -> None:
    with (house / "kitchen.toml").open("r+") as file:
        text = file.read()
        file.seek(0)
        file.write(f'record = "none"\n{text}')
    assert invoke("living.toml", "kitchen.toml").exit_code == 0
    sheet = house / "pictures" / "house_contact_sheet.png"
    record = read_provenance(sheet)
    assert record is not None
    assert [view.recipe for view in record.views] == ["living.toml"]
    assert b"north window" not in sheet.read_bytes()
    for name in ("living", "kitchen"):
        path = house / f"{name}.toml"
        path.write_text('record = "none"\n' + path.read_text().replace('record = "none"\n', ""))
    assert invoke("living.toml", "kitchen.toml", "--overwrite").exit_code == 0
    assert read_provenance(sheet) is None


def test_a_sheet_of_other_views_is_not_replaced_unasked(house: Path) -> None:
    assert invoke("living.toml", "kitchen.toml").exit_code == 0
    told = invoke(".")
    assert told.exit_code == 1
    assert "house_contact_sheet.png" in told.stderr
    assert "--overwrite" in told.stderr
    assert invoke(".", "--overwrite").exit_code == 0


def test_the_table_says_the_line_of_what_is_no_toml(house: Path) -> None:
    terrace = house / "terrace.toml"
    text = terrace.read_text(encoding="utf-8")
    terrace.write_text(f"{text}exposure =\n", encoding="utf-8")
    line = text.count("\n") + 1
    assert f"failed: line {line}: found exposure =" in invoke(".").stderr


def test_no_sheet_is_made_of_chosen_moods_or_of_one_view(house: Path) -> None:
    invoke(".", "--mood", "dusk")
    assert invoke("living.toml").exit_code == 0
    assert not list((house / "pictures").glob("house_contact_sheet*"))


def test_a_sheet_that_lacks_a_view_says_so_until_it_is_whole(house: Path) -> None:
    whole = house / "pictures" / "house_contact_sheet.png"
    partial = whole.with_stem("house_contact_sheet_incomplete")
    terrace = (house / "terrace.toml").read_text(encoding="utf-8")
    (house / "terrace.toml").write_text(terrace + "lights.lmap = 1\n", encoding="utf-8")
    told = invoke(".")
    assert told.exit_code == 2
    assert f"pictures/{partial.name}  made" in told.stdout
    assert "failed: lights.lmap: found 1" in told.stderr
    record = read_provenance(partial)
    assert record is not None
    assert [view.recipe for view in record.views] == ["kitchen.toml", "living.toml"]
    (house / "terrace.toml").write_text(terrace, encoding="utf-8")
    assert invoke(".").exit_code == 0
    assert whole.exists()
    assert not partial.exists()
    before = whole.read_bytes()
    (house / "terrace.toml").write_text(terrace + "lights.lmap = 1\n", encoding="utf-8")
    assert invoke(".", "--overwrite").exit_code == 2
    assert partial.exists()
    assert whole.read_bytes() == before


def test_a_sheet_that_lacks_moods_shows_the_others(house: Path) -> None:
    """Of the kitchen, exposed as in the living room, only day needs the pass that is damaged."""
    with (house / "kitchen.toml").open("a", encoding="utf-8") as file:
        file.write('[camera]\nas_in = "living.toml"\n')
    (house / "kitchen" / "sun.exr").write_bytes(b"no picture")
    made = {one.recipe.stem: one.on_sheet for one in run_views(["."], keep_going=True)}
    shown = {name: None if view is None else list(view.moods) for name, view in made.items()}
    assert shown == {"kitchen": ["dusk"], "living": ["day", "dusk"], "terrace": ["day", "dusk"]}
    told = invoke(".", "--keep-going")
    assert told.exit_code == 1
    assert "pictures/house_contact_sheet_incomplete.png  made" in told.stdout


def test_recipes_of_a_folder_that_build_on_each_other_are_told(house: Path) -> None:
    (house / "hall.toml").write_text('based_on = "stairs.toml"\n', encoding="utf-8")
    (house / "stairs.toml").write_text('based_on = "hall.toml"\n', encoding="utf-8")
    told = invoke(".")
    assert told.exit_code == 2
    assert "hall.toml:1: based_on: the recipe builds on itself: " in told.stderr
    assert (house / "pictures" / "terrace_day.png").exists()


def test_one_page_and_one_board_show_all_views(house: Path) -> None:
    views = ("living.toml", "kitchen.toml", "terrace.toml")
    for command, file in (("page", "house_review.html"), ("board", "house_board.pdf")):
        result = CliRunner().invoke(main, [command, *views])
        assert result.exit_code == 0, result.output
        assert result.stdout.strip() == f"pictures/{file}"
    page = (house / "pictures" / "house_review.html").read_text(encoding="utf-8")
    assert re.findall(r'<button type="button" data-view="(\w+)"', page) == [
        "living", "kitchen", "terrace"
    ]  # fmt: skip
    assert page.count('<img data-key="') == 6
    board = pdfium.PdfDocument(house / "pictures" / "house_board.pdf")
    words = [page.get_textpage().get_text_range() for page in board]
    assert [text.partition("\r\n")[0] for text in words] == [
        "living", "living, day", "living, dusk",
        "kitchen", "kitchen, day", "kitchen, dusk",
        "terrace", "terrace, day", "terrace, dusk",
    ]  # fmt: skip
    board.close()


def test_views_of_one_name_are_not_shown_together(house: Path) -> None:
    (house / "wing").mkdir()
    wing = (house / "living.toml").read_text(encoding="utf-8")
    (house / "wing" / "living.toml").write_text(
        wing.replace("house.toml", "../house.toml").replace('"living"', '"../living"'),
        encoding="utf-8",
    )
    result = CliRunner().invoke(main, ["page", "living.toml", "wing/living.toml"])
    assert result.exit_code == 2
    assert "have one name" in result.stderr


def test_titles_that_differ_stand_at_their_views_and_not_over_all(
    house: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing but the folder says what these have in common."""
    from evenfall.produce import sheet as drawing

    told: list[tuple[str, list[str]]] = []
    draw = drawing.draw_sheet

    def noted(moods: Any, text: Any, **rest: Any) -> Any:
        told.append((text.title, [mood.heading for mood in moods if mood.heading]))
        return draw(moods, text, **rest)

    monkeypatch.setattr(drawing, "draw_sheet", noted)
    shared = (house / "house.toml").read_text(encoding="utf-8")
    for name, view in (("living", "Tall room"), ("kitchen", "Long room")):
        own = (house / f"{name}.toml").read_text(encoding="utf-8").partition("\n")[2]
        passes = f'passes.folder = "{name}"\n'
        title = f'project.title = "{view}"\n'
        text = shared.replace("format = 1\n", f"format = 1\n{title}{passes}")
        assert passes in own
        (house / f"{name}.toml").write_text(text, encoding="utf-8")
    moved = house.rename(house.with_name("river_house"))
    monkeypatch.chdir(moved)
    views = ("living.toml", "kitchen.toml")
    assert invoke(*views).exit_code == 0
    assert told[-1] == ("River house", ["Tall room", "Long room"])
    record = read_provenance(moved / "pictures" / "river_house_contact_sheet.png")
    assert record is not None
    assert record.title == "River house"
    assert CliRunner().invoke(main, ["page", *views]).exit_code == 0
    page = (moved / "pictures" / "river_house_review.html").read_text(encoding="utf-8")
    assert re.findall(r"<h1[^>]*>([^<]*)</h1>", page) == ["River house"]
    tabs = r'<button type="button" data-view="\w+" aria-pressed="false">([^<]*)<'
    assert re.findall(tabs, page) == ["Tall room", "Long room"]
    for name in ("living", "kitchen"):
        text = (moved / f"{name}.toml").read_text(encoding="utf-8")
        text = re.sub('project.title = ".*"', 'project.title = "Weir house"', text)
        (moved / f"{name}.toml").write_text(text, encoding="utf-8")
    assert invoke(*views, "--overwrite").exit_code == 0
    assert told[-1] == ("Weir house", ["living", "kitchen"])
