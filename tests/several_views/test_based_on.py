"""A recipe that builds on another says what the two say together, file and line with it."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import evenfall
from evenfall.change.changing import change_recipe
from evenfall.errors import RecipeError, UsageError
from evenfall.recipe import load
from evenfall.record.rounds import find_round, rounds_folder
from evenfall.rounds.remaking import remake_picture, remake_round
from evenfall.rounds.returning import return_to
from evenfall.rounds.tracing import trace_picture
from evenfall.view.live import DraftsFailed, DraftsMade, live_drafts

Edit = Callable[[str, str, str], None]


@pytest.fixture
def edit(house: Path) -> Edit:
    def replace(name: str, old: str, new: str) -> None:
        path = house / name
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")

    return replace


def said(path: Path, **options: bool) -> list[str]:
    with pytest.raises(RecipeError) as caught:
        load(path, **options)
    return [str(fault).replace(f"{path.parent}/", "") for fault in caught.value.faults]


def test_a_view_comes_out_as_if_everything_stood_in_one_file(house: Path) -> None:
    """The same pictures, bit for bit, as a recipe that is written out by hand."""
    whole = (house / "house.toml").read_text(encoding="utf-8")
    whole = whole.replace("sky = { stops = -2 }", "sky = -3")
    whole = whole.replace("[lights.sun]", '[passes]\nfolder = "kitchen"\n\n[lights.sun]')
    (house / "written_out.toml").write_text(whole, encoding="utf-8")
    one, other = (
        evenfall.open(house / f"{name}.toml").develop("dusk") for name in ("kitchen", "written_out")
    )
    assert np.array_equal(one.encoded(), other.encoded())


def test_a_table_is_merged_and_a_short_form_keeps_the_colour(house: Path, edit: Edit) -> None:
    edit("living.toml", "passes", "moods.dusk.lights.lamp = -1\npasses")
    lamp = load(house / "living.toml").moods["dusk"].lights["lamp"]
    assert (lamp.stops, lamp.kelvin) == (-1.0, 2700.0)


def test_one_gain_takes_the_place_of_another(house: Path, edit: Edit) -> None:
    edit("living.toml", "passes", "moods.dusk.lights.lamp.factor = 0.5\npasses")
    lamp = load(house / "living.toml").moods["dusk"].lights["lamp"]
    assert (lamp.stops, lamp.factor, lamp.kelvin) == (None, 0.5, 2700.0)


def test_keys_that_go_together_may_come_in_any_order(house: Path, edit: Edit) -> None:
    lamp = "moods.dusk.lights.lamp = { duv = 0.003, kelvin = 3000 }\n"
    edit("living.toml", "passes", f"{lamp}passes")
    setting = load(house / "living.toml").moods["dusk"].lights["lamp"]
    assert (setting.kelvin, setting.duv, setting.stops) == (3000.0, 0.003, 1.0)


def test_another_curve_drops_the_settings_of_the_first(house: Path, edit: Edit) -> None:
    house_text = (house / "house.toml").read_text(encoding="utf-8")
    look = '\n[look.tone]\ncurve = "evenfall"\ncontrast = 1.1\n'
    (house / "house.toml").write_text(house_text + look, encoding="utf-8")
    edit("living.toml", "passes", 'look.tone.curve = "neutral"\npasses')
    edit("kitchen.toml", "passes", "look.tone.contrast = 1.2\npasses")
    assert load(house / "living.toml").model.look.tone.curve == "neutral"
    tone = load(house / "kitchen.toml").model.look.tone
    assert (tone.curve, tone.contrast) == ("evenfall", 1.2)  # type: ignore[union-attr]


def test_lists_are_replaced_whole_and_their_lines_with_them(house: Path, edit: Edit) -> None:
    with (house / "house.toml").open("a", encoding="utf-8") as file:
        file.write('\n[[deliverables]]\nformat = "png"\n\n[[deliverables]]\nformat = "jpg"\n')
    edit("living.toml", "passes", 'deliverables = [{ format = "tiff", bit = 8 }]\npasses')
    assert said(house / "living.toml")[0].startswith("living.toml:2: deliverables[0].bit: ")
    edit("house.toml", '"jpg"', '"jpeg"')
    formats = [one.format for one in load(house / "kitchen.toml").model.deliverables]
    assert formats == ["png", "jpeg"]


def test_a_light_that_a_view_does_not_have_is_told_at_its_line(house: Path, edit: Edit) -> None:
    edit("terrace.toml", 'lights.lamp = "none"\n', "")
    [fault] = said(house / "terrace.toml")
    assert fault.startswith("house.toml:13: lights.lamp.file: there is no file ")
    assert 'say lights.lamp = "none" in ' in fault
    assert fault.endswith("terrace.toml")


def test_a_dropped_light_goes_from_groups_moods_and_daylight(house: Path, edit: Edit) -> None:
    edit("house.toml", '["sun", "sky"]', '["sun", "sky"]\nindoor = ["lamp"]')
    edit("house.toml", "[moods.dusk]", "[moods.evening]\nlights = { indoor = -1 }\n\n[moods.dusk]")
    recipe = load(house / "terrace.toml")
    assert list(recipe.model.lights) == ["sun", "sky"]
    assert list(recipe.model.groups) == ["daylight"]
    assert recipe.model.moods["evening"].lights == {}
    assert evenfall.open(recipe).run().faults == ()


def test_a_view_that_speaks_of_a_dropped_light_is_told(house: Path, edit: Edit) -> None:
    edit("terrace.toml", "passes", "moods.dusk.lights.lamp = -1\npasses")
    [fault] = said(house / "terrace.toml")
    assert fault.startswith("terrace.toml:2: moods.dusk.lights.lamp: there is no light or group")


def test_a_meter_of_a_dropped_light_is_told_where_it_stands(house: Path, edit: Edit) -> None:
    with (house / "house.toml").open("a", encoding="utf-8") as file:
        file.write('\n[camera.meter]\nof = "lamp"\n')
    [fault] = said(house / "terrace.toml")
    assert fault.startswith("house.toml:26: camera.meter.of: there is no light or group called")


def test_a_mood_may_be_dropped_with_the_deliverables_for_it_alone(house: Path, edit: Edit) -> None:
    with (house / "house.toml").open("a", encoding="utf-8") as file:
        file.write('\n[[deliverables]]\n\n[[deliverables]]\nmoods = ["day"]\nsuffix = "_web"\n')
    edit("living.toml", "passes", 'moods.day = "none"\npasses')
    recipe = load(house / "living.toml")
    assert list(recipe.moods) == ["dusk"]
    assert [one.suffix for one in recipe.model.deliverables] == [""]


def test_names_of_files_stay_relative_to_the_file_that_says_them(house: Path, edit: Edit) -> None:
    """The house may lie elsewhere, with its plates, masks and LUTs beside it."""
    shared = house / "shared"
    shared.mkdir()
    text = (house / "house.toml").read_text(encoding="utf-8")
    (shared / "house.toml").write_text(
        text.replace("[moods.dusk]", '[moods.dusk]\nplate = { file = "plates/sky.png" }'), "utf-8"
    )
    (shared / "base.toml").write_text(
        'based_on = "house.toml"\nproject.logo = "logo.png"\n', "utf-8"
    )
    edit("living.toml", '"house.toml"', '"shared/base.toml"')
    recipe = load(house / "living.toml", check_files=False)
    plate = recipe.moods["dusk"].plate
    assert plate is not None
    assert recipe.beside(plate.file) == house / "shared/plates/sky.png"
    assert recipe.model.project.logo == "shared/logo.png"
    assert recipe.passes_folder == house / "living"
    assert [base.name for base in recipe.bases] == ["shared/base.toml", "shared/house.toml"]
    [fault] = said(house / "living.toml")
    assert fault.startswith("shared/house.toml:23: moods.dusk.plate.file: there is no file")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('based_on = "hose.toml"', "living.toml:1: based_on: there is no file hose.toml; did you"),
        ("based_on = 3", "living.toml:1: based_on: found 3; expected the name of a recipe"),
        ('based_on = ""', 'living.toml:1: based_on: found ""; expected the name of a recipe'),
        ('based_on = "a\\u0000b"', "living.toml:1: based_on: found"),
        (
            'based_on = "living.toml"',
            "living.toml:1: based_on: the recipe builds on itself: living",
        ),
        ('based_on = "."', "is a folder; expected a recipe"),
        (
            '\nbased_on = "house.toml"\nlights.lam = "none"',
            'living.toml:3: lights.lam: found "none"',
        ),
        ('based_on = "house.toml"\nlights.lamp = 3', "living.toml:2: lights.lamp: found 3"),
        ('based_on = "house.toml"\nmoods = 3', "living.toml:2: moods: found 3"),
        ('based_on = "house.toml"\nlights = "none"', 'living.toml:2: lights: found "none"'),
    ],
)
def test_slips_are_told_with_file_and_line(house: Path, text: str, expected: str) -> None:
    (house / "living.toml").write_text(text, encoding="utf-8")
    assert any(
        fault.startswith(expected) or expected in fault for fault in said(house / "living.toml")
    )


def test_a_round_of_files_that_build_on_each_other_is_told(house: Path, edit: Edit) -> None:
    edit("house.toml", "format = 1", 'format = 1\nbased_on = "living.toml"')
    assert said(house / "living.toml") == [
        "house.toml:3: based_on: the recipe builds on itself: living.toml -> house.toml -> "
        "living.toml; let one of them stand on its own, without based_on"
    ]


def test_a_syntax_fault_of_the_house_is_told_there(house: Path, edit: Edit) -> None:
    edit("house.toml", "[groups]", "[groups")
    assert said(house / "living.toml")[0].startswith("house.toml:16: ")


def test_faults_of_both_files_come_at_once(house: Path, edit: Edit) -> None:
    edit("house.toml", "kelvin = 3000", "kelvin = 30")
    edit("kitchen.toml", "sky = -3", "sky = -300")
    places = [fault.partition(": ")[0] for fault in said(house / "kitchen.toml")]
    assert places == ["kitchen.toml:5", "house.toml:14"]


def test_a_change_for_once_reaches_what_is_inherited(house: Path) -> None:
    recipe = load(house / "living.toml", changes=["moods.dusk.lights.lamp.stops=2"])
    assert recipe.moods["dusk"].lights["lamp"].stops == 2.0
    assert recipe.with_changes("lights.sun.role=fill").model.lights["sun"].role == "fill"


def test_a_loaded_recipe_does_not_follow_the_house_any_more(house: Path, edit: Edit) -> None:
    recipe = load(house / "living.toml")
    edit("house.toml", "stops = -2", "stops = -5")
    again = recipe.with_changes("moods.dusk.lights.lamp.stops=2")
    assert again.moods["dusk"].lights["sky"].stops == -2.0


class TestChange:
    """Changes are written into the view, from where the house lets things stand."""

    def test_goes_into_the_view_and_tells_of_the_house(self, house: Path) -> None:
        before = (house / "house.toml").read_text(encoding="utf-8")
        changed = change_recipe(house / "living.toml", "dusk", ["lamp +1/2, 2500 K"])
        assert (house / "house.toml").read_text(encoding="utf-8") == before
        text = (house / "living.toml").read_text(encoding="utf-8")
        assert text.startswith('based_on = "house.toml"  # the house\n')
        lamp = load(house / "living.toml").moods["dusk"].lights["lamp"]
        assert (lamp.stops, lamp.kelvin) == (1.5, 2500.0)
        assert load(house / "kitchen.toml").moods["dusk"].lights["lamp"].stops == 1.0
        assert any("house.toml" in note and "line 23" in note for note in changed.notes)

    def test_of_a_view_s_own_value_stays_there(self, house: Path) -> None:
        changed = change_recipe(house / "kitchen.toml", "dusk", ["sky down 1"])
        text = (house / "kitchen.toml").read_text(encoding="utf-8")
        assert "sky = -4  # a north window\n" in text
        assert not any("house.toml" in note for note in changed.notes)

    def test_of_the_house_changes_every_view(self, house: Path) -> None:
        """Also where its own passes are nowhere: they are the views'."""
        change_recipe(house / "house.toml", "dusk", ["lamp +1/2"])
        for view in ("living", "kitchen"):
            assert load(house / f"{view}.toml").moods["dusk"].lights["lamp"].stops == 1.5

    def test_of_an_inherited_ratio_keeps_whom_it_is_matched_to(
        self, house: Path, edit: Edit
    ) -> None:
        match = '{ match = { to = "sky", ratio = "2:1" }, kelvin = 2700 }'
        edit("house.toml", "{ stops = 1, kelvin = 2700 }", match)
        change_recipe(house / "living.toml", "dusk", ["lamp +1"])
        found = load(house / "living.toml").moods["dusk"].lights["lamp"]
        assert found.match is not None
        assert (found.match.to, found.match.ratio, found.kelvin) == ("sky", "1:1", 2700.0)

    def test_of_a_dial(self, house: Path) -> None:
        change_recipe(house / "living.toml", "dusk", ["exposure +1/3", "saturation = 0.9"])
        camera = load(house / "living.toml").moods["dusk"].camera
        assert camera.exposure_stops == pytest.approx(1 / 3)

    def test_of_an_unknown_name_is_refused(self, house: Path) -> None:
        with pytest.raises(UsageError, match="lampp"):
            change_recipe(house / "living.toml", "dusk", ["lampp +1"])


