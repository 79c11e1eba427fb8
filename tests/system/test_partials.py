"""Unfinished files: whose they are, and when they are anybody's to remove."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from evenfall.errors import OutputError
from evenfall.system import atomic, partials
from evenfall.system.atomic import write_atomically
from evenfall.system.cache import keep
from evenfall.system.partials import (
    PARTIAL_ENDING,
    partial_path,
    remove_leftovers,
    temporary_folder,
)

DAY = 24 * 3600
needs_proc = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs Linux's /proc")


def left(path: Path, *, age: float = 0) -> Path:
    path.write_bytes(b"half")
    then = time.time() - age
    os.utime(path, (then, then))
    return path


def on_another_machine(monkeypatch: pytest.MonkeyPatch, name: str = "render-7-0a1b2c3d") -> None:
    monkeypatch.setattr(partials, "machine", lambda: name)


def of_a_dead_process(path: Path) -> Path:
    """Name of a file that a process has begun that is gone by now."""
    code = (
        "import sys; from pathlib import Path; from evenfall.system.partials import partial_path\n"
        "print(partial_path(Path(sys.argv[1])))"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    return Path(ended.stdout.strip())


def test_a_name_says_machine_and_process_and_is_never_the_same(tmp_path: Path) -> None:
    first, second = (partial_path(tmp_path / "a.png") for _ in range(2))
    assert first != second
    assert first.parent == tmp_path
    assert re.fullmatch(
        rf"\.a\.png\.[\w-]*-[0-9a-f]{{8}}\.{os.getpid()}-[0-9a-f]{{8}}\.[0-9a-f]{{8}}"
        + re.escape(PARTIAL_ENDING),
        first.name,
    )
    longest = partial_path(tmp_path / ("\U0001f319" * 63))  # 252 bytes of UTF-8
    assert len(os.fsencode(longest.name)) <= 255


def test_what_the_living_write_is_left_alone_and_what_the_dead_left_is_not(tmp_path: Path) -> None:
    ours = left(partial_path(tmp_path / "a.png"), age=2 * DAY)  # of this very process
    note = left(tmp_path / f".note{PARTIAL_ENDING}", age=2 * DAY)
    dead = left(of_a_dead_process(tmp_path / "a.png"))
    assert remove_leftovers(tmp_path) == (dead,)
    assert sorted(tmp_path.iterdir()) == sorted([ours, note])
    assert remove_leftovers(tmp_path / "missing") == ()


def test_another_machine_in_the_folder_is_left_alone_until_a_day_has_gone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other's process numbers mean nothing here, whether or not we have the same ones."""
    with monkeypatch.context() as there:
        on_another_machine(there)
        fresh = left(partial_path(tmp_path / "fresh.png"), age=DAY - 600)
        old = left(partial_path(tmp_path / "old.png"), age=DAY + 600)
        dead = left(of_a_dead_process(tmp_path / "dead.png"))
        dead = dead.rename(str(dead).replace(_machine_in(dead), "render-7-0a1b2c3d"))
    assert remove_leftovers(tmp_path) == (old,)
    assert sorted(tmp_path.iterdir()) == sorted([fresh, dead])


def _machine_in(path: Path) -> str:
    return path.name.split(".")[-4]


def test_two_machines_write_into_one_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While one flushes its file, the other begins a run there, and tidies up."""
    original = os.fsync
    removed = []

    def meanwhile(descriptor: int) -> None:
        with monkeypatch.context() as there:
            on_another_machine(there)
            removed.extend(remove_leftovers(tmp_path))
        original(descriptor)

    monkeypatch.setattr(atomic.os, "fsync", meanwhile)
    write_atomically(tmp_path / "a.png", b"whole", overwrite=False)
    assert removed == []
    assert (tmp_path / "a.png").read_bytes() == b"whole"


@needs_proc
def test_a_number_that_another_process_has_now_protects_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a container the first process has the number 1, every time it is started again."""
    original = partials._text_of
    boot = partials._BOOT_ID

    def before_the_restart(path: Path) -> str:
        return "the start before" if path == boot else original(path)

    with monkeypatch.context() as then:
        then.setattr(partials, "_text_of", before_the_restart)
        earlier = left(partial_path(tmp_path / "a.png"))
    now = left(partial_path(tmp_path / "b.png"))
    assert remove_leftovers(tmp_path) == (earlier,)
    assert list(tmp_path.iterdir()) == [now]


