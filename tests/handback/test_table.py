"""The handback as a table: figures by hand, files of every kind."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

import evenfall
from evenfall.cli.main import main
from evenfall.errors import UsageError
from evenfall.handback.lamps import Handback
from evenfall.handback.writing import as_csv
from evenfall.view import handback_text

RECIPE = """\
format = 1
[lights.sun]
file = "sun.exr"
role = "key"
[lights.sky]
file = "sky.exr"
role = "sky"
title = "Sky, all of it"
[lights.lamp]
file = "lamp.exr"
rendered = { kelvin = 3000, lumens = 800, candela = 1200 }
[moods.day]
lights.lamp = "off"
[moods.dusk]
lights.sun = { rgb = [2, 1, 0.5] }
lights.sky = { match = { to = "sun", ratio = "4:1" } }
lights.lamp = { watts = 20, lumens_per_watt = 90, kelvin = 2700 }
"""


@pytest.fixture
def view(corner: evenfall.Recipe) -> evenfall.View:
    path = corner.path.with_name("lamps.toml")
    path.write_text(RECIPE, encoding="utf-8")
    return evenfall.open(path)


def test_lumens_candela_and_watts_by_hand(view: evenfall.View) -> None:
    """20 W at 90 lm/W are 1800 lm, 2.25 times 800 lm, and 2.25 times 1200 cd are 2700 cd."""
    lamp = view.handback("dusk").lights[2]
    assert lamp.power == pytest.approx(2.25, rel=1e-9)
    assert lamp.lumens == pytest.approx(1800)
    assert lamp.candela == pytest.approx(2700)
    assert (lamp.watts, lamp.asked_kelvin) == (20, 2700)
    assert lamp.kelvin == pytest.approx(2700, abs=0.5)
    assert lamp.stops == pytest.approx(1.169925, abs=1e-6)  # log2 2.25


def test_plain_factors_count_by_their_luminance(view: evenfall.View) -> None:
    """2, 1 and 0.5 times white: the luminance weights of BT.709 are 0.2126, 0.7152, 0.0722."""
    sun = view.handback("dusk").lights[0]
    assert sun.factors == (2, 1, 0.5)
    assert sun.power == pytest.approx(2 * 0.2126 + 0.7152 + 0.5 * 0.0722, abs=2e-4)
    assert [a * sun.power for a in sun.colour] == pytest.approx(sun.factors)


def test_solved_gains_are_those_of_the_mix(view: evenfall.View) -> None:
    developed = view.develop("dusk").balance
    assert view.handback("dusk").lights[1].factors == developed.factors["sky"]


def test_a_light_that_is_off(view: evenfall.View) -> None:
    lamp = view.handback("day").lights[2]
    assert (lamp.is_on, lamp.power, lamp.stops, lamp.kelvin) == (False, 0, None, None)
    assert "off" in handback_text(view.handback("day"), view.recipe, ".txt")


def test_csv_and_json_say_the_same(view: evenfall.View) -> None:
    handback = view.handback("dusk")
    rows = list(csv.DictReader(io.StringIO(handback_text(handback, view.recipe, ".csv"))))
    told = json.loads(handback_text(handback, view.recipe, ".json"))
    assert [row["title"] for row in rows] == ["sun", "Sky, all of it", "lamp"]
    for row, light in zip(rows, told["lights"], strict=True):
        factors = [float(row[column]) for column in ("red", "green", "blue")]
        assert factors == pytest.approx(light["factors"], rel=1e-5)
        assert float(row["power"]) == pytest.approx(light["power"], rel=1e-5)
    assert "no lighting calculation" in told["caution"]


def test_a_table_for_people_has_no_dust_of_floating_point(view: evenfall.View) -> None:
    """A quarter is two stops down by log2; the other figures are rounded with a pencil."""
    lamp = replace(
        view.handback("dusk").lights[2],
        power=0.25000000000000006,
        factors=(1 / 3, 0.25000000000000006, 1e-9),
        lumens=1799.9999999999998,
        kelvin=10667.404618343033,
        duv=-0.000012,
    )
    row = next(csv.DictReader(io.StringIO(as_csv(Handback("a", "b", "c", "BT.709", (lamp,))))))
    assert (row["power"], row["stops"], row["lumens"]) == ("0.25", "-2.000", "1800")
    assert (row["kelvin"], row["duv"]) == ("10667", "0.0000")
    assert (row["red"], row["green"], row["blue"]) == ("0.333333", "0.25", "1e-09")
    unlit = as_csv(Handback("a", "b", "c", "BT.709", (replace(lamp, power=0, factors=(0, 0, 0)),)))
    off = next(csv.DictReader(io.StringIO(unlit)))
    assert (off["power"], off["stops"], off["red"]) == ("0", "", "0")


def test_names_are_no_formulas_in_a_spreadsheet(view: evenfall.View) -> None:
    handback = view.handback("dusk")
    evil = replace(handback.lights[0], title="=1+1")
    text = as_csv(Handback("a", "b", "c", "BT.709", (evil,)))
    assert next(csv.DictReader(io.StringIO(text)))["title"] == "'=1+1"


def test_which_mood_has_to_be_said(view: evenfall.View) -> None:
    with pytest.raises(UsageError, match="which mood"):
        view.handback()


def test_the_command_writes_files_by_their_ending(view: evenfall.View, tmp_path: Path) -> None:
    files = [tmp_path / "dusk.txt", tmp_path / "dusk.csv", tmp_path / "dusk.json"]
    arguments = ["handback", str(view.recipe.path), "--mood", "dusk"]
    outs = [word for file in files for word in ("--out", str(file))]
    done = CliRunner().invoke(main, arguments + outs)
    assert done.exit_code == 0, done.output
    assert "1800 lm, 2700 cd, 20 W, 2700 K" in files[0].read_text(encoding="utf-8")
    files[1].unlink()
    assert CliRunner().invoke(main, arguments + outs).exit_code == 0  # the others say it already
    assert files[1].is_file()
    files[1].write_text("of somebody else", encoding="utf-8")
    files[2].unlink()
    refused = CliRunner().invoke(main, arguments + outs)
    assert refused.exit_code == 1
    assert refused.stderr.startswith(f"{files[1]}: the file exists already")
    assert files[1].read_text(encoding="utf-8") == "of somebody else"
    assert not files[2].exists()
    wrong = CliRunner().invoke(main, [*arguments, "--out", str(tmp_path / "dusk.xlsx")])
    assert wrong.exit_code == 2
    assert ".txt, .csv, .json or .usda" in wrong.output
