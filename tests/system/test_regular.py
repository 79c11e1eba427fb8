"""Pipes, folders and devices in place of a file are told of, and nobody waits for them."""

from __future__ import annotations

import errno
import os
import threading
from pathlib import Path

import pytest

from evenfall.errors import PixelSourceError
from evenfall.passes.side.whole import picture_bytes
from evenfall.system.regular import open_regular, read_whole

UNREADABLE = Path(
    "/proc/self/mem"
)  # a regular file by its mode; proc(5): nothing lies at its start
needs_pipes = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no FIFOs on this system")


def test_a_file_is_opened(tmp_path: Path) -> None:
    (tmp_path / "note").write_bytes(b"dusk")
    with open_regular(tmp_path / "note") as stream:
        assert stream.read() == b"dusk"


@needs_pipes
def test_a_pipe_is_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "note")
    with pytest.raises(OSError, match=r"is a FIFO \(named pipe\)"):
        open_regular(tmp_path / "note")


@needs_pipes
def test_a_pipe_that_takes_the_place_of_a_file_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "note"
    path.write_bytes(b"dusk")
    look = Path.stat

    def exchanged_after_the_look(self: Path, **options: bool) -> os.stat_result:
        facts = look(self, **options)
        if self == path:
            path.unlink()
            os.mkfifo(path)
        return facts

    monkeypatch.setattr(Path, "stat", exchanged_after_the_look)
    said: list[str] = []

    def attempt() -> None:
        try:
            open_regular(path)
        except OSError as error:
            said.append(str(error))

    thread = threading.Thread(target=attempt, daemon=True)
    thread.start()
    thread.join(10)
    assert said == [f"[Errno 22] is a FIFO (named pipe): '{path}'"]


@pytest.mark.skipif(not UNREADABLE.exists(), reason="the system has no file that fails so")
def test_a_read_that_fails_names_the_file() -> None:
    with pytest.raises(OSError, match="Input/output error") as caught:
        read_whole(UNREADABLE)
    assert (caught.value.errno, caught.value.filename) == (errno.EIO, str(UNREADABLE))
    with pytest.raises(PixelSourceError) as refused:
        picture_bytes(UNREADABLE)
    assert str(refused.value) == f"{UNREADABLE}: cannot be read: Input/output error"
