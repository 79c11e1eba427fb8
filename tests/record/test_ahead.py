"""Fingerprints found while a recipe is still being checked; digests by hashlib (FIPS 180-4)."""

from __future__ import annotations

import hashlib
import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from evenfall.errors import PassError, RecipeError
from evenfall.passes import fingerprint as fingerprints
from evenfall.passes.fingerprint import noted_fingerprint
from evenfall.record import ahead
from evenfall.record.ahead import fingerprints_ahead

RECIPE = """
passes = { folder = "passes" }
[lights.sun]
file = "sun.exr"
[lights.lamp]
file = "lamp.exr"
"""
SETTLES_SECONDS = 0.1  # until a file's times tell of another change
CONTENT = {"sun.exr": b"light of the sun", "lamp.exr": b"light of a lamp"}


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    (tmp_path / "passes").mkdir()
    for name, content in CONTENT.items():
        (tmp_path / "passes" / name).write_bytes(content)
    time.sleep(SETTLES_SECONDS)
    path = tmp_path / "view.toml"
    path.write_text(RECIPE)
    return path


def notes(cache: Path) -> list[str]:
    return sorted(path.read_text().split()[0] for path in cache.glob("fingerprints/*"))


def expected(*names: str) -> list[str]:
    return sorted(f"sha256:{hashlib.sha256(CONTENT[name]).hexdigest()}" for name in names)


def wait_for(found: list[str], cache: Path) -> None:
    until = time.monotonic() + 20
    while notes(cache) != found and time.monotonic() < until:
        time.sleep(0.01)
    assert notes(cache) == found


def test_files_that_the_recipe_names_are_noted(recipe: Path, own_cache: Path) -> None:
    with fingerprints_ahead(recipe):
        wait_for(expected("sun.exr", "lamp.exr"), own_cache)


def test_a_folder_said_apart_takes_the_place_of_the_recipes(
    recipe: Path, tmp_path: Path, own_cache: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "lamp.exr").write_bytes(CONTENT["lamp.exr"])
    time.sleep(SETTLES_SECONDS)
    with fingerprints_ahead(recipe, other):
        wait_for(expected("lamp.exr"), own_cache)


