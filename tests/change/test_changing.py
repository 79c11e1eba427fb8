"""What a change does to a recipe: figures worked by hand, the file read again by tomllib."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from difflib import ndiff
from pathlib import Path
from typing import Any

import pytest

from evenfall.change import changing
from evenfall.change.changing import Changed, change_recipe
from evenfall.errors import RecipeError, UsageError
from evenfall.recipe import LightSetting, load

TEXT = """\
# The villa. Anna asked for warm lamps.
format = 1

[lights]
sun = { file = "sun.exr", role = "key" }
sky = { file = "sky.exr", role = "sky", title = "Evening sky" }
fill = { file = "fill.exr", role = "fill" }
left = { file = "left.exr", rendered = { kelvin = 4000, lumens = 800 } }
right = { file = "right.exr", rendered = { kelvin = 4000, lumens = 800 } }
strip = { file = "strip.exr" }
"garden lamp" = { file = "garden.exr", role = "outdoor fixture" }

[groups]
pair = ["left", "right"]
lamps = ["left", "right", "strip"]

[camera]
exposure_stops = 0.5   # a little brighter than the meter says

[look]
tone = { curve = "evenfall", contrast = 1.3 }
glare.strength = 0.02   # little

[moods.day.lights]
fill = {match={to="sun",  ratio="4:1"}}   # readable shadows
lamps = "off"
"garden lamp" = "off"

[moods.dusk.lights]
sun   = "off"
sky   = { stops = -2, kelvin = 12000 }   # blue
fill  = -3
pair  = { stops = "+1/3", kelvin = 2700 }
strip = { factor = 2, hex = "#ff0000" }
right = { stops = "1 1/3" }   # its shade is dark

[moods.dusk.camera]
exposure_stops = "+1 1/2"

[moods.night]
based_on = "dusk"   # only what differs

