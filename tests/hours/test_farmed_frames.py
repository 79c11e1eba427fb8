"""Frames made by many machines: the bytes of one, none missing, and none lost without a word."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from tests.hours.conftest import HOUR

import evenfall
from evenfall.cli.main import main
from evenfall.errors import UsageError
from evenfall.farm import crew as farm_crew
from evenfall.farm.parts import FramePart, Made, farm_versions, make_part
from evenfall.system.partials import partial_path

pytest.importorskip("distributed", reason="optional extra 'farm' is not installed")
sys.path.insert(0, str(Path(__file__).parents[1] / "several_views"))
from farming import Farm, farm, takes_long

Corner = Callable[..., Path]
FRAMES = 14


@pytest.fixture
def machines(tmp_path: Path) -> Iterator[Farm]:
    with farm(tmp_path / "farm") as started:
        yield started


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["run", *map(str, arguments)])


def pictures(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.glob("*.png")}


def test_a_worker_that_is_killed_leaves_no_gap(corner: Corner, machines: Farm) -> None:
    long = HOUR.replace("frames = 9", f"frames = {FRAMES}").replace(
        "frame = 9", f"frame = {FRAMES}"
    )
    path = corner(long + "\n[look]\ngrain = { strength = 0.4 }\n")
    alone, farmed = path.parent / "alone", path.parent / "farmed"
    assert evenfall.open(path).frames(out=alone).is_whole
    first = machines.start_worker()
    machines.start_worker()

    def hear(event: object) -> None:
        if type(event).__name__ == "FrameDone" and len(pictures(farmed)) > 4:
            first.kill()

    report = evenfall.open(path).frames(out=farmed, scheduler=machines.address, on_event=hear)
    assert first.wait(10) != 0
    assert [str(fault) for fault in report.faults] == []
    assert (report.made, report.kept, report.failed) == (tuple(range(1, FRAMES + 1)), (), ())
    assert report.is_whole
    assert pictures(farmed) == pictures(alone)
    assert [each for each in farmed.iterdir() if each.name.startswith(".")] == []
    again = run(path, "--mood", "hour", "--out", farmed, "--dask", machines.address)
    assert again.exit_code == 0, again.output
    assert f"0 frames made, {FRAMES} kept" in again.output


def test_what_a_dead_worker_left_half_written_goes_with_the_run(
    corner: Corner, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = corner()
    farmed, left = path.parent / "farmed", []
    dead = subprocess.Popen([sys.executable, "-c", ""])
    name = partial_path(farmed / "corner_hour_0001.png").name  # as that process would name it
    name = name.replace(f".{os.getpid()}-", f".{dead.pid}-")
    dead.wait()

    def work(self: farm_crew.Crew, given: list[FramePart]) -> Iterator[tuple[FramePart, Made]]:
        for part in given:
            yield part, make_part(part, farm_versions())
        (farmed / name).write_bytes(b"half a picture")
        left.append(name)

    monkeypatch.setattr(farm_crew.Crew, "work", work)
    report = evenfall.open(path).frames(frames="1-2", out=farmed, scheduler="tcp://127.0.0.1:9")
    assert (report.made, left) == ((1, 2), [name])
    assert [each for each in farmed.iterdir() if each.name.startswith(".")] == []


def test_a_frame_whose_worker_died_after_writing_it_is_told_as_made(
    corner: Corner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its part is made again by another machine, which finds the file that the first one wrote."""
    path = corner()

    def work(self: farm_crew.Crew, given: list[FramePart]) -> Iterator[tuple[FramePart, Made]]:
        for part in given:
            make_part(part, farm_versions())
            yield part, make_part(part, farm_versions())

    monkeypatch.setattr(farm_crew.Crew, "work", work)
    report = evenfall.open(path).frames(frames="1-3", scheduler="tcp://127.0.0.1:9")
    assert (report.made, report.kept) == ((1, 2, 3), ())
    report = evenfall.open(path).frames(frames="1-4", scheduler="tcp://127.0.0.1:9")
    assert (report.made, report.kept) == ((4,), (1, 2, 3))


def test_frames_that_cannot_be_made_are_told_and_the_rest_is_made(
    walk: Path, machines: Farm
) -> None:
    machines.start_worker()
    damaged = walk.parent / "walk_011_sun.exr"
    damaged.write_bytes(damaged.read_bytes()[:-400])
    (walk.parent / "walk_010_sky.exr").unlink()
    told = run(walk, "--frames", "8-12", "--mood", "day", "--dask", machines.address)
    assert told.exit_code == 1
    assert "3 frames made, 2 not made (10-11)" in told.output
    assert "walk_010_sky.exr" in told.output
    assert "frame 11: " in told.output
    alone = run(walk, "--frames", "8,9,12", "--mood", "day", "--out", walk.parent / "alone")
    assert alone.exit_code == 0, alone.output
    assert pictures(walk.parent / "pictures" / "frames") == pictures(walk.parent / "alone")


def test_nobody_at_the_address_is_told(walk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(farm_crew, "_FIRST_ANSWER_SECONDS", 0.5)
    with pytest.raises(UsageError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9"):
        evenfall.open(walk).frames("day", frames="8-9", scheduler="tcp://127.0.0.1:9")
    assert not (walk.parent / "pictures").exists()


@pytest.mark.parametrize("option", ["--dry-run", "--watch", "--passes=elsewhere"])
def test_what_makes_no_sense_on_other_machines_is_refused(walk: Path, option: str) -> None:
    refused = run(walk, "--frames", "8-9", "--dask", "tcp://127.0.0.1:9", option)
    assert refused.exit_code == 2
    assert f"--dask goes without {option.partition('=')[0]}." in refused.output


@takes_long
def test_a_frame_that_kills_every_worker_is_told_by_name(
    corner: Corner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The others are made; workers are started again as often as they die."""
    path, deadly = corner(), tmp_path / "deadly.py"
    deadly.write_text(
        "import os\n"
        "from evenfall.farm import parts\n"
        "made = vars(parts).setdefault('alive', parts._frame_made)\n"  # a preload is run twice
        "parts._frame_made = lambda part, *rest: (\n"
        "    os._exit(1) if part.frame == 3 else made(part, *rest))\n",
        encoding="utf-8",
    )
    looking = farm_crew.Crew._while_quiet
    with farm(tmp_path / "farm", DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES="0") as machines:
        machines.start_worker("--preload", str(deadly))

        def look(self: farm_crew.Crew, *arguments: Any) -> None:
            if machines.workers[-1].poll() is not None:
                machines.start_worker("--preload", str(deadly))
            looking(self, *arguments)

        monkeypatch.setattr(farm_crew.Crew, "_while_quiet", look)
        report = evenfall.open(path).frames(frames="1-4", scheduler=machines.address)
    assert report.failed == (3,)
    assert sorted((*report.made, *report.kept)) == [1, 2, 4]
    [fault] = report.faults
    assert str(fault).startswith("corner frame 3: frame 3: every worker that made it died, 3 times")
