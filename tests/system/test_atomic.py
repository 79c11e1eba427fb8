"""Files are whole or not there, also when the disk is full or the process is killed."""

from __future__ import annotations

import errno
import os
import random
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from evenfall.errors import OutputError
from evenfall.system import atomic
from evenfall.system.atomic import put_whole, write_atomically
from evenfall.system.partials import PARTIAL_ENDING, remove_leftovers

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
    with pytest.raises(OutputError, match=r"a\.png: the file exists already; use --overwrite"):
        write_atomically(path, b"new", overwrite=False)
    assert path.read_bytes() == b"last week's"
    write_atomically(path, b"new", overwrite=True)
    assert path.read_bytes() == b"new"
    assert len(list(tmp_path.iterdir())) == 1


def test_a_name_taken_meanwhile_is_not_overwritten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.png"
    original = os.fsync

    def somebody_else_is_quicker(descriptor: int) -> None:
        original(descriptor)
        path.write_bytes(b"theirs")

    monkeypatch.setattr(atomic.os, "fsync", somebody_else_is_quicker)
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


@pytest.mark.skipif(os.name != "posix", reason="folders that can be opened")
def test_a_folder_that_cannot_be_flushed_is_told_before_the_name_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(b"old")
    opened = os.open

    def refuse(name: Path, *flags: int) -> int:
        if Path(name) == tmp_path:
            raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))
        return opened(name, *flags)

    monkeypatch.setattr(atomic.os, "open", refuse)
    with pytest.raises(OutputError, match="Too many open files"):
        write_atomically(path, BLOCK, overwrite=True)
    assert path.read_bytes() == b"old"
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs Linux's always-full device")
def test_a_full_disk_that_the_system_reports(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    original = Path.open

    def on_a_full_disk(self: Path, mode: str = "r", **options: str):
        if "x" in mode:
            return original(Path("/dev/full"), "wb")
        return original(self, mode, **options)

    monkeypatch.setattr(Path, "open", on_a_full_disk)
    with pytest.raises(OutputError, match=r"No space left on device; the disk is full"):
        write_atomically(tmp_path / "a.png", BLOCK, overwrite=False)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_of_that_name(tmp_path: Path) -> None:
    (tmp_path / "a.png").mkdir()
    with pytest.raises(OutputError, match="there is a folder of this name"):
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
            while not any(folder.glob("*.bin")):  # however busy the disk is
                time.sleep(0.001)
            time.sleep(moments.uniform(0.01, 0.12))
            child.send_signal(signal.SIGKILL)
        finals = [entry for entry in folder.iterdir() if not entry.name.endswith(PARTIAL_ENDING)]
        assert finals
        for entry in finals:
            assert entry.read_bytes() == BLOCK, f"{entry.name} is not whole"
        remove_leftovers(folder)
        assert sorted(folder.iterdir()) == sorted(finals)


def test_a_name_as_long_as_the_file_system_takes(tmp_path: Path) -> None:
    path = tmp_path / ("\u00e9" * 125 + ".png")  # 254 bytes of UTF-8
    write_atomically(path, b"x", overwrite=False)
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]
    with pytest.raises(OutputError, match="the file name is too long; shorten"):
        write_atomically(tmp_path / ("n" * 300), b"x", overwrite=True)