[moods.night.lights]
sky = "down 3"
left = { factor = 0.5 }
"""


@dataclass
class Case:
    """A recipe on the disk."""

    path: Path

    def __call__(self, moods: str, *phrases: str, **options: Any) -> Changed:
        """Change it."""
        return change_recipe(self.path, moods, phrases, **options)

    @property
    def text(self) -> str:
        return self.path.read_bytes().decode("utf-8-sig")

    def lines(self, before: str) -> tuple[list[str], list[str]]:
        """Lines that have gone, and that have come."""
        found = list(ndiff(before.splitlines(), self.text.splitlines()))
        return tuple([line[2:] for line in found if line[0] == sign] for sign in "-+")

    def light(self, mood: str, light: str) -> LightSetting:
        return load(self.path, check_files=False).moods[mood].lights[light]

    def entry(self, mood: str, name: str) -> Any:
        """What the file says, as plain data."""
        return tomllib.loads(self.text)["moods"][mood]["lights"].get(name)


@pytest.fixture
def villa(tmp_path: Path) -> Case:
    path = tmp_path / "villa.toml"
    path.write_text(TEXT, encoding="utf-8")
    return Case(path)


Write = Callable[[str], Case]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def put(text: str) -> Case:
        path = tmp_path / "other.toml"
        path.write_bytes(text.encode())
        return Case(path)

    return put


def test_only_the_figure_changes(villa: Case) -> None:
    villa("dusk", "sky down 1/2")
    gone, come = villa.lines(TEXT)
    assert gone == ["sky   = { stops = -2, kelvin = 12000 }   # blue"]
    assert come == ["sky   = { stops = -2.5, kelvin = 12000 }   # blue"]


def test_thirds_of_a_stop_add_up_to_whole_ones(villa: Case) -> None:
    """1 1/3 + 2/3 = 2; 1/3 + 2/3 = 1, in the spelling that stood."""
    villa("dusk", "pair +2/3")
    assert villa.entry("dusk", "right") == {"stops": "2"}
    assert villa.entry("dusk", "pair") == {"stops": "+1", "kelvin": 2700}


@pytest.mark.parametrize(
    ("phrase", "entry"),
    [
        ("fill +1", -2),
        ("fill up 1/2", -2.5),
        ("fill -1/3", "-3 1/3"),
        ("fill x2", -2),
        ("fill x1.5", -2.415),  # log2(1.5) = 0.58496
        ("fill = -1", -1),
        ("fill = 1/3", "+1/3"),
        ("fill off", "off"),
        ("fill on", "on"),
        ("fill 4:1 to sky", {"match": {"to": "sky", "ratio": "4:1"}}),
        ("fill 2700 K", {"stops": -3, "kelvin": 2700}),
        ("fill warmer 20", {"stops": -3, "mired_shift": 20}),
        ("strip x1.5", {"factor": 3, "hex": "#ff0000"}),
        ("strip +1", {"factor": 4, "hex": "#ff0000"}),
        ("strip down 1/3", {"factor": 1.587, "hex": "#ff0000"}),  # 2^(2/3) = 1.5874
    ],
)
def test_one_light(villa: Case, phrase: str, entry: object) -> None:
    villa("dusk", phrase)
    assert villa.entry("dusk", phrase.split(maxsplit=1)[0]) == entry


def test_lumens_and_watts_keep_their_unit(villa: Case) -> None:
    """1200 lm a third of a stop down is 1200 / 2^(1/3) = 952.4; 9 W a stop up is 18 W."""
    villa("dusk", "left 1200 lm", "right 9 W at 90 lm/W")
    assert villa.entry("dusk", "left") == {"lumens": 1200}
    villa("dusk", "left down 1/3", "right +1")
    assert villa.entry("dusk", "left") == {"lumens": 952.4}
    assert villa.entry("dusk", "right") == {"watts": 18, "lumens_per_watt": 90}


def test_candela_of_a_directed_lamp(write: Write) -> None:
    """900 cd two stops up is 3600 cd."""
    villa = write(TEXT.replace('"garden.exr"', '"garden.exr", rendered.candela = 400'))
    villa("dusk", "garden lamp 900 cd")
    villa("dusk", "garden lamp +2")
    assert villa.entry("dusk", "garden lamp") == {"candela": 3600}


def test_mired_by_hand(villa: Case) -> None:
    """10^6/2700 + 20 = 390.37, which is 2561.7 K; 10^6/12000 - 20 = 63.33, 15789 K."""
    villa("dusk", "pair warmer 20", "sky cooler 20")
    assert villa.light("dusk", "left").kelvin == 2562
    assert villa.light("dusk", "right").kelvin == 2562
    assert villa.light("dusk", "sky").kelvin == 15789


def test_a_ratio_is_moved_as_a_ratio(villa: Case) -> None:
    """A fill at 4:1, one stop up, stands at 2:1, and the spacing of the line stays."""
    villa("day", "fill +1")
    _, come = villa.lines(TEXT)
    assert come == ['fill = {match={to="sun",  ratio="2:1"}}   # readable shadows']


def test_the_other_convention_counts_the_shadow_side(write: Write) -> None:
    """(key+fill):fill of 4:1 is 3:1 of the key alone; a stop up is 1.5:1, said as 2.5:1."""
    text = TEXT.replace('ratio="4:1"', 'ratio="4:1", convention="(key+fill):fill"')
    villa = write(text)
    villa("day", "fill +1")
    assert villa.light("day", "fill").match.ratio == "2.5:1"


def test_a_group_takes_lights_with_entries_of_their_own_along(villa: Case) -> None:
    villa("dusk", "pair 3000 K", "lamps +1/3")
    assert villa.entry("dusk", "pair") == {"stops": "+2/3", "kelvin": 3000}
    assert villa.entry("dusk", "right") == {"stops": "1 2/3"}
    assert villa.entry("dusk", "strip")["factor"] == 2.52  # 2 x 2^(1/3) = 2.5198
    for light in ("left", "right"):
        assert villa.light("dusk", light).kelvin == 3000


def test_a_group_is_set_as_a_whole(villa: Case) -> None:
    villa("dusk", "lamps = -1")
    assert {light: villa.light("dusk", light).stops for light in ("left", "right", "strip")} == {
        "left": -1, "right": -1, "strip": -1,
    }  # fmt: skip
    assert villa.light("dusk", "left").kelvin == 2700


def test_a_part_of_a_group_gets_an_entry_of_its_own(villa: Case) -> None:
    villa("dusk", "left +1/3")
    assert villa.entry("dusk", "pair") == {"stops": "+1/3", "kelvin": 2700}
    assert villa.entry("dusk", "left") == "+2/3"
    assert villa.light("dusk", "left").kelvin == 2700


def test_a_group_that_is_matched_shares_one_ratio(villa: Case) -> None:
    villa("dusk", "pair 2:1 to sky")
    left, right = villa.light("dusk", "left"), villa.light("dusk", "right")
    assert left.match is not None
    assert left.match == right.match
    assert villa.entry("dusk", "right") is None
    assert left.kelvin == 2700


def test_what_a_mood_inherits_becomes_a_step(villa: Case) -> None:
    changed = villa("night", "right +1/3", "strip down 1")
    assert villa.entry("night", "right") == "up 1/3"
    assert villa.entry("night", "strip") == "down 1"
    assert str(changed.moods["night"][0]) == (
        "right: +1 1/3 stops, 2700 K -> +1 2/3 stops, 1/3 up from dusk, 2700 K (up 1/3)"
    )


def test_a_step_stays_a_step(villa: Case) -> None:
    villa("night", "sky up 1/2")
    assert villa.entry("night", "sky") == "down 2 1/2"


def test_a_step_from_a_solved_gain_can_be_changed(write: Write) -> None:
    villa = write(TEXT + '\n[moods.late]\nbased_on = "day"\nlights = { fill = "down 2" }\n')
    villa("late", "fill +1/2")
    assert villa.entry("late", "fill") == "down 1 1/2"


def test_several_moods_move_once_each(villa: Case) -> None:
    """Night counts its sky from dusk, so that dusk's half stop is its own as well."""
    changed = villa("night,dusk", "sky down 1/2", "right +1")
    assert villa.entry("dusk", "sky")["stops"] == -2.5
    assert villa.entry("night", "sky") == "down 3"
    assert villa.light("night", "sky").stops == -5.5
    assert villa.entry("night", "right") is None
    assert villa.light("night", "right").stops == pytest.approx(7 / 3)
    assert list(changed.moods) == ["dusk", "night"]
    assert not changed.carried