class TestRounds:
    """A round holds the house as it was, too."""

    def test_is_kept_with_everything_it_inherits(self, house: Path, edit: Edit) -> None:
        path = house / "living.toml"
        kept = evenfall.open(path).keep_round(by="first")
        edit("house.toml", "stops = -2", "stops = -5")
        with pytest.raises(AssertionError):
            assert kept.holds(path.read_text("utf-8"), load(path).base_texts)
        again = find_round(rounds_folder(path), 1).load(path)
        assert again.moods["dusk"].lights["sky"].stops == -2.0
        second = evenfall.open(path).keep_round(by="second")
        assert second.record is not None
        assert second.record.changed == ("dusk: sky: -2 stops -> -5 stops (down 3)",)

    def test_is_made_again_byte_for_byte(self, house: Path, edit: Edit) -> None:
        path = house / "living.toml"
        evenfall.open(path).run()
        evenfall.open(path).keep_round()
        edit("house.toml", "stops = -2", "stops = -5")
        remade = remake_round(path, 1)
        assert len(remade.same) == 3  # with the contact sheet
        assert remade.others == ()

    def test_a_return_leaves_the_house_unless_asked(self, house: Path, edit: Edit) -> None:
        path, shared = house / "living.toml", house / "house.toml"
        then = shared.read_text(encoding="utf-8")
        evenfall.open(path).keep_round()
        edit("house.toml", "stops = -2", "stops = -5")
        edit("living.toml", "passes", "moods.dusk.lights.lamp = -1\npasses")
        returned = return_to(path, 1)
        assert returned.others == ("house.toml",)
        assert "stops = -5" in shared.read_text(encoding="utf-8")
        again = return_to(path, 1, with_bases=True)
        assert again.others == ()
        assert shared.read_text(encoding="utf-8") == then
        assert again.stood is not None
        assert again.stood.load(path).moods["dusk"].lights["sky"].stops == -5.0
        with pytest.raises(UsageError, match="is the recipe of round 1 already"):
            return_to(path, 1, with_bases=True)

    def test_a_changed_copy_of_the_house_is_told(self, house: Path) -> None:
        path = house / "living.toml"
        kept = evenfall.open(path).keep_round()
        (kept.folder / "house.toml").write_text("format = 1\n", encoding="utf-8")
        with pytest.raises(UsageError, match=r"house\.toml in it was changed since it was kept"):
            find_round(rounds_folder(path), 1).load(path)


