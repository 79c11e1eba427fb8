"""The command `evenfall run`: what it prints, its exit codes, and what it writes."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from evenfall.cli.main import main
from evenfall.develop.example import example_recipe


@pytest.fixture
def corner(tmp_path, monkeypatch):
    monkeypatch.setenv("EVENFALL_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    return example_recipe(tmp_path)


def invoke(*arguments):
    return CliRunner().invoke(main, ["run", *arguments])


def test_files_on_stdout_the_rest_on_stderr(corner, tmp_path):
    result = invoke("corner.toml")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert [line.split()[:2] for line in lines] == [
        ["pictures/corner_day.png", "made"],
        ["pictures/corner_dusk.png", "made"],
        ["pictures/corner_contact_sheet.png", "made"],
    ]
    assert "Report: pictures/corner_report.json" in result.stderr
    again = invoke("corner.toml")
    assert again.exit_code == 0
    assert [line.split()[1] for line in again.stdout.splitlines()] == ["kept"] * 3


def test_existing_files_exit_1_and_name_each(corner):
    invoke("corner.toml")
    result = invoke("corner.toml", "--set", "look.tone=hable")
    assert result.exit_code == 1
    assert result.stderr.count("the file exists already; use --overwrite") == 3
    assert result.stdout == ""
    assert invoke("corner.toml", "--set", "look.tone=hable", "--overwrite").exit_code == 0


def test_dry_run_says_what_would_be_made(corner, tmp_path):
    result = invoke("corner.toml", "--dry-run", "--mood", "dusk", "--out", "elsewhere")
    assert result.exit_code == 0
    assert result.stdout.splitlines() == ["elsewhere/corner_dusk.png  would be made"]
    assert not (tmp_path / "elsewhere").exists()


def test_report_as_json(corner):
    result = invoke("corner.toml", "--json", "--mood", "day")
    report = json.loads(result.stdout)
    assert [file["mood"] for file in report["files"]] == ["day"]
    assert report["moods"]["day"]["exposure"]["metered"] == "sun in day"


def test_quiet_says_nothing_and_verbose_says_more(corner):
    assert invoke("corner.toml", "-q").output == ""
    loud = invoke("corner.toml", "-v", "--overwrite", "--set", "look.tone=hable")
    assert "lamp: +1.00 stops, 2700 K" in loud.stderr
    assert "Time: read and mix" in loud.stderr


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("corner.toml", "--mood", "dsk"), 'no mood "dsk"; expected one of day, dusk; did you'),
        (("nowhere.toml",), "nowhere.toml"),
        (("corner.toml", "--set", "moods.dusk.lights.sun"), "moods.dusk.lights.sun"),
        (("corner.toml", "--workers", "0"), "--workers"),
        (("corner.toml", "--passes", "nowhere"), "nowhere"),
    ],
)
def test_wrong_usage_exits_2_without_a_traceback(corner, arguments, said):
    result = invoke(*arguments)
    assert result.exit_code == 2
    assert said in result.stderr
    assert "Traceback" not in result.output


def test_damaged_pass_exits_1_and_keep_going_makes_the_rest(corner, tmp_path):
    lamp = tmp_path / "lamp.exr"
    lamp.write_bytes(lamp.read_bytes()[:-50])
    result = invoke("corner.toml")
    assert result.exit_code == 1
    assert "lamp.exr" in result.stderr
    assert not (tmp_path / "pictures").exists()
    result = invoke("corner.toml", "--keep-going")
    assert result.exit_code == 1
    assert "lamp.exr" in result.stderr
    assert "corner_day.png  made" in result.stdout
    assert "dusk" not in result.stdout


def test_one_off_change_and_passes_elsewhere(corner, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    for name in ("sun", "sky", "lamp"):
        (tmp_path / f"{name}.exr").rename(other / f"{name}.exr")
    result = invoke(
        "corner.toml", "--passes", "other", "--set", "moods.dusk.lights.lamp.stops=2", "--json"
    )
    report = json.loads(result.stdout)
    assert report["moods"]["dusk"]["lights"]["lamp"]["gain_stops"] == 2
    assert report["changes"] == ["moods.dusk.lights.lamp.stops=2"]


def test_draft_is_small_and_named_so(tmp_path, monkeypatch):
    import imageio.v3 as imageio

    monkeypatch.setenv("EVENFALL_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    example_recipe(tmp_path, width=400, height=300)
    result = invoke("corner.toml", "--draft", "--set", "draft.width=200", "--mood", "day")
    assert result.exit_code == 0, result.stderr
    assert result.stdout.split()[0] == "drafts/corner_day_draft.png"
    assert imageio.imread(tmp_path / "drafts" / "corner_day_draft.png").shape == (150, 200, 3)


def test_dry_run_tells_kept_from_replaced(corner):
    invoke("corner.toml")
    assert "corner_day.png  would be kept" in invoke("corner.toml", "--dry-run").stdout
    changed = invoke("corner.toml", "--dry-run", "--set", "look.tone=hable")
    assert "corner_day.png  would be replaced, with --overwrite" in changed.stdout
