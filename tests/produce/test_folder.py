"""The folder of a run: tried before the work, claimed while it lasts, and never written over."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

import evenfall
from evenfall.errors import OutputError, PassError, RecipeError, UsageError
from evenfall.produce import FolderEntered, PassRead
from evenfall.produce.folder import enter_folder
from evenfall.record.report import RunReport

IS_ROOT = os.name == "posix" and os.geteuid() == 0


def listing(folder: Path) -> set[str]:
    return {path.name for path in folder.rglob("*")}


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    folder.chmod(0o555)
    try:
        yield
    finally:
        folder.chmod(0o755)


class TestIsEnteredBeforeTheWork:
    """Whatever the writing would find out later."""

    def test_all_folders_in_the_way_are_told_at_once(self, tmp_path: Path) -> None:
        files = [tmp_path / name for name in ("day.png", "dusk.png", "night.png")]
        files[0].mkdir()
        files[2].mkdir()
        with pytest.raises(OutputError) as caught, enter_folder(tmp_path, files):
            pass
        assert [fault.file for fault in caught.value.faults] == [str(files[0]), str(files[2])]

    def test_what_a_dead_process_left_is_taken_away(self, tmp_path: Path) -> None:
        script = (
            "from pathlib import Path; from evenfall.system.partials import partial_path;"
            f"partial_path(Path({str(tmp_path / 'day.png')!r})).write_bytes(b'half')"
        )
        subprocess.run([sys.executable, "-c", script], check=True)
        assert len(listing(tmp_path)) == 1
        with enter_folder(tmp_path, [tmp_path / "dusk.png"]):
            assert not [name for name in listing(tmp_path) if "day.png" in name]

    def test_folders_that_were_made_for_nothing_are_taken_away(self, tmp_path: Path) -> None:
        out = tmp_path / "pictures" / "second"
        with enter_folder(out, [out / "day.png"]):
            assert out.is_dir()
        assert listing(tmp_path) == set()
        with enter_folder(out, [out / "day.png"]):
            (out / "day.png").write_bytes(b"whole")
        assert listing(tmp_path) == {"pictures", "second", "day.png"}


class TestIsTriedBeforeTheWork:
    """Nothing is read when nothing can be written; the passes may take hours to read."""

    def refused(self, recipe: evenfall.Recipe, **options: Any) -> str:
        read = []
        with pytest.raises(OutputError) as caught:
            evenfall.open(recipe).run(
                on_event=lambda event: read.append(event) if isinstance(event, PassRead) else None,
                **options,
            )
        assert read == []
        return str(caught.value)

    def test_a_file_has_its_name(self, corner: evenfall.Recipe, tmp_path: Path) -> None:
        (tmp_path / "pictures").write_text("not a folder")
        assert str(tmp_path / "pictures") in self.refused(corner)

    @pytest.mark.skipif(IS_ROOT or os.name != "posix", reason="root may write anywhere")
    def test_it_is_read_only(self, corner: evenfall.Recipe, tmp_path: Path) -> None:
        (tmp_path / "pictures").mkdir()
        with read_only(tmp_path / "pictures"):
            assert "cannot be written: Permission denied" in self.refused(corner)

    @pytest.mark.skipif(IS_ROOT or os.name != "posix", reason="root may write anywhere")
    def test_it_cannot_be_made(self, corner: evenfall.Recipe, tmp_path: Path) -> None:
        (tmp_path / "shelf").mkdir()
        with read_only(tmp_path / "shelf"):
            assert "shelf" in self.refused(corner, out=tmp_path / "shelf" / "a" / "b")
        assert listing(tmp_path / "shelf") == set()

    @pytest.mark.parametrize("name", ["corner_day.png", "corner_report.json"])
    def test_a_folder_has_the_name_of_a_file(
        self, corner: evenfall.Recipe, tmp_path: Path, name: str
    ) -> None:
        (tmp_path / "pictures" / name).mkdir(parents=True)
        for overwrite in (False, True):
            assert f"{name}: there is a folder of this name" in self.refused(
                corner, overwrite=overwrite
            )

    def test_a_folder_that_was_made_for_nothing_is_taken_away(
        self, corner: evenfall.Recipe, tmp_path: Path
    ) -> None:
        (tmp_path / "lamp.exr").write_bytes(b"no EXR")
        with pytest.raises(PassError):
            evenfall.open(corner).run(out=tmp_path / "a" / "b")
        assert not (tmp_path / "a").exists()

    def test_a_dry_run_makes_none(self, corner: evenfall.Recipe, tmp_path: Path) -> None:
        evenfall.open(corner).run(dry_run=True)
        assert not (tmp_path / "pictures").exists()


class TestWithoutOverwrite:
    def test_a_file_that_appears_during_the_run_is_not_replaced(
        self, corner: evenfall.Recipe, tmp_path: Path
    ) -> None:
        theirs = tmp_path / "pictures" / "corner_dusk.png"

        def put(event: object) -> None:
            if isinstance(event, PassRead):
                theirs.write_bytes(b"theirs")

        with pytest.raises(OutputError, match="exists") as caught:
            evenfall.open(corner).run(on_event=put)
        assert theirs.read_bytes() == b"theirs"
        (line,) = [line for line in caught.value.__notes__ if line.startswith("As before")]
        assert line == "As before this run: corner_dusk.png."

    @pytest.mark.skipif(os.name != "posix", reason="links")
    def test_a_link_that_leads_nowhere_is_not_replaced(
        self, corner: evenfall.Recipe, tmp_path: Path
    ) -> None:
        pictures = tmp_path / "pictures"
        pictures.mkdir()
        (pictures / "corner_day.png").symlink_to(tmp_path / "gone.png")
        with pytest.raises(OutputError, match="exists"):
            evenfall.open(corner).run()
        assert (pictures / "corner_day.png").is_symlink()
        assert not (tmp_path / "gone.png").exists()

    @pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names")
    def test_a_pipe_is_neither_read_nor_replaced(
        self, corner: evenfall.Recipe, tmp_path: Path
    ) -> None:
        pictures = tmp_path / "pictures"
        pictures.mkdir()
        os.mkfifo(pictures / "corner_day.png")
        with pytest.raises(OutputError, match="exists"):
            evenfall.open(corner).run()
        assert (pictures / "corner_day.png").is_fifo()

    @pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names")
    def test_a_pipe_in_place_of_the_report_is_not_waited_for(
        self, corner: evenfall.Recipe, tmp_path: Path
    ) -> None:
        (tmp_path / "pictures").mkdir()
        os.mkfifo(tmp_path / "pictures" / "corner_report.json")
        evenfall.open(corner).run()
        assert RunReport.read(tmp_path / "pictures" / "corner_report.json") is not None


RUN_AND_WAIT = """
import sys
import evenfall
from evenfall.produce import PassRead