@needs_proc
def test_processes_that_began_apart_are_told_apart() -> None:
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as other:
        assert partials.is_alive(other.pid, partials.begun_at(other.pid))
        assert not partials.is_alive(other.pid, partials.begun_at(os.getpid()))
        other.communicate(b"\n")
    assert not partials.is_alive(other.pid, partials.begun_at(os.getpid()))


@needs_proc
def test_a_process_that_has_ended_and_is_not_asked_for_its_code_writes_nothing() -> None:
    """proc(5): state Z. In a container, whose first process asks for none, it stays for ever."""
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as other:
        begun = partials.begun_at(other.pid)
        other.kill()
        os.waitid(os.P_PID, other.pid, os.WEXITED | os.WNOWAIT)
        assert partials.begun_at(other.pid) == begun
        assert not partials.is_alive(other.pid, begun)


def test_where_processes_cannot_be_asked_for_age_alone_decides(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On Windows `os.kill` would end the process that is asked about."""
    fresh = left(partial_path(tmp_path / "fresh.png"))
    old = left(partial_path(tmp_path / "old.png"), age=DAY + 600)
    monkeypatch.setattr(partials.os, "name", "nt")
    monkeypatch.setattr(partials.os, "kill", None)
    found = remove_leftovers(tmp_path)
    monkeypatch.undo()
    assert found == (old,)
    assert list(tmp_path.iterdir()) == [fresh]


def test_the_cache_is_tidied_too(tmp_path: Path) -> None:
    folder = tmp_path / "cache"
    folder.mkdir()
    dead = left(of_a_dead_process(folder / "ab.pass"))
    keep(folder / "cd.pass", b"kept")
    assert [entry.name for entry in folder.iterdir()] == ["cd.pass"]
    assert not dead.exists()


def test_a_folder_is_tidied_by_the_first_file_that_goes_there(tmp_path: Path) -> None:
    """What is made apart from runs, such as a page, goes into folders that no run enters."""
    dead = left(of_a_dead_process(tmp_path / "page.html"))
    alive = left(partial_path(tmp_path / "board.pdf"))
    write_atomically(tmp_path / "page.html", b"whole", overwrite=False)
    assert not dead.exists()
    assert {entry.name for entry in tmp_path.iterdir()} == {alive.name, "page.html"}


def test_a_temporary_folder_of_the_dead_is_taken_away_by_who_makes_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    dead = of_a_dead_process(tmp_path / "evenfall-film")
    dead.mkdir()
    (dead / "film.mp4").write_bytes(b"half")
    with temporary_folder("film") as folder:
        assert list(tmp_path.iterdir()) == [folder]
        assert folder.stat().st_mode & 0o777 == 0o700
        (folder / "film.mp4").write_bytes(b"half")
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_leaves_no_unfinished_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(atomic.os, "fsync", full)
    with pytest.raises(OutputError, match="the disk is full"):
        write_atomically(tmp_path / "a.png", b"x", overwrite=True)
    assert list(tmp_path.iterdir()) == []


def test_machines_of_one_name_are_told_apart(tmp_path: Path) -> None:
    """Cloned machines have one name; machine-id(5) is "unique" to each installation."""
    code = (
        "import sys; from pathlib import Path; from evenfall.system import partials\n"
        "partials._MACHINE_ID = Path(sys.argv[1])\n"
        "print(partials.partial_path(Path('a.png')).name.split('.')[-4])"
    )
    found = []
    for number in (1, 1, 2):
        path = tmp_path / str(number)
        path.write_text(f"{number:032x}\n", encoding="ascii")
        ended = subprocess.run(
            [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
        )
        found.append(ended.stdout)
    assert found[0] == found[1] != found[2]
