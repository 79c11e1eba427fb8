"""A process that dies beside a file's last step: the next one goes on by itself."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.errors import Fault, OutputError
from evenfall.farm.crew import Crew
from evenfall.farm.parts import Made, Part, farm_versions, make_part
from evenfall.record.part_notes import PartNotes, part_note_path
from evenfall.record.report import RunReport
from evenfall.system.atomic import write_atomically
from evenfall.view import farm_out_views

DIES = """
import os, sys
import evenfall
from evenfall.system import atomic

from evenfall.farm.crew import Crew
from evenfall.farm.parts import farm_versions, make_part
from evenfall.view import farm_out_views

_, recipe, making, name, when = sys.argv
put = atomic.put_whole

def dying(path, *parts, **further):
    is_it = path.name == name
    if not (is_it and when == "before"):
        put(path, *parts, **further)
    if is_it:
        os._exit(9)

def work(self, parts):
    for part in parts:
        made = make_part(part, farm_versions())
        if f"{part.mood} with its leader" == name:
            os._exit(9)
        yield part, made

atomic.put_whole = dying
Crew.work = work
if making == "farm":
    list(farm_out_views([recipe], "tcp://127.0.0.1:9"))
else:
    getattr(evenfall.open(recipe, workers=1), making)()
"""

HOUR = """
[sequence]
name = "hour"
frames = 4
keys = [{ mood = "day", frame = 1 }, { mood = "dusk", frame = 4 }]

[[deliverables]]
format = "moving webp"
"""


def die(recipe: Path, making: str, name: str, when: str) -> None:
    """Make pictures in a process that dies beside the last step of one of them."""
    call = [sys.executable, "-c", DIES, str(recipe), making, name, when]
    assert subprocess.run(call, check=False).returncode == 9


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the example, and its pictures as made by a run that nothing ends."""
    recipe = example_recipe(tmp_path_factory.mktemp("drawn"), width=48, height=32)
    evenfall.open(recipe).run()
    return recipe.path.parent


@pytest.fixture
def recipe(drawn: Path, tmp_path: Path) -> Path:
    for path in drawn.iterdir():
        if path.is_file():
            shutil.copy2(path, tmp_path)
    return tmp_path / "corner.toml"


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize("name", ["corner_day.png", "corner_dusk.png", "corner_contact_sheet.png"])
def test_a_run_goes_on(recipe: Path, drawn: Path, name: str, when: str) -> None:
    die(recipe, "run", name, when)
    pictures = recipe.parent / "pictures"
    stood = {path.name: path.stat().st_ino for path in pictures.glob("*.png")}
    assert (name in stood) == (when == "after")
    report = evenfall.open(recipe).run()
    assert {path.name: path.read_bytes() for path in pictures.glob("*.png")} == {
        path.name: path.read_bytes() for path in (drawn / "pictures").glob("*.png")
    }
    assert {file.path.name for file in report.files if file.kept} == stood.keys()
    assert {
        path.name: path.stat().st_ino for path in pictures.glob("*.png")
    }.items() >= stood.items()


def test_what_somebody_else_put_there_meanwhile_is_not_taken_for_it(recipe: Path) -> None:
    die(recipe, "run", "corner_day.png", "before")
    strange = recipe.parent / "pictures" / "corner_day.png"
    strange.write_bytes(b"a picture of somebody else")
    with pytest.raises(OutputError, match="the file exists already"):
        evenfall.open(recipe).run()
    assert strange.read_bytes() == b"a picture of somebody else"