def wait(event):
    if isinstance(event, PassRead):
        print("reading", flush=True)
        sys.stdin.read()

evenfall.open(sys.argv[1]).run(sys.argv[2:], overwrite=True, on_event=wait)
"""


class TestTwoAtOnce:
    @pytest.fixture
    def at_work(self, corner: evenfall.Recipe) -> Iterator[subprocess.Popen[str]]:
        process = subprocess.Popen(
            [sys.executable, "-c", RUN_AND_WAIT, str(corner.path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdout is not None
        assert process.stdout.readline() == "reading\n"
        yield process
        process.kill()
        process.communicate()

    def test_the_second_is_told_by_whom_and_since_when(
        self, corner: evenfall.Recipe, at_work: subprocess.Popen[str]
    ) -> None:
        with pytest.raises(OutputError) as caught:
            evenfall.open(corner).run(overwrite=True)
        said = str(caught.value)
        assert f"another run writes into this folder: process {at_work.pid} on " in said
        assert ", since 20" in said
        assert "--out" in said
        at_work.communicate("", timeout=60)
        assert at_work.returncode == 0
        assert all(file.kept for file in evenfall.open(corner).run().files)

    def test_it_may_look_and_it_may_write_elsewhere(
        self, corner: evenfall.Recipe, at_work: subprocess.Popen[str], tmp_path: Path
    ) -> None:
        evenfall.open(corner).run(dry_run=True)
        evenfall.open(corner).run(out=tmp_path / "elsewhere")
        evenfall.open(corner, draft=True).run()  # files of other names, in the same folder

    def test_after_a_kill_the_next_one_runs_and_says_so(
        self, corner: evenfall.Recipe, at_work: subprocess.Popen[str], tmp_path: Path
    ) -> None:
        at_work.kill()
        at_work.wait(60)
        report = evenfall.open(corner).run()
        (note,) = [note for note in report.notes if "did not end" in note]
        assert f"process {at_work.pid} on " in note
        names = {file.path.name for file in report.files} | {"corner_report.json"}
        assert listing(tmp_path / "pictures") == names


def test_threads_of_one_program_run_one_after_the_other(
    corner: evenfall.Recipe, tmp_path: Path
) -> None:
    """Each comes in when it can; whoever cannot is told so, and nothing is mixed up."""
    ended: list[object] = []

    def work() -> None:
        try:
            ended.append(evenfall.open(corner).run(overwrite=True))
        except OutputError as error:
            ended.append(error)

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    reports = [each for each in ended if isinstance(each, RunReport)]
    assert reports
    assert all("another run" in str(each) for each in ended if not isinstance(each, RunReport))
    assert all(file.kept for file in evenfall.open(corner).run().files)


class TestReportsThatAreNotTrusted:
    """What no run wrote says nothing, ends no run, and keeps no picture."""

    @pytest.fixture
    def report(self, corner: evenfall.Recipe, tmp_path: Path) -> Path:
        evenfall.open(corner).run()
        return tmp_path / "pictures" / "corner_report.json"

    def kept(self, corner: evenfall.Recipe) -> int:
        return sum(file.kept for file in evenfall.open(corner).run(overwrite=True).files)

    def test_edited_by_hand(self, corner: evenfall.Recipe, report: Path) -> None:
        text = report.read_text(encoding="utf-8")
        assert '"draft": false' in text
        report.write_text(text.replace('"draft": false', '"draft": true'), encoding="utf-8")
        assert RunReport.read(report) is None
        assert self.kept(corner) == 0
        assert self.kept(corner) == 3

    @pytest.mark.parametrize("part", [0, 1, 500, -2])
    def test_cut(self, corner: evenfall.Recipe, report: Path, part: int) -> None:
        report.write_bytes(report.read_bytes()[:part])
        assert self.kept(corner) == 0

    def test_every_byte_counts(self, corner: evenfall.Recipe, report: Path) -> None:
        data = report.read_bytes()
        for place in range(0, len(data), 97):
            flipped = bytearray(data)
            flipped[place] ^= 1
            report.write_bytes(flipped)
            found = RunReport.read(report)
            assert found is None or found.to_bytes() == data  # white space may be another

    @pytest.mark.parametrize("text", ["", "null", "[]", "3", '{"evenfall_report": 2}', "[" * 10**5])
    def test_something_else(self, corner: evenfall.Recipe, report: Path, text: str) -> None:
        report.write_text(text)
        assert self.kept(corner) == 0

    def test_of_another_format(self, corner: evenfall.Recipe, report: Path) -> None:
        text = report.read_text(encoding="utf-8")
        report.write_text(text.replace('"evenfall_report": 2', '"evenfall_report": 3'))
        assert self.kept(corner) == 0

    def test_of_another_folder(self, corner: evenfall.Recipe, report: Path, tmp_path: Path) -> None:
        """Its pictures are not there."""
        (tmp_path / "other").mkdir()
        shutil.copy(report, tmp_path / "other")
        files = evenfall.open(corner).run(out=tmp_path / "other").files
        assert not any(file.kept for file in files)
        assert all(file.path.parent == tmp_path / "other" for file in files)

    def test_of_another_recipe_of_that_name(
        self, corner: evenfall.Recipe, report: Path, tmp_path: Path
    ) -> None:
        changed = evenfall.load(corner.path, changes=["moods.day.lights.sun=1"])
        files = evenfall.open(changed).run("day", overwrite=True).files
        assert not any(file.kept for file in files)

    def test_a_picture_of_the_right_size_with_other_bytes(
        self, corner: evenfall.Recipe, report: Path
    ) -> None:
        picture = report.parent / "corner_day.png"
        data = bytearray(picture.read_bytes())
        data[-20] ^= 1
        picture.write_bytes(data)
        assert self.kept(corner) == 2


class TestCallsGivenWrongTypes:
    """They are refused in words, before anything is read or written."""

    @pytest.mark.parametrize("recipe", [None, 3, b"view.toml", ["view.toml"], {}])
    def test_recipes(self, recipe: Any) -> None:
        with pytest.raises(UsageError, match="recipe"):
            evenfall.open(recipe)
        with pytest.raises(UsageError, match="recipe"):
            evenfall.load(recipe)

    @pytest.mark.parametrize("path", ["", ".", "no/such.toml", "a\0b"])
    def test_paths_of_recipes(self, path: str) -> None:
        with pytest.raises((RecipeError, UsageError)):
            evenfall.open(path)

    @pytest.mark.parametrize("moods", [3, [3], [None], {"day": 1}, "nowhere", ["day", "nowhere"]])
    def test_moods(self, corner: evenfall.Recipe, tmp_path: Path, moods: Any) -> None:
        with pytest.raises(UsageError, match="mood"):
            evenfall.open(corner).run(moods)
        assert not (tmp_path / "pictures").exists()

    @pytest.mark.parametrize("workers", [0, -1, 1.5, "2", True])
    def test_workers(self, corner: evenfall.Recipe, tmp_path: Path, workers: Any) -> None:
        with pytest.raises(UsageError, match="workers"):
            evenfall.open(corner, workers=workers).run()
        assert not (tmp_path / "pictures").exists()

    @pytest.mark.parametrize("out", [3, b"pictures", ["pictures"], "a\0b"])
    def test_folders(self, corner: evenfall.Recipe, out: Any) -> None:
        with pytest.raises((UsageError, OutputError)):
            evenfall.open(corner).run(out=out)

    @pytest.mark.parametrize("changes", [3, [3], {"a": "b"}, None])
    def test_changes(self, corner: evenfall.Recipe, changes: Any) -> None:
        with pytest.raises((UsageError, RecipeError), match="change"):
            evenfall.open(corner, changes=changes)

    def test_strings_and_paths_are_the_same(self, corner: evenfall.Recipe, tmp_path: Path) -> None:
        report = evenfall.open(str(corner.path)).run("day", out=str(tmp_path / "a"))
        assert report.files[0].path == tmp_path / "a" / "corner_day.png"


def test_a_folder_that_is_entered_is_told_of(corner: evenfall.Recipe, tmp_path: Path) -> None:
    events: list[object] = []
    evenfall.open(corner).run(on_event=events.append)
    assert [event for event in events if isinstance(event, FolderEntered)] == [
        FolderEntered(tmp_path / "pictures")
    ]