def test_nothing_more_is_begun_once_it_is_left(
    recipe: Path, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go_on = threading.Event(), threading.Event()
    asked: list[str] = []

    def slow(path: Path, **_: object) -> None:
        asked.append(path.name)
        begun.set()
        assert go_on.wait(20)

    monkeypatch.setattr(ahead, "noted_fingerprint", slow)
    before = set(threading.enumerate())
    with fingerprints_ahead(recipe):
        assert begun.wait(20)
        (thread,) = set(threading.enumerate()) - before
    go_on.set()
    thread.join(20)
    assert asked == ["sun.exr"]


@pytest.mark.parametrize(
    "text",
    [
        "", "lights = 3", "[lights.sun]", "lights = { sun = 1 }", "lights = [1]", "= nonsense",
        "passes = 4\n[lights.sun]\nfile = 'sun.exr'", "[lights.sun]\nfile = 3",
        "[lights.sun]\nfile = ''", "[lights.sun]\nfile = \"a\\u0000b\"", "a = " + "[" * 5000,
        "passes = { folder = \"x\\u0000\" }\n[lights.sun]\nfile = 'sun.exr'",
    ],
)  # fmt: skip
def test_recipes_with_faults_are_left_to_whoever_checks_them(
    text: str, tmp_path: Path, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failed: list[object] = []
    monkeypatch.setattr(threading, "excepthook", failed.append)
    path = tmp_path / "view.toml"
    path.write_text(text)
    before = set(threading.enumerate())
    with fingerprints_ahead(path):
        for thread in set(threading.enumerate()) - before:
            thread.join(20)
    assert (failed, notes(own_cache)) == ([], [])


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no pipes with names")
def test_a_pipe_is_not_emptied(tmp_path: Path) -> None:
    path = tmp_path / "view.toml"
    os.mkfifo(path)
    before = set(threading.enumerate())
    with fingerprints_ahead(path):
        for thread in set(threading.enumerate()) - before:
            thread.join(20)
            assert not thread.is_alive()


def test_threads_that_ask_for_the_same_file_share_the_work(
    recipe: Path, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = recipe.parent / "passes" / "sun.exr"
    entered, go_on = threading.Event(), threading.Event()
    reads: list[Path] = []
    real = fingerprints.fingerprint

    def slow(path: Path, **settings: object) -> str | None:
        reads.append(path)
        entered.set()
        assert go_on.wait(20)
        return real(path)

    monkeypatch.setattr(fingerprints, "fingerprint", slow)
    found: list[str | None] = []
    threads = [
        threading.Thread(target=lambda: found.append(noted_fingerprint(path))) for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    assert entered.wait(20)
    go_on.set()
    for thread in threads:
        thread.join(20)
    assert found == expected("sun.exr") * 4
    assert reads == [path]


def test_the_work_is_shared_where_nothing_can_be_noted(
    recipe: Path, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own_cache.rmdir()
    own_cache.write_text("a file where the folder should be")
    path = recipe.parent / "passes" / "sun.exr"
    assert [noted_fingerprint(path)] == expected("sun.exr")
    monkeypatch.setattr(fingerprints, "fingerprint", lambda *_, **__: pytest.fail("read again"))
    assert [noted_fingerprint(path)] == expected("sun.exr")


def _is_wanted() -> bool:
    return any(turn.wishes for turn in fingerprints._turns.values())


@pytest.fixture
def endless(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """A file takes for ever to read, but for those who do not want it any more; tells of begin."""
    begun, end = threading.Event(), threading.Event()

    def read(path: Path, *, is_wanted: Callable[[], bool]) -> None:
        begun.set()
        while is_wanted() and not end.wait(0.01):
            pass

    monkeypatch.setattr(fingerprints, "fingerprint", read)
    yield begun
    end.set()
    until = time.monotonic() + 20
    while _is_wanted() and time.monotonic() < until:  # else the next test finds this one
        time.sleep(0.001)


def test_whoever_does_not_want_it_any_more_does_not_wait_for_the_one_who_reads(
    recipe: Path, own_cache: Path, endless: threading.Event
) -> None:
    path = recipe.parent / "passes" / "sun.exr"
    reader = threading.Thread(target=lambda: noted_fingerprint(path), daemon=True)
    reader.start()
    assert endless.wait(20)
    assert noted_fingerprint(path, is_wanted=lambda: False) is None
    assert reader.is_alive()


def test_it_is_read_on_for_another_who_has_asked(
    recipe: Path, own_cache: Path, endless: threading.Event
) -> None:
    path = recipe.parent / "passes" / "sun.exr"
    wanted = [True, True]
    threads = [
        threading.Thread(target=lambda number=number: noted_fingerprint(
            path, is_wanted=lambda: wanted[number]))
        for number in range(2)
    ]  # fmt: skip
    threads[0].start()
    assert endless.wait(20)
    threads[1].start()
    (turn,) = [turn for turn in fingerprints._turns.values() if len(turn.wishes) > 0]
    until = time.monotonic() + 20
    while len(turn.wishes) < 2 and time.monotonic() < until:
        time.sleep(0.001)
    wanted[0] = False
    threads[0].join(0.2)
    assert threads[0].is_alive()
    wanted[1] = False
    for thread in threads:
        thread.join(20)
        assert not thread.is_alive()


def test_a_recipe_that_is_wrong_ends_what_was_begun(
    recipe: Path, own_cache: Path, endless: threading.Event
) -> None:
    before = set(threading.enumerate())

    def fail() -> None:
        with fingerprints_ahead(recipe):
            assert endless.wait(20)
            raise RecipeError("wrong")

    with pytest.raises(RecipeError, match="wrong"):
        fail()
    for thread in set(threading.enumerate()) - before:
        thread.join(20)
        assert not thread.is_alive()


def test_what_nobody_asks_for_ends_soon_after(
    recipe: Path, own_cache: Path, endless: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ahead, "_AFTERWARDS_SECONDS", 0.02)
    before = set(threading.enumerate())
    with fingerprints_ahead(recipe):
        assert endless.wait(20)
    for thread in set(threading.enumerate()) - before:
        thread.join(20)
        assert not thread.is_alive()


def test_a_file_that_is_missing_is_told_of(tmp_path: Path) -> None:
    with pytest.raises((PassError, OSError)):
        noted_fingerprint(tmp_path / "nothing.exr")


class TestNotes:
    """A note is believed only as it was written, and never of a file that may change unseen."""

    @pytest.fixture
    def path(self, recipe: Path) -> Path:
        return recipe.parent / "passes" / "sun.exr"

    @pytest.fixture
    def note(self, path: Path, own_cache: Path) -> Path:
        noted_fingerprint(path)
        forget()
        (note,) = own_cache.glob("fingerprints/*")
        return note

    @pytest.mark.parametrize(
        "change",
        [
            lambda data: data[:20] + (b"0" if data[20:21] != b"0" else b"1") + data[21:],
            lambda data: data[:71],
            lambda data: data[:-1],
            lambda data: b"",
            lambda data: data.replace(b"sha256:", b"sha256;"),
            lambda data: b"\xff" * 100,
        ],
    )  # fmt: skip
    def test_a_damaged_one_is_not_believed(
        self, path: Path, note: Path, change: Callable[[bytes], bytes]
    ) -> None:
        note.write_bytes(change(note.read_bytes()))
        assert [noted_fingerprint(path)] == expected("sun.exr")

    def test_one_of_another_file_is_not_believed(self, path: Path, note: Path) -> None:
        lamp = path.with_name("lamp.exr")
        noted_fingerprint(lamp)
        forget()
        (other,) = set(note.parent.iterdir()) - {note}
        other.write_bytes(note.read_bytes())
        assert [noted_fingerprint(lamp)] == expected("lamp.exr")

    def test_a_file_that_was_written_a_moment_ago_is_not_noted(
        self, path: Path, own_cache: Path
    ) -> None:
        path.write_bytes(CONTENT["sun.exr"])
        assert [noted_fingerprint(path)] == expected("sun.exr")
        assert notes(own_cache) == []


def forget() -> None:
    """What this process knows is forgotten; what is noted stays."""
    fingerprints._turns.clear()