def test_all_moods(villa: Case) -> None:
    villa("all", "garden lamp = -2")
    recipe = load(villa.path, check_files=False)
    assert {mood.lights["garden lamp"].stops for mood in recipe.moods.values()} == {-2}


def test_moods_that_change_with_it_are_told(villa: Case) -> None:
    changed = villa("dusk", "sky down 1/2", "pair 3000 K")
    assert {mood: [one.subject for one in some] for mood, some in changed.carried.items()} == {
        "night": ["sky", "left", "right"]
    }


def test_a_mood_is_kept_as_it_was(villa: Case) -> None:
    before = load(villa.path, check_files=False).moods["night"]
    villa("dusk", "sky down 1/2, 9000 K", "lamps x2", "pair cooler 10", "exposure up 1",
          keep=["night"])  # fmt: skip
    after = load(villa.path, check_files=False).moods["night"]
    for name, setting in before.lights.items():
        stands = after.lights[name].model_dump(exclude={"counted"})
        stands["mired_shift"] = stands["mired_shift"] or None  # no shift is as rendered
        assert stands == setting.model_dump(exclude={"counted"}), name
    assert after.camera == before.camera
    assert villa.entry("night", "sky") == {"stops": "down 2 1/2", "kelvin": 12000}
    assert villa.entry("night", "left") == {"factor": 0.5, "kelvin": 2700}


def test_a_light_as_rendered_is_kept_as_rendered(villa: Case) -> None:
    villa("dusk", "garden lamp +1, 3000 K", keep=["night"])
    kept = villa.light("night", "garden lamp")
    assert kept.stops is None
    assert kept.mired_shift == 0


@pytest.mark.parametrize(
    ("keep", "found"),
    [
        ("dusk", "dusk is to change, and to stay as it is"),
        ("day", "day does not change with it"),
        ("noon", 'found no mood "noon"'),
    ],
)
def test_moods_that_cannot_be_kept(villa: Case, keep: str, found: str) -> None:
    with pytest.raises(UsageError) as caught:
        villa("dusk", "sky down 1/2", keep=[keep])
    assert found in str(caught.value)
    assert villa.text == TEXT


def test_a_dial_is_turned_from_where_it_stands(villa: Case) -> None:
    villa("dusk", "exposure +1/3")
    gone, come = villa.lines(TEXT)
    assert gone == ['exposure_stops = "+1 1/2"']
    assert come == ['exposure_stops = "+1 5/6"']


def test_a_dial_of_all_moods_is_turned_where_it_is_said(villa: Case) -> None:
    villa("all", "exposure +1/2", "glare x1.5", "saturation = 0.9", "tone contrast +0.1")
    tree = tomllib.loads(villa.text)
    assert tree["camera"]["exposure_stops"] == 1
    assert tree["moods"]["dusk"]["camera"]["exposure_stops"] == "+2"
    assert "camera" not in tree["moods"]["night"]
    assert tree["look"]["glare"]["strength"] == 0.03
    assert tree["look"]["grade"]["saturation"] == 0.9
    assert tree["look"]["tone"]["contrast"] == 1.4
    assert "glare.strength = 0.03   # little" in villa.text


