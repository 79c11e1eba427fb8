"""Drafts follow the recipe: only what changed, faults told, the last good ones left."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from evenfall.cli.main import main
from evenfall.develop.example import example_recipe
from evenfall.view import live
from evenfall.view.live import DraftsFailed, DraftsMade, live_drafts
from evenfall.view.opening import open_view


@pytest.fixture
def path() -> Path:
    return example_recipe().path


class Editor:
    """Saves the next text when the drafts have been waited for twice without anything to do."""

    def __init__(self, path: Path, *steps: Callable[[], object]) -> None:
        self.path, self.steps, self.looks = path, iter(steps), 0

    def wait(self, seconds: float) -> None:
        if seconds < 0.1:  # files are only being given time to settle
            return
        self.looks += 1
        if self.looks % 3 == 0:
            next(self.steps)()

    def edit(self, old: str, new: str) -> Callable[[], object]:
        def save() -> None:
            text = self.path.read_text(encoding="utf-8")
            assert old in text
            self.path.write_text(text.replace(old, new), encoding="utf-8")

        return save


def follow(path: Path, *pairs: tuple[str, str]) -> Iterator[DraftsMade | DraftsFailed]:
    editor = Editor(path)
    editor.steps = iter([editor.edit(old, new) for old, new in pairs])
    return islice(live_drafts(path, wait=editor.wait), len(pairs) + 1)


def made_of(found: DraftsMade | DraftsFailed) -> dict[str, bool]:
    assert isinstance(found, DraftsMade)
    return {file.path.name: file.kept for file in found.report.files}


def test_only_what_changed_is_made_again(path: Path) -> None:
    first, second = follow(path, ("stops = -2", "stops = -4"))
    assert set(made_of(first).values()) == {False}
    assert made_of(second) == {
        "corner_day_draft.png": True,
        "corner_dusk_draft.png": False,
        "corner_contact_sheet_draft.png": False,
    }


def test_a_fault_is_told_and_the_last_drafts_stay(path: Path) -> None:
    faulty = follow(path, ("stops = -2", "stops = minus"), ("stops = minus", "stops = -2"))
    assert isinstance(next(faulty), DraftsMade)
    drafts = {one: one.read_bytes() for one in (path.parent / "drafts").iterdir()}
    failed = next(faulty)
    assert isinstance(failed, DraftsFailed)
    assert "corner.toml" in str(failed.error)
    assert {one: one.read_bytes() for one in (path.parent / "drafts").iterdir()} == drafts
    assert set(made_of(next(faulty)).values()) == {True}


def test_a_recipe_that_is_faulty_from_the_start_is_waited_for(path: Path) -> None:
    good = path.read_text(encoding="utf-8")
    path.write_text("format = ", encoding="utf-8")
    editor = Editor(path, lambda: path.write_text(good, encoding="utf-8"))
    found = list(islice(live_drafts(path, wait=editor.wait), 2))
    assert [type(one) for one in found] == [DraftsFailed, DraftsMade]


def test_what_the_system_refuses_is_told_and_drafts_go_on(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    refused = iter([OSError(errno.EIO, os.strerror(errno.EIO))])

    def opened(*given: Any, **options: Any) -> Any:
        for error in refused:
            raise error
        return open_view(*given, **options)

    monkeypatch.setattr(live, "open_view", opened)
    failed, made = follow(path, ("stops = -2", "stops = -4"))
    assert isinstance(failed, DraftsFailed)
    assert str(failed.error) == "The system refused to read: Input/output error"
    assert isinstance(made, DraftsMade)


def test_a_plate_that_is_saved_counts_as_well(path: Path) -> None:
    from PIL import Image

    plate = path.with_name("plate.png")
    Image.new("RGB", (48, 32), (90, 120, 160)).save(plate)
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace("[moods.dusk]\n", '[moods.dusk]\nplate = { file = "plate.png" }\n'),
        encoding="utf-8",
    )
    editor = Editor(path, lambda: Image.new("RGB", (48, 32), (9, 9, 9)).save(plate))
    first, second = islice(live_drafts(path, wait=editor.wait), 2)
    assert isinstance(first, DraftsMade)
    assert isinstance(second, DraftsMade)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--watch"], "--watch goes with --draft"),
        (["--watch", "--draft", "--dry-run"], "--watch goes without --dry-run"),
        (["--watch", "--draft", "--mood", "dsk"], 'found no mood "dsk"'),  # no save mends that
        (["--round", "1", "--draft"], "--round goes without --draft"),
        (["--round", "1", "--set", "look.tone=clip"], "--round goes without --set"),
    ],
)
def test_options_that_do_not_go_together(path: Path, options: list[str], said: str) -> None:
    result = CliRunner().invoke(main, ["run", str(path), *options])
    assert result.exit_code == 2
    assert said in result.stderr


HEARING_INTERRUPTIONS = """
import signal
signal.signal(signal.SIGINT, signal.SIG_DFL)  # a shell's background jobs ignore it
from evenfall.cli.process import program
program()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_it_is_stopped_from_the_keyboard(path: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", HEARING_INTERRUPTIONS, "run", path, "--draft", "--watch"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert "corner_day_draft.png, corner_dusk_draft.png" in process.stdout.readline()
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert said.splitlines()[-1] == "Stopped. The last drafts stay."