@pytest.mark.parametrize("record", ["recipe", "with comments"])
def test_a_picture_carries_all_it_inherits(house: Path, edit: Edit, record: str) -> None:
    """It is made again byte for byte when the house has changed, or is gone."""
    edit("living.toml", "passes", f'record = "{record}"\npasses')
    report = evenfall.open(house / "living.toml").run()
    [picture] = [file.path for file in report.files if file.mood == "dusk"]
    (house / "house.toml").unlink()
    traced = trace_picture(picture)
    assert "based_on" not in tomllib.loads(traced.record.recipe_text)
    assert ("# the house" in traced.record.recipe_text) == (record == "with comments")
    assert ("# warm" in traced.record.recipe_text) == (record == "with comments")
    remade = remake_picture(traced, house / "again")
    assert [path.name for path in remade.same] == [picture.name]


def test_a_comment_in_the_house_leaves_pictures_as_they_are(house: Path, edit: Edit) -> None:
    view = evenfall.open(house / "living.toml")
    view.run()
    edit("house.toml", "# warm", "# very warm")
    assert all(file.kept for file in evenfall.open(house / "living.toml").run().files)
    edit("house.toml", "stops = -2", "stops = -3")
    report = evenfall.open(house / "living.toml").run(overwrite=True)
    kept = {file.mood: file.kept for file in report.files}
    assert kept == {"day": True, "dusk": False, "": False}


def test_drafts_follow_the_house(house: Path, edit: Edit) -> None:
    """Also from a house that cannot be read at first."""
    edit("house.toml", "[groups]", "[groups")
    looks = iter(range(400))
    drafts = live_drafts(house / "living.toml", wait=lambda _: next(looks))
    assert isinstance(next(drafts), DraftsFailed)
    edit("house.toml", "[groups", "[groups]")
    made = next(drafts)
    assert isinstance(made, DraftsMade)
    edit("house.toml", "stops = -2", "stops = -3")
    again = next(drafts)
    assert isinstance(again, DraftsMade)
    assert [file.mood for file in again.report.files if not file.kept] == ["dusk", ""]


def test_a_run_does_not_write_over_the_house(house: Path, edit: Edit) -> None:
    edit("living.toml", "passes", 'project.title = "x"\npasses')
    (house / "house.png").write_bytes((house / "house.toml").read_bytes())
    edit("living.toml", "house.toml", "house.png")
    edit("living.toml", "passes", 'deliverables = [{ name = "house", moods = ["day"] }]\npasses')
    with pytest.raises(RecipeError, match="would write over a file that it reads"):
        evenfall.open(house / "living.toml").run(out=house, overwrite=True)