def test_a_dial_of_one_mood_stays_in_that_mood(villa: Case) -> None:
    villa("night", "glare x2", "exposure down 1/2", "white balance 4300 K")
    night = tomllib.loads(villa.text)["moods"]["night"]
    assert night["look"] == {"glare": {"strength": 0.04}}
    assert night["camera"] == {"exposure_stops": "down 1/2", "white_balance": {"kelvin": 4300}}


def test_a_warmer_white_balance_makes_the_picture_warmer(villa: Case) -> None:
    """10^6/4000 - 20 = 230 mired, 4347.8 K: the camera takes bluer light for white."""
    villa("dusk", "white balance 4000 K")
    villa("dusk", "white balance warmer 20")
    assert load(villa.path, check_files=False).moods["dusk"].camera.white_balance.kelvin == 4348


def test_titles_and_capitals_name_lights(villa: Case) -> None:
    villa("dusk", "Evening Sky +1", "GARDEN_LAMP off")
    assert villa.entry("dusk", "sky")["stops"] == -1
    assert villa.entry("dusk", "garden lamp") == "off"


def test_the_meter_that_reads_a_changed_light_is_told_of(villa: Case) -> None:
    changed = villa("day", "sun +1")
    assert changed.notes == (
        "the meter reads sun in day: exposures go down 1 for it, of day, dusk and night",
    )
    assert villa("dusk", "sky +1").notes == ()


def test_lights_that_are_off_stay_off_and_are_told_of(villa: Case) -> None:
    villa("dusk", "left off")
    changed = villa("dusk", "pair +1/3")
    assert changed.notes == ("left is off in dusk, and stays off",)
    assert villa.light("dusk", "left").off


