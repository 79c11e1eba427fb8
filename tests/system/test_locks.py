"""Claims on names in a folder: told by whom and since when, and broken when their owner is gone."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from evenfall.system import locks
from evenfall.system.locks import CLAIM_ENDING, Claim, Claimed, claim

HOLDER = """
import sys, time
from pathlib import Path
from evenfall.system.locks import claim
with claim(Path(sys.argv[1]), sys.argv[2:]):
    print("held", flush=True)
    sys.stdin.read()
"""


@contextmanager
def holder(folder: Path, *names: str) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds a claim until its input ends."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(folder), *names],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        yield process
    finally:
        process.kill()
        process.communicate()


@pytest.fixture
def moment_over(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """Wait until a claim did not begin in this moment, which is made a short one."""
    monkeypatch.setattr(locks, "_PAUSE_SECONDS", 0.02)
    return lambda: time.sleep(locks._TRIES * 0.02)


def claims(folder: Path) -> list[Path]:
    return sorted(folder.glob(f".*{CLAIM_ENDING}"))


def age(path: Path, seconds: float) -> None:
    os.utime(path, (time.time() - seconds,) * 2)


def rewrite(path: Path, **changes: object) -> None:
    """Say something else in a claim, as another machine would have."""
    path.write_text(json.dumps({**json.loads(path.read_text()), **changes}))


def test_a_claim_that_another_process_holds_is_told_by_whom_and_since_when(tmp_path, moment_over):
    with holder(tmp_path, "view_day.png", "view_dusk.png") as process:
        moment_over()
        with pytest.raises(Claimed) as raised, claim(tmp_path, ["view_dusk.png"]):
            pass
        assert raised.value.by.process == process.pid
        assert raised.value.by.host == os.uname().nodename
        told = rf"process {process.pid} on \S+, since \d{{4}}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]"
        assert re.match(told, str(raised.value))
        assert len(claims(tmp_path)) == 1


def test_other_names_are_free(tmp_path):
    with holder(tmp_path, "view_0007_day.png"), claim(tmp_path, ["view_0008_day.png"]) as gone:
        assert gone == ()


def test_a_claim_ends_with_its_context(tmp_path):
    for _ in range(2):
        with claim(tmp_path, ["a"]):
            assert len(claims(tmp_path)) == 1
        assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="POSIX signals")
def test_a_killed_owner_gives_it_up(tmp_path):
    with holder(tmp_path, "a", "b") as process:
        process.send_signal(signal.SIGKILL)
        process.wait()
        assert len(claims(tmp_path)) == 1
        with claim(tmp_path, ["b"]) as gone:
            assert [one.process for one in gone] == [process.pid]
            assert gone[0].names == {"a", "b"}
    assert claims(tmp_path) == []


def test_threads_of_one_process_do_not_share_a_claim(tmp_path, moment_over):
    with claim(tmp_path, ["a"]):
        moment_over()
        with pytest.raises(Claimed), claim(tmp_path, ["a"]):
            pass


class TestOtherMachines:
    """Claims of machines to whose processes and locks this one does not reach."""

    def left(self, tmp_path: Path) -> Path:
        with holder(tmp_path, "a") as process:
            process.kill()
            process.wait()
        (path,) = claims(tmp_path)
        rewrite(path, host="render-7", kernel="another", since="2026-01-02T03:04:05+00:00")
        return path

    def test_one_that_is_touched_stands(self, tmp_path):
        age(self.left(tmp_path), 60)
        with pytest.raises(Claimed, match="on render-7, since 2026-01-02"), claim(tmp_path, ["a"]):
            pass

    def test_one_that_nobody_touches_any_more_is_given_up(self, tmp_path):
        age(self.left(tmp_path), 120)
        with claim(tmp_path, ["a"]) as gone:
            assert [one.host for one in gone] == ["render-7"]
        assert claims(tmp_path) == []

    def test_a_clock_that_goes_wrong_does_not_matter(self, tmp_path, monkeypatch):
        """The age of a claim is told by the disk's own clock, not by this machine's."""
        age(self.left(tmp_path), 60)
        monkeypatch.setattr(time, "time", lambda: 4e9)
        with pytest.raises(Claimed), claim(tmp_path, ["a"]):
            pass

    def test_a_claim_is_touched_while_it_is_held(self, tmp_path, monkeypatch):
        monkeypatch.setattr(locks, "_TOUCHED_SECONDS", 0.01)
        with claim(tmp_path, ["a"]):
            (path,) = claims(tmp_path)
            age(path, 1000)
            deadline = time.monotonic() + 20
            while time.time() - path.stat().st_mtime > 100:
                assert time.monotonic() < deadline
                time.sleep(0.01)


def test_where_there_are_no_locks_the_process_is_looked_for(tmp_path, monkeypatch, moment_over):
    monkeypatch.setattr(locks, "_lock", lambda stream: None)
    with holder(tmp_path, "a") as process:
        moment_over()
        with pytest.raises(Claimed), claim(tmp_path, ["a"]):
            pass
        process.kill()
        process.wait()
        with claim(tmp_path, ["a"]) as gone:
            assert [one.process for one in gone] == [process.pid]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"host": 1}', "[" * 100_000])
def test_what_is_no_claim_says_nothing_and_goes_after_a_day(tmp_path, text):
    path = tmp_path / f".0123{CLAIM_ENDING}"
    path.write_text(text)
    with claim(tmp_path, ["a"]) as gone:
        assert gone == ()
        assert path.exists()
    age(path, 100_000)
    with claim(tmp_path, ["a"]):
        assert not path.exists()


@pytest.mark.skipif(os.name != "posix", reason="POSIX pipes")
def test_a_pipe_in_place_of_a_claim_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / f".0123{CLAIM_ENDING}")
    with claim(tmp_path, ["a"]) as gone:
        assert gone == ()


def test_of_many_at_once_one_has_it_at_a_time(tmp_path):
    """Sixteen threads that begin together: never two inside, and at least one comes in."""
    inside, most, entered = 0, 0, 0
    guard = threading.Lock()
    start = threading.Barrier(16)

    def work() -> None:
        nonlocal inside, most, entered
        start.wait()
        try:
            with claim(tmp_path, ["a"]):
                with guard:
                    inside += 1
                    entered += 1
                    most = max(most, inside)
                time.sleep(0.05)
                with guard:
                    inside -= 1
        except Claimed:
            pass

    threads = [threading.Thread(target=work) for _ in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == 1
    assert entered >= 1
    assert claims(tmp_path) == []


def test_a_claim_reads_as_a_person_would_say_it():
    one = Claim("studio-2", "k", 4711, "ab", "2026-11-26T05:04:03+01:00", frozenset())
    assert str(one) == "process 4711 on studio-2, since 2026-11-26T05:04:03+01:00"


def test_who_is_stopped_while_it_gives_a_claim_back_leaves_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(thread: threading.Thread) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), claim(tmp_path, ["a"]):
        monkeypatch.setattr(threading.Thread, "join", stopped)
    assert claims(tmp_path) == []
