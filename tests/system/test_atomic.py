"""Files are whole or not there, also when the disk is full or the process is killed."""

from __future__ import annotations

import errno
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from evenfall.errors import OutputError
from evenfall.system import atomic
from evenfall.system.atomic import PARTIAL_ENDING, remove_leftovers, write_atomically

BLOCK = bytes(range(256)) * 4096  # 1 MiB

WRITER = """
import sys
from pathlib import Path
from evenfall.system.atomic import write_atomically
folder, block = Path(sys.argv[1]), bytes(range(256)) * 4096
print("ready", flush=True)
for number in range(10_000):
    write_atomically(folder / f"{number % 40:02d}.bin", block, overwrite=True)
"""


def test_it_makes_folders_and_leaves_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "out" / "dusk" / "a.png"
    write_atomically(path, memoryview(BLOCK), overwrite=False)
    assert path.read_bytes() == BLOCK
    assert [entry.name for entry in path.parent.iterdir()] == ["a.png"]


def test_nothing_is_overwritten_silently(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(b"last week's")
    with pytest.raises(OutputError, match=r"a\.png: the file exists already; say --overwrite"):
        write_atomically(path, b"new", overwrite=False)
    assert path.read_bytes() == b"last week's"
    write_atomically(path, b"new", overwrite=True)
    assert path.read_bytes() == b"new"
    assert len(list(tmp_path.iterdir())) == 1


def test_a_name_taken_meanwhile_is_not_overwritten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.png"
    original = atomic._write_and_sync

    def somebody_else_is_quicker(partial: Path, data: bytes) -> None:
        original(partial, data)
        path.write_bytes(b"theirs")

    monkeypatch.setattr(atomic, "_write_and_sync", somebody_else_is_quicker)
    with pytest.raises(OutputError, match="exists already"):
        write_atomically(path, b"ours", overwrite=False)
    assert path.read_bytes() == b"theirs"
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize(
    ("number", "hint"),
    [
        (errno.ENOSPC, "the disk is full; free some space"),
        (errno.EACCES, "you may not write there; choose another folder"),
        (errno.EROFS, "the disk is read-only"),
        (errno.EIO, "cannot be written"),
    ],
)
def test_what_the_system_refuses_is_said_clearly(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, hint: str
) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(b"old")

    def refuse(descriptor: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(atomic.os, "fsync", refuse)
    with pytest.raises(OutputError, match=hint):
        write_atomically(path, BLOCK, overwrite=True)
    assert path.read_bytes() == b"old"
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs Linux's always-full device")
def test_a_full_disk_that_the_system_reports(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    original = Path.open

    def on_a_full_disk(self: Path, mode: str = "r"):
        return original(Path("/dev/full"), "wb") if "x" in mode else original(self, mode)

    monkeypatch.setattr(Path, "open", on_a_full_disk)
    with pytest.raises(OutputError, match=r"No space left on device; the disk is full"):
        write_atomically(tmp_path / "a.png", BLOCK, overwrite=False)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_of_that_name(tmp_path: Path) -> None:
    (tmp_path / "a.png").mkdir()
    with pytest.raises(OutputError, match="a folder has this name"):
        write_atomically(tmp_path / "a.png", b"x", overwrite=True)


def test_a_file_in_the_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(b"")
    with pytest.raises(OutputError, match="a file lies where the folder should be"):
        write_atomically(tmp_path / "out" / "a.png", b"x", overwrite=True)


@pytest.mark.skipif(os.name != "posix", reason="needs SIGKILL")
def test_a_process_killed_at_any_moment_leaves_only_whole_files(tmp_path: Path) -> None:
    moments = random.Random(7)
    for attempt in range(6):
        folder = tmp_path / str(attempt)
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder)], stdout=subprocess.PIPE, text=True
        ) as child:
            assert child.stdout is not None
            assert child.stdout.readline() == "ready\n"
            time.sleep(moments.uniform(0.01, 0.12))
            child.send_signal(signal.SIGKILL)
        finals = [entry for entry in folder.iterdir() if not entry.name.endswith(PARTIAL_ENDING)]
        assert finals
        for entry in finals:
            assert entry.read_bytes() == BLOCK, f"{entry.name} is not whole"
        remove_leftovers(folder)
        assert sorted(folder.iterdir()) == sorted(finals)


def test_leftovers_of_the_living_are_left_alone(tmp_path: Path) -> None:
    ours = tmp_path / f".a.png.{os.getpid()}.00ff00ff{PARTIAL_ENDING}"
    other = tmp_path / f".note{PARTIAL_ENDING}"
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    theirs = tmp_path / f".a.png.{dead.pid}.00ff00ff{PARTIAL_ENDING}"
    for path in (ours, other, theirs):
        path.write_bytes(b"half")
    assert remove_leftovers(tmp_path) == (theirs,)
    assert sorted(tmp_path.iterdir()) == sorted([ours, other])
    assert remove_leftovers(tmp_path / "missing") == ()


def test_a_name_as_long_as_the_file_system_takes(tmp_path: Path) -> None:
    path = tmp_path / ("\u00e9" * 125 + ".png")  # 254 bytes of UTF-8
    write_atomically(path, b"x", overwrite=False)
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]
    with pytest.raises(OutputError, match="the file name is too long; shorten"):
        write_atomically(tmp_path / ("n" * 300), b"x", overwrite=True)