@pytest.mark.parametrize(
    ("phrases", "found"),
    [
        (["skye +1"], '"skye +1": there is nothing called "skye"; did you mean "sky"?'),
        (["lamp +1"], 'there is nothing called "lamp"; did you mean "garden lamp +1"?'),
        (["sky brighter"], '"sky brighter": "brighter" is not understood'),
        (["contrast +0.1"], '"contrast" is "tone contrast" or "grade contrast"; say which'),
        (["exposure 2700 K"], 'exposure takes "+1/3", "down 1/2" or "= -1"'),
        (["sky 1200 lm"], "lumens need to know how the light was rendered"),
        (["sky +40"], "expected stops from -30 to 30"),
        (["sky 300 K"], "moods.dusk.lights.sky.kelvin: found 300"),
        (["pair warmer 900"], "+900 mired from 2700 K leaves 1000 K to 25000 K"),
        (["strip warmer 20"], "the colour of strip has no temperature"),
        (["sun +1"], "sun is off in dusk, so nothing can be added"),
        (["sun off"], '"off" changes nothing; in dusk, sun is off'),
        (["sky +0"], '"+0" changes nothing; in dusk, sky is -2 stops, 12000 K'),
        (["exposure = 1.5"], '"= 1.5" changes nothing; in dusk, exposure is +1 1/2 stops'),
        (["sky +1, off"], 'sky is told twice: by "+1" and by "off"'),
        (["sky 2700 K", "sky warmer 20"], 'by "2700 K" in "sky 2700 K" and by "warmer 20"'),
        (["left off", "lamps +1/3"], 'left is told twice: by "off" in "left off" and by "+1/3"'),
        (["exposure +1", "exposure +1"], "exposure is told twice"),
        (["fill 4:1 to moon"], 'there is nothing called "moon"'),
        (["pair 4:1 to left"], "matches a light to itself"),
        (["white balance warmer 20"], "white balance has no temperature in dusk"),
        ([], "nothing is said to change"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(
    villa: Case, phrases: list[str], found: str
) -> None:
    with pytest.raises(UsageError) as caught:
        villa("dusk", *phrases)
    assert found in str(caught.value)
    assert villa.text == TEXT


def test_faults_are_told_at_once(villa: Case) -> None:
    with pytest.raises(UsageError) as caught:
        villa("dusk", "skye +1", "left purple", "fill +1")
    assert [fault.file for fault in caught.value.faults] == ['"skye +1"', '"left purple"']


@pytest.mark.parametrize("phrases", [["fill 4:1 to sun"]])
def test_a_ratio_to_a_light_that_is_off_is_refused(villa: Case, phrases: list[str]) -> None:
    with pytest.raises(RecipeError, match="sun is off in dusk, so nothing can be matched to it"):
        villa("dusk", *phrases)
    assert villa.text == TEXT


def test_a_light_that_others_are_matched_to_cannot_go_off(villa: Case) -> None:
    with pytest.raises(RecipeError, match="sun is off in day, so nothing can be matched to it"):
        villa("day", "sun off")
    assert villa.text == TEXT


def test_one_of_several_that_share_a_ratio_cannot_be_moved_alone(write: Write) -> None:
    text = TEXT.replace('lamps = "off"\n', 'lamps = {match={to="sun"}}\n')
    villa = write(text)
    with pytest.raises(UsageError, match="left, right, strip share one ratio in day"):
        villa("day", "left +1")
    villa("day", "lamps +1")
    assert villa.light("day", "left").match.ratio == "0.5:1"


def test_a_recipe_that_is_not_sound_is_not_touched(write: Write) -> None:
    villa = write(TEXT.replace("ratio=", "ration="))
    with pytest.raises(RecipeError, match="ration"):
        villa("dusk", "sky +1")
    assert "ration=" in villa.text


def test_a_recipe_that_was_changed_meanwhile_is_not_touched(
    villa: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    written = changing.Revision.written

    def late(self: changing.Revision) -> str:
        villa.path.write_text(TEXT + "# Ben was here\n", encoding="utf-8")
        return written(self)

    monkeypatch.setattr(changing.Revision, "written", late)
    with pytest.raises(UsageError, match="was changed by somebody else meanwhile"):
        villa("dusk", "sky +1")
    assert villa.text == TEXT + "# Ben was here\n"


def test_a_dry_run_only_says(villa: Case) -> None:
    changed = villa("dusk", "sky +1", dry_run=True)
    assert not changed.written
    assert villa.text == TEXT
    assert "stops = -1, kelvin" in changed.text


def test_line_ends_byte_order_mark_and_permissions_stay(write: Write) -> None:
    villa = write("\ufeff" + TEXT.replace("\n", "\r\n"))
    villa.path.chmod(0o640)
    villa("dusk", "sky +1", "left = -1")
    data = villa.path.read_bytes()
    assert data.startswith(b"\xef\xbb\xbf#")
    assert data.count(b"\r\n") == data.count(b"\n") == TEXT.count("\n") + 1
    assert villa.path.stat().st_mode & 0o777 == 0o640


def test_what_a_killed_change_left_goes_with_the_next(villa: Case, tmp_path: Path) -> None:
    from evenfall.system.partials import partial_path

    left = partial_path(villa.path)
    dead = left.with_name(left.name.replace(f".{os.getpid()}-", ".4194303-"))
    dead.write_text("half", encoding="utf-8")
    villa("dusk", "sky +1")
    assert [path.name for path in tmp_path.iterdir()] == ["villa.toml"]


def test_a_folder_that_cannot_be_written(villa: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    from evenfall.errors import OutputError

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("evenfall.recipe.saving.put_whole", full)
    with pytest.raises(OutputError, match="cannot be written: No space left on device"):
        villa("dusk", "sky +1")
    assert villa.text == TEXT


def test_a_mood_is_kept_though_what_it_counts_from_goes_off(villa: Case) -> None:
    """Night's sky counts three down from dusk's -2; with dusk's off it stands at -5 by itself."""
    with pytest.raises(UsageError, match='"down 3" counts from dusk, where it is off'):
        villa("dusk", "sky off")
    villa("dusk", "sky off", keep=["night"])
    assert villa.entry("night", "sky") == -5
    assert villa.light("night", "sky").kelvin == 12000


def test_a_light_of_a_group_in_watts_gets_watts_of_its_own(write: Write) -> None:
    """9 W a stop up is 18 W, at the efficacy that the group has."""
    villa = write(TEXT.replace('pair  = { stops = "+1/3", kelvin = 2700 }',
                               "pair = { watts = 9, lumens_per_watt = 90 }"))  # fmt: skip
    villa("dusk", "left +1")
    assert villa.entry("dusk", "left") == {"watts": 18, "lumens_per_watt": 90}
    assert villa.entry("dusk", "pair") == {"watts": 9, "lumens_per_watt": 90}