def files_in(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize("name", ["corner_hour_0002.webp.frame", "corner_hour.webp"])
def test_frames_and_films_go_on(recipe: Path, tmp_path: Path, name: str, when: str) -> None:
    recipe.write_text(recipe.read_text(encoding="utf-8") + HOUR, encoding="utf-8")
    fresh = evenfall.open(recipe).frames(out=tmp_path / "fresh" / "frames")
    assert fresh.is_whole, fresh.faults
    die(recipe, "frames", name, when)
    report = evenfall.open(recipe).frames()
    assert report.is_whole, report.faults
    pictures = recipe.parent / "pictures"
    assert files_in(pictures) == files_in(tmp_path / "fresh")
    film = "corner_hour.webp"
    assert (pictures / film).read_bytes() == (tmp_path / "fresh" / film).read_bytes()
    assert report.films[0].kept == (name == film and when == "after")


@pytest.mark.parametrize("next_one", ["one machine", "a farm"])
@pytest.mark.parametrize(
    ("name", "when", "stands"),
    [
        ("corner_dusk.png", "before", ["day"]),
        ("corner_dusk.png", "after", ["day", "dusk"]),
        ("day with its leader", "", ["day"]),
        ("dusk with its leader", "", ["day", "dusk"]),
    ],
)
def test_what_workers_made_for_a_leader_that_died_is_kept(
    recipe: Path,
    drawn: Path,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    when: str,
    stands: list[str],
    next_one: str,
) -> None:
    """Worker and leader are one process here; what the leader heard dies with it."""
    die(recipe, "farm", name, when)
    pictures = recipe.parent / "pictures"
    stood = {path.name: path.stat().st_ino for path in pictures.glob("*.png")}
    assert sorted(stood) == [f"corner_{mood}.png" for mood in stands]
    given: list[str] = []

    def work(self: Crew, parts: Sequence[Part]) -> Iterator[tuple[Part, Made]]:
        for part in parts:
            given.append(part.mood)
            yield part, make_part(part, farm_versions())

    monkeypatch.setattr(Crew, "work", work)
    if next_one == "a farm":
        [made] = farm_out_views([recipe], "tcp://127.0.0.1:9")
        assert made.report is not None, made.error
        report = made.report
        assert given == [mood for mood in ("day", "dusk") if mood not in stands]
    else:
        report = evenfall.open(recipe).run()
    assert {file.path.name for file in report.files if file.kept} == stood.keys()
    assert {path.name: path.read_bytes() for path in pictures.glob("*.png")} == {
        path.name: path.read_bytes() for path in (drawn / "pictures").glob("*.png")
    }
    assert {
        path.name: path.stat().st_ino for path in pictures.glob("*.png")
    }.items() >= stood.items()
    left = ("contact_sheet.png", "day.png", "dusk.png", "report.json")
    assert files_in(pictures) == [f"corner_{one}" for one in left]
    assert all(file.kept for file in evenfall.open(recipe).run().files)


def test_a_picture_that_is_noted_and_never_came_is_not_told_as_made(
    recipe: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every machine dies beside the last step of dusk; day is whole."""

    def work(self: Crew, parts: Sequence[Part]) -> Iterator[tuple[Part, Made]]:
        for part in parts:
            made = make_part(part, farm_versions())
            if part.mood == "dusk":
                (part.out / "corner_dusk.png").unlink()
                made = Made("", faults=(Fault("dusk", "", "machines died"),), kind=OutputError)
            yield part, made

    monkeypatch.setattr(Crew, "work", work)
    [made] = farm_out_views([recipe], "tcp://127.0.0.1:9")
    assert made.report is not None
    assert made.report.report is not None
    for report in (made.report, RunReport.read(made.report.report)):
        assert report is not None
        assert report.state == "failed"
        assert [file.path.name for file in report.files] == ["corner_day.png"]
        assert list(report.moods) == ["day"]
        assert [path.name for path in report.outstanding] == ["corner_dusk.png"]
    monkeypatch.undo()
    kept = {file.path.name: file.kept for file in evenfall.open(recipe).run().files}
    assert kept["corner_day.png"]
    assert not kept["corner_dusk.png"]


def test_what_a_worker_notes_while_its_note_is_taken_over_stays(recipe: Path) -> None:
    """It belongs to a leader that died, and has not ended yet."""
    view = evenfall.open(recipe)
    out = recipe.parent / "pictures"
    path = part_note_path(out, view.recipe, "dusk", draft=False)
    report = view.run("dusk")
    write_atomically(path, report.to_bytes(), overwrite=True)
    notes = PartNotes(out, [path])
    assert notes.joined_to(None) is not None
    newer = report.model_copy(update={"since": "later"})
    write_atomically(path, newer.to_bytes(), overwrite=True)
    notes.take_away()
    assert path.read_bytes() == newer.to_bytes()
    notes.joined_to(None)
    notes.take_away()
    assert not path.exists()


def test_a_note_that_comes_late_takes_nothing_from_what_the_report_tells(recipe: Path) -> None:
    """A worker outlives its leader, and the next run has made another mood meanwhile."""
    view = evenfall.open(recipe)
    out = recipe.parent / "pictures"
    late = view.run("dusk")
    assert late.report is not None
    late.report.unlink()
    view.run("day")
    note = part_note_path(out, view.recipe, "dusk", draft=False)
    write_atomically(note, late.to_bytes(), overwrite=True)
    report = view.run()
    assert {file.path.name: file.kept for file in report.files} == {
        "corner_day.png": True, "corner_dusk.png": True, "corner_contact_sheet.png": False,
    }  # fmt: skip
    assert not note.exists()
