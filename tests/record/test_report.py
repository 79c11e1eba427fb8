"""Reports as JSON (RFC 8259), read by the standard library; and read back as they were."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from evenfall.record.report import RunReport

LATIN_1 = os.fsdecode("h\u00e4user.toml".encode("latin-1"))  # no UTF-8, as PEP 383 keeps it


def report_of(folder: Path, name: str, **further: object) -> RunReport:
    return RunReport(
        recipe=folder / name,
        changes=(),
        out=folder / "pictures",
        state="ended",
        since="2026-01-02T03:04:05+00:00",
        draft=False,
        width=8,
        height=4,
        **further,
    )


@pytest.mark.parametrize(
    "name", ["villa.toml", "h\u00e4user.toml", "h\u2028\x7f\"'\\.toml", LATIN_1]
)
def test_any_file_name_is_json_and_comes_back(tmp_path: Path, name: str) -> None:
    report = report_of(tmp_path, name, notes=("\u00bd a stop \u2013 \u590f",))
    path = tmp_path / "pictures" / "report.json"
    path.parent.mkdir()
    path.write_bytes(report.to_bytes())
    values = json.loads(path.read_bytes())
    assert values["recipe"] == f"../{name}"
    assert values["notes"] == ["\u00bd a stop \u2013 \u590f"]
    found = RunReport.read(path)
    assert found is not None
    assert found.recipe == report.recipe
    assert found.to_bytes() == report.to_bytes()


@pytest.mark.parametrize("name", ["villa.toml", LATIN_1])
def test_figures_come_back_to_the_last_bit(tmp_path: Path, name: str) -> None:
    seconds = {"smallest": 5e-324, "third": 1 / 3, "small": 1e-7, "large": 1e22, "whole": 2.0}
    report = report_of(tmp_path, name, seconds=seconds)
    assert json.loads(report.to_bytes())["seconds"] == seconds


def test_people_can_read_it_line_by_line(tmp_path: Path) -> None:
    lines = report_of(tmp_path, "villa.toml").to_json().splitlines()
    assert lines[:3] == ["{", '  "evenfall_report": 2,', '  "recipe": "../villa.toml",']
