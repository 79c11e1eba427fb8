"""A disk that takes no more while a desk is open: edits are refused whole, and none is lost.

The system itself refuses: files may not grow beyond a limit (POSIX setrlimit, RLIMIT_FSIZE), where
the first write takes a part and the next fails, as on a disk that is full.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import signal
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from evenfall.desk import desk as desk_module
from evenfall.desk.desk import Desk
from evenfall.desk.journal import journal_path
from evenfall.desk.protocol import Look, Message, Save, Undo
from evenfall.desk.session import Session
from evenfall.errors import OutputError, UsageError

resource = pytest.importorskip("resource", reason="a system with limits of files")
REFUSED = r"\.desk: cannot be written: File too large; nothing was changed; do it again"


@pytest.fixture
def session(recipe: Path) -> Iterator[Session]:
    session = Session(recipe)
    yield session
    session.close()


@contextlib.contextmanager
def no_room(session: Session, left: int = 10) -> Iterator[None]:
    """Let the journal take so many bytes more."""
    size = journal_path(session.path).stat().st_size
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + left, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)


def turn(session: Session, gesture: str = "") -> None:
    session.turn("dusk", "gain:sky", "third", 1, gesture)


def test_an_edit_without_room_is_refused_and_the_others_come_back(
    session: Session, recipe: Path
) -> None:
    texts = [session.text]
    for number in range(4):
        with no_room(session, left=number * 15), pytest.raises(OutputError, match=REFUSED):
            turn(session)
        assert session.text == session.recipe.text == texts[-1]
        turn(session)
        texts.append(session.text)
    session.close()  # as unsaved
    again = Session(recipe)
    for text in reversed(texts):
        assert again.text == text
        again.undo()
    again.close()


def test_a_gesture_without_room_stays_at_its_last_turn(session: Session) -> None:
    start = session.text
    turn(session, "g")
    reached = session.text
    with no_room(session), pytest.raises(OutputError, match=REFUSED):
        turn(session, "g")
    assert session.text == session.recipe.text == reached
    turn(session, "g")
    session.undo()
    assert session.text == start


def test_what_could_not_be_undone_stands(session: Session) -> None:
    turn(session)
    turned = session.text
    with no_room(session, left=3), pytest.raises(OutputError, match=REFUSED):
        session.undo()
    assert session.text == session.recipe.text == turned


def test_a_change_by_another_hand_that_cannot_be_noted_is_never_written_over(
    session: Session, recipe: Path
) -> None:
    theirs = session.text.replace("stops = -2", "stops = -3")
    recipe.write_text(theirs, encoding="utf-8")
    with no_room(session):
        assert session.look_outside()
    assert session.conflict is not None
    with pytest.raises(UsageError, match="another hand"):
        session.save()
    with no_room(session), pytest.raises(OutputError, match=REFUSED):
        session.settle("theirs")
    assert recipe.read_text(encoding="utf-8") == theirs
    session.settle("theirs")
    assert session.recipe.text == theirs


def test_over_the_file_or_not_at_all(session: Session, recipe: Path) -> None:
    turn(session)
    ours = session.text
    recipe.write_text(ours.replace("stops = 1,", "stops = 0.5,"), encoding="utf-8")
    session.look_outside()
    with no_room(session, left=150), pytest.raises(OutputError, match=REFUSED):
        session.settle("ours")
    assert session.text == ours
    assert session.conflict is not None
    session.settle("ours")
    session.save()
    assert recipe.read_text(encoding="utf-8") == ours


def test_saved_without_room_in_the_journal_is_saved(session: Session, recipe: Path) -> None:
    while journal_path(session.path).stat().st_size < len(session.text) + 200:
        turn(session)
    with no_room(session):
        session.save()
    saved = session.text
    assert recipe.read_text(encoding="utf-8") == saved
    assert not session.is_unsaved
    turn(session)  # which brings with it what is owed
    turned = session.text
    session.close()
    again = Session(recipe)
    assert (again.conflict, again.saved_text, again.text) == (None, saved, turned)
    again.close()


def test_a_file_that_could_not_be_read_for_a_moment_was_changed_by_nobody(
    session: Session, recipe: Path
) -> None:
    turn(session)
    away = recipe.rename(recipe.with_name("away"))
    assert session.look_outside()
    assert "there is no such file" in session.fault
    away.rename(recipe)
    assert session.look_outside()
    assert (session.fault, session.conflict) == ("", None)
    session.save()
    assert recipe.read_text(encoding="utf-8") == session.text


def test_a_journal_that_cannot_be_read_is_left_as_it_is(
    session: Session, recipe: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    turn(session)
    turned = session.text
    session.close()
    read = Path.read_bytes

    def failing(path: Path) -> bytes:
        if path.suffix == ".desk":
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return read(path)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "read_bytes", failing)
        with pytest.raises(OutputError, match=r"\.desk: cannot be read: .*not saved lies in it"):
            Session(recipe)
    again = Session(recipe)
    assert again.text == turned
    again.close()


def test_what_nobody_expected_of_the_system_is_told_to_the_window(
    recipe: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing() -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO), "corner.toml")

    desk = Desk(recipe)
    monkeypatch.setattr(desk.session, "save", failing)
    window = desk.enter()
    with ThreadPoolExecutor(1) as apart:  # a browser of other tests keeps this thread's loop
        apart.submit(asyncio.run, desk.hear(window, Save(do="save"))).result()
    said = [one for one in window.told if one["tell"] == "said"]
    text = "corner.toml: the system refused it: Input/output error"
    assert said == [{"tell": "said", "ok": False, "text": text}]
    assert window.told[-1]["tell"] == "state"
    desk.close()


def test_a_round_that_the_system_does_not_give_keeps_no_window_from_the_rest(
    recipe: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*given: object) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO), "rounds")

    desk = Desk(recipe)
    monkeypatch.setattr(desk_module, "standing", failing)
    window = desk.enter()
    messages: list[Message] = [
        Look(do="look", mood="dusk", beside="day", beside_of="round 1"),
        Undo(do="undo"),
    ]
    with ThreadPoolExecutor(1) as apart:
        for message in messages:
            apart.submit(asyncio.run, desk.hear(window, message)).result()
    assert [one["tell"] for one in window.told] == ["said", "state"]
    desk.close()
