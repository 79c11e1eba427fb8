"""Fingerprints found while a recipe is still being checked; digests by hashlib (FIPS 180-4)."""

from __future__ import annotations

import hashlib
import os
import threading
import time
from pathlib import Path

import pytest

from evenfall.errors import PassError
from evenfall.passes import fingerprint as fingerprints
from evenfall.passes.fingerprint import noted_fingerprint
from evenfall.run import ahead
from evenfall.run.ahead import fingerprints_ahead

RECIPE = """
passes = { folder = "passes" }
[lights.sun]
file = "sun.exr"
[lights.lamp]
file = "lamp.exr"
"""
CONTENT = {"sun.exr": b"light of the sun", "lamp.exr": b"light of a lamp"}


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    (tmp_path / "passes").mkdir()
    for name, content in CONTENT.items():
        (tmp_path / "passes" / name).write_bytes(content)
    path = tmp_path / "view.toml"
    path.write_text(RECIPE)
    return path


def notes(cache: Path) -> list[str]:
    return sorted(path.read_text() for path in cache.glob("fingerprints/*"))


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
    with fingerprints_ahead(recipe, other):
        wait_for(expected("lamp.exr"), own_cache)


def test_nothing_more_is_begun_once_it_is_left(
    recipe: Path, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go_on = threading.Event(), threading.Event()
    asked: list[str] = []

    def slow(path: Path) -> None:
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


def test_a_file_that_is_missing_is_told_of(tmp_path: Path) -> None:
    with pytest.raises((PassError, OSError)):
        noted_fingerprint(tmp_path / "nothing.exr")