class Calls:
    """Calls to the system that durability rests on, in order, with what they were made on."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.made: list[tuple[str, str]] = []
        self._fsync, self._rename, self._link = os.fsync, Path.replace, os.link
        monkeypatch.setattr(atomic.os, "fsync", self.fsync)
        monkeypatch.setattr(atomic.os, "link", self.link)
        calls = self

        def replace(path: Path, target: Path) -> Path:
            calls.made.append(("rename", target.name))
            return calls._rename(path, target)

        monkeypatch.setattr(Path, "replace", replace)

    def fsync(self, descriptor: int) -> None:
        name = Path(f"/proc/self/fd/{descriptor}").readlink().name
        kind = "file" if name.endswith(PARTIAL_ENDING) else name
        self.made.append(("flush", kind))
        self._fsync(descriptor)

    def link(self, partial: Path, path: Path) -> None:
        self.made.append(("link", path.name))
        self._link(partial, path)


needs_proc = pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="needs Linux's /proc")


@needs_proc
@pytest.mark.parametrize(("overwrite", "step"), [(True, "rename"), (False, "link")])
def test_the_order_that_a_power_cut_needs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, overwrite: bool, step: str
) -> None:
    """Contents first, then the name, then the folder that holds the name.

    fsync(2): "Calling fsync() does not necessarily ensure that the entry in the directory
    containing the file has also reached disk. For that an explicit fsync() on a file descriptor
    for the directory is also needed."
    """
    calls = Calls(monkeypatch)
    write_atomically(tmp_path / "a.png", BLOCK, overwrite=overwrite)
    assert calls.made == [("flush", "file"), (step, "a.png"), ("flush", tmp_path.name)]


@needs_proc
def test_new_folders_are_flushed_into_those_that_hold_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = Calls(monkeypatch)
    write_atomically(tmp_path / "out" / "dusk" / "a.png", b"x", overwrite=True)
    assert calls.made[:2] == [("flush", tmp_path.name), ("flush", "out")]
    assert calls.made[-1] == ("flush", "dusk")


@needs_proc
def test_what_need_not_last_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = Calls(monkeypatch)
    put_whole(tmp_path / "new" / "a.pass", b"x", durable=False)
    assert calls.made == [("rename", "a.pass")]


def test_whoever_has_the_old_file_open_reads_it_on(tmp_path: Path) -> None:
    """rename(2): an open descriptor of what is replaced still refers to it; a write into it not."""
    path = tmp_path / "a.png"
    path.write_bytes(b"old")
    with path.open("rb") as opened:
        write_atomically(path, b"new", overwrite=True)
        assert opened.read() == b"old"
        assert os.fstat(opened.fileno()).st_ino != path.stat().st_ino
    assert path.read_bytes() == b"new"


def test_a_file_that_came_out_short_is_not_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some network disks lose the end of a file without an error of write or flush."""
    path = tmp_path / "a.png"
    path.write_bytes(b"old")
    original = os.fsync

    def loses_the_end(descriptor: int) -> None:
        if not stat.S_ISDIR(os.fstat(descriptor).st_mode):
            os.ftruncate(descriptor, 100)
        original(descriptor)

    monkeypatch.setattr(atomic.os, "fsync", loses_the_end)
    with pytest.raises(OutputError, match="only 100 of 1048576 bytes reached the disk; the disk"):
        write_atomically(path, BLOCK, overwrite=True)
    assert path.read_bytes() == b"old"
    assert len(list(tmp_path.iterdir())) == 1


def no_hard_links(source: Path, target: Path) -> None:
    raise OSError(errno.EPERM, "Operation not permitted")


def test_a_disk_without_hard_links_takes_a_free_name_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """link(2), EPERM: "The filesystem containing oldpath and newpath does not support the
    creation of hard links", as FAT and many shares do not."""
    monkeypatch.setattr(atomic.os, "link", no_hard_links)
    path = tmp_path / "a.png"
    write_atomically(path, BLOCK, overwrite=False)
    assert path.read_bytes() == BLOCK
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.png"]


def test_a_disk_without_hard_links_replaces_nothing_that_came_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.png"

    def meanwhile(source: Path, target: Path) -> None:
        path.write_bytes(b"theirs")
        no_hard_links(source, target)

    monkeypatch.setattr(atomic.os, "link", meanwhile)
    with pytest.raises(OutputError, match="exists already"):
        write_atomically(path, b"ours", overwrite=False)
    assert path.read_bytes() == b"theirs"
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.png"]


def test_permissions_can_be_said(tmp_path: Path) -> None:
    put_whole(tmp_path / "a.toml", b"x", b"y", mode=0o640)
    assert (tmp_path / "a.toml").read_bytes() == b"xy"
    assert stat.S_IMODE((tmp_path / "a.toml").stat().st_mode) == 0o640
