"""Where the cache lies, by the systems' own words.

Sources: XDG Base Directory Specification 0.8, "$XDG_CACHE_HOME ... a default equal to
$HOME/.cache should be used"; Apple, File System Programming Guide, "Library/Caches"; Microsoft,
KNOWNFOLDERID, FOLDERID_LocalAppData ("%LOCALAPPDATA% (%USERPROFILE%\\AppData\\Local)").
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from evenfall.system.cache import cache_folder, keep, note_use

HOME = Path("/home/somebody")


@pytest.mark.parametrize(
    ("platform", "variable", "without", "with_variable"),
    [
        ("linux", "XDG_CACHE_HOME", HOME / ".cache", True),
        ("darwin", "XDG_CACHE_HOME", HOME / "Library" / "Caches", False),
        ("win32", "LOCALAPPDATA", HOME / "AppData" / "Local", True),
    ],
)
def test_the_cache_lies_where_the_system_wants_caches(
    monkeypatch: pytest.MonkeyPatch,
    platform: str,
    variable: str,
    without: Path,
    with_variable: bool,
) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setattr(Path, "home", lambda: HOME)
    monkeypatch.delenv("EVENFALL_CACHE", raising=False)
    monkeypatch.delenv(variable, raising=False)
    assert cache_folder() == without / "evenfall"
    monkeypatch.setenv(variable, "")
    assert cache_folder() == without / "evenfall"
    monkeypatch.setenv(variable, "/elsewhere")
    expected = Path("/elsewhere") if with_variable else without
    assert cache_folder() == expected / "evenfall"


@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
def test_a_person_can_say_where_it_lies(monkeypatch: pytest.MonkeyPatch, platform: str) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setenv("EVENFALL_CACHE", "/fast/disk")
    assert cache_folder() == Path("/fast/disk")


def test_without_a_home_nothing_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """A container's user may have none; `Path.home` then raises RuntimeError."""

    def no_home() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(Path, "home", no_home)
    for variable in ("EVENFALL_CACHE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(variable, raising=False)
    with pytest.raises(OSError):  # noqa: PT011 -- which one depends on the system
        cache_folder().mkdir(parents=True)


def test_what_is_kept_is_whole_under_its_name(tmp_path: Path) -> None:
    path = tmp_path / "drafts" / "sun"
    keep(path, b"facts\n", memoryview(b"pixels"))
    assert path.read_bytes() == b"facts\npixels"
    keep(path, b"others")
    assert path.read_bytes() == b"others"
    assert list(path.parent.iterdir()) == [path]


def test_the_files_unused_for_longest_go_first(tmp_path: Path) -> None:
    for second, name in enumerate(("sun", "sky", "lamp")):
        keep(tmp_path / name, b"x" * 40)
        os.utime(tmp_path / name, (second, second))
    note_use(tmp_path / "sun")
    keep(tmp_path / "cove", b"x" * 40, limit_bytes=90)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["cove", "sun"]


def test_a_folder_that_cannot_be_written_is_no_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_bytes(b"")
    keep(tmp_path / "file" / "sun", b"pixels")

    def full(path: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    keep(tmp_path / "sun", b"pixels")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]
    note_use(tmp_path / "nothing")
