"""Many machines make the same bytes as one, and lose nothing when one of them dies."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from click.testing import CliRunner

from evenfall.cli.main import main
from evenfall.develop.example import example_recipe
from evenfall.errors import FaultyError, UsageError
from evenfall.farm import crew as farm_crew
from evenfall.farm.crew import Crew
from evenfall.farm.parts import Made, Part, digest_of, farm_versions, make_part, why_unfit
from evenfall.recipe import load
from evenfall.view import farm_out_views, run_views

pytest.importorskip("distributed", reason="optional extra 'farm' is not installed")
sys.path.insert(0, str(Path(__file__).parent))
from farming import Farm, farm, takes_long

PICTURES = 24
"""Of two views; tests/stress has the long version."""


@pytest.fixture
def machines(tmp_path: Path) -> Iterator[Farm]:
    with farm(tmp_path / "farm") as started:
        yield started


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Farm]:
    """A farm of one worker for all tests that leave both alive."""
    folder = tmp_path_factory.mktemp("standing")
    with farm(folder / "farm", EVENFALL_CACHE=str(folder / "cache")) as started:
        started.start_worker()
        yield started


@pytest.fixture
def many(house: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two views of twelve moods each, without a sheet."""
    monkeypatch.chdir(house)
    text = (house / "house.toml").read_text(encoding="utf-8")
    moods = "".join(
        f"[moods.m{number:02d}]\nlights = {{ sun = {-number / 10}, lamp = {{ stops = 1 }} }}\n"
        for number in range(PICTURES // 2)
    )
    head = "sheet.make = false\n" + text.partition("[moods.day]")[0]
    (house / "house.toml").write_text(head + moods, encoding="utf-8")
    kitchen = (house / "kitchen.toml").read_text(encoding="utf-8").partition("[moods")[0]
    (house / "kitchen.toml").write_text(kitchen, encoding="utf-8")
    return house


def made_here(self: Crew, parts: Sequence[Part]) -> Iterator[tuple[Part, Made]]:
    """Stand for a farm of one worker, in this process."""
    for part in parts:
        yield part, make_part(part, farm_versions())


def pictures(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.glob("*.png")}


def test_a_worker_that_is_killed_loses_nothing(many: Path, machines: Farm) -> None:
    """No gap, and the bytes of one machine."""
    views = ["living.toml", "kitchen.toml"]
    assert all(one.is_whole for one in run_views(views, out=many / "alone"))
    first = machines.start_worker()
    machines.start_worker()
    kills = iter([first.kill])

    def hear(event: object) -> None:
        if type(event).__name__ == "FileDone" and len(pictures(many / "farmed")) > 4:
            next(kills, lambda: None)()

    done = list(farm_out_views(views, machines.address, out=many / "farmed", on_event=hear))
    assert first.poll() is not None
    assert [one.is_whole for one in done] == [True, True]
    assert len(pictures(many / "farmed")) == PICTURES
    assert pictures(many / "farmed") == pictures(many / "alone")
    assert [path for path in (many / "farmed").iterdir() if path.name.startswith(".")] == []


@takes_long
def test_a_scheduler_that_is_started_again_loses_nothing(many: Path, machines: Farm) -> None:
    """Its workers end with it and are started again, as their keepers do."""
    machines.start_worker()
    seen: list[str] = []

    def hear(event: object) -> None:
        if type(event).__name__ == "FileDone":
            seen.append("file")
            if len(seen) == 4:
                machines.scheduler.kill()
                machines.scheduler.wait()
                machines.start_scheduler()
                machines.start_worker()

    done = list(farm_out_views(["living.toml"], machines.address, out="farmed", on_event=hear))
    assert [one.is_whole for one in done] == [True]
    assert len(pictures(many / "farmed")) == PICTURES // 2


def test_the_command_makes_the_sheet_too_and_goes_on_where_it_was(
    house: Path, standing: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(house)
    command = ["run", "living.toml", "terrace.toml", "--dask", standing.address]
    result = CliRunner().invoke(main, command)
    assert result.exit_code == 0, result.output
    farmed = pictures(house / "pictures")
    sheet = farmed.pop("house_contact_sheet.png")
    assert len(farmed) == 6
    assert list(run_views(["living.toml", "terrace.toml"], out="alone"))
    assert pictures(house / "alone") == farmed
    again = CliRunner().invoke(main, command)
    assert [line.split()[1] for line in again.stdout.splitlines()] == ["kept"] * 7
    here = CliRunner().invoke(main, ["run", "living.toml", "terrace.toml", "--out", "here"])
    assert here.exit_code == 0
    assert (house / "here" / "house_contact_sheet.png").read_bytes() == sheet
    (house / "living.toml").write_text(
        (house / "living.toml").read_text(encoding="utf-8") + "look.tone = 'neutral'\n", "utf-8"
    )
    refused = CliRunner().invoke(main, command)
    assert refused.exit_code == 1
    assert refused.stderr.count("the file exists already") == 4  # three, and in the table
    assert CliRunner().invoke(main, [*command, "--overwrite"]).exit_code == 0


@takes_long
def test_a_picture_that_kills_every_worker_is_told_by_name(
    house: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The others are made; workers are started again as often as they die."""
    with farm(house / "farm", DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES="0") as machines:
        _check_deadly(house, machines, monkeypatch)


def _check_deadly(house: Path, machines: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(house)
    (house / "deadly.py").write_text(
        "import os\n"
        "from evenfall.farm import parts\n"
        "made = vars(parts).setdefault('alive', parts._made)\n"  # a preload is run twice
        "parts._made = lambda part, *rest: (\n"
        "    os._exit(1) if part.mood == 'dusk' else made(part, *rest))\n",
        encoding="utf-8",
    )
    preload = ("--preload", str(house / "deadly.py"))
    machines.start_worker(*preload)

    def hear(event: object) -> None:
        if machines.workers[-1].poll() is not None and len(machines.workers) < 12:
            machines.start_worker(*preload)

    looking = farm_crew.Crew._while_quiet

    def look(self: farm_crew.Crew, *arguments: object) -> None:
        hear(None)
        looking(self, *arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(farm_crew.Crew, "_while_quiet", look)
    [made] = farm_out_views(["living.toml"], machines.address, out="farmed", on_event=hear)
    assert sorted(pictures(house / "farmed")) == ["living_day.png"]
    assert made.report is not None
    [fault] = made.report.faults
    assert str(fault).startswith("living dusk: every worker that made it died, 3 times, last tcp:")


def test_a_damaged_pass_is_told_and_the_rest_is_made(
    house: Path, standing: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(house)
    damaged = bytearray((house / "living" / "lamp.exr").read_bytes())
    damaged[-200:-100] = bytes(100)
    (house / "living" / "lamp.exr").write_bytes(damaged)
    [made] = farm_out_views(["living.toml"], standing.address, out="farmed")
    assert made.report is not None
    assert any("lamp.exr" in str(fault) for fault in made.report.faults)
    assert sorted(path.name for path in (house / "farmed").iterdir()) == [
        "living_day.png", "living_report.json",
    ]  # fmt: skip


def test_nobody_at_the_address_is_told(house: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(farm_crew, "_FIRST_ANSWER_SECONDS", 0.5)
    with pytest.raises(UsageError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9"):
        list(farm_out_views([house / "living.toml"], "tcp://127.0.0.1:9"))
    assert not (house / "pictures").exists()


@pytest.mark.parametrize("address", ["farm", "tcp://farm", "ftp://farm:8786", "tcp://farm:x"])
def test_what_is_no_address_is_told_at_once(house: Path, address: str) -> None:
    """Nothing is left behind that tries to connect: on its way out it would write to the screen."""
    before = threading.active_count()
    with pytest.raises(UsageError, match=f"{address} is no address of a scheduler: "):
        list(farm_out_views([house / "living.toml"], address))
    assert threading.active_count() == before


def test_other_versions_are_named_with_both(house: Path) -> None:
    wanted = {**farm_versions(), "numpy": "1.0"}
    why = why_unfit(wanted, {house: ""})
    assert why.startswith("has other versions: numpy ")
    assert why.endswith(" there, 1.0 here")


def test_a_machine_that_does_not_see_the_folder_says_so(house: Path) -> None:
    recipe = load(house / "living.toml")
    part = Part(recipe.path, digest_of(recipe), "dusk", (), house / "nowhere")

    def unfit(**changes: object) -> str:
        return make_part(Part(**{**part.__dict__, **changes}), farm_versions()).unfit

    assert unfit() == f"does not see the folder {house / 'nowhere'}"
    assert unfit(out=house, token="token") == f"sees another folder under the name {house}"
    assert unfit(out=house, recipe=house / "other.toml") == f"does not see {house / 'other.toml'}"
    assert unfit(out=house, digest="another") == f"sees another text in {recipe.path}"
    assert isinstance(make_part(part, farm_versions()), Made)


def test_a_worker_of_other_versions_stops_the_run_before_it_begins(
    house: Path, standing: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(farm_crew, "farm_versions", lambda: {**farm_versions(), "numpy": "1.0"})
    with pytest.raises(FaultyError, match=r"has other versions: numpy \S+ there, 1\.0 here"):
        list(farm_out_views([house / "living.toml"], standing.address))
    assert not list((house / "pictures").glob("*")) if (house / "pictures").exists() else True


def test_the_shortest_wait_is_told(
    house: Path, machines: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a worker the run waits, says so, and gives up in the end."""
    monkeypatch.setattr(farm_crew, "_PATIENCE_SECONDS", 1.0)
    told: list[str] = []

    def hear(event: object) -> None:
        told.append(str(getattr(event, "text", "")))

    begun = time.monotonic()
    with pytest.raises(FaultyError, match="no worker has joined"):
        list(farm_out_views([house / "living.toml"], machines.address, on_event=hear))
    assert time.monotonic() - begun < 30
    assert any("waiting, with living day and living dusk still to be made" in one for one in told)


def test_names_may_be_as_long_as_one_machine_takes_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """255 bytes (POSIX, NAME_MAX on common file systems): the pictures' names just fit."""
    recipe = example_recipe(tmp_path, width=48, height=32).path
    mood = "d" * 80
    text = recipe.read_text(encoding="utf-8").split("[moods.dusk]")[0]
    long = recipe.with_name(f"{'c' * (255 - len(f'_{mood}.png'))}.toml")
    long.write_text(f"sheet.make = false\n{text}[moods.{mood}]\n", encoding="utf-8")
    monkeypatch.setattr(Crew, "work", made_here)
    [alone] = run_views([long], out=tmp_path / "alone")
    assert alone.is_whole, alone.error
    [farmed] = farm_out_views([long], "tcp://127.0.0.1:9", out=tmp_path / "farmed")
    assert farmed.is_whole, farmed.error or farmed.report
    assert len(pictures(tmp_path / "farmed")) == 2
    assert pictures(tmp_path / "farmed") == pictures(tmp_path / "alone")
    assert [path.name for path in (tmp_path / "farmed").glob(".*")] == []


@pytest.mark.parametrize("damage", ["header", "pixels"])
def test_a_damaged_pass_stops_only_the_moods_that_need_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, damage: str
) -> None:
    """The sheet says so, and the report is that of one machine."""
    recipe = example_recipe(tmp_path, width=48, height=32).path
    lamp = tmp_path / "lamp.exr"
    data = lamp.read_bytes()
    lamp.write_bytes(b"no picture" if damage == "header" else data[: len(data) - 400])

    monkeypatch.setattr(Crew, "work", made_here)
    [alone] = run_views([recipe], out=tmp_path / "alone", keep_going=True)
    [farmed] = farm_out_views(
        [recipe], "tcp://127.0.0.1:9", out=tmp_path / "farmed", keep_going=True
    )
    assert alone.report is not None
    assert farmed.report is not None, farmed.error
    assert len(alone.report.faults) == 1
    assert farmed.report.faults == alone.report.faults
    assert farmed.report.state == alone.report.state == "ended"
    assert list(farmed.report.moods) == ["day"]
    assert pictures(farmed.report.out) == pictures(alone.report.out)
    assert sorted(pictures(farmed.report.out)) == ["corner_contact_sheet.png", "corner_day.png"]
