"""Where the cache lies, by the systems' own words.

Sources: XDG Base Directory Specification 0.8, "$XDG_CACHE_HOME ... a default equal to
$HOME/.cache should be used"; Apple, File System Programming Guide, "Library/Caches"; Microsoft,
KNOWNFOLDERID, FOLDERID_LocalAppData ("%LOCALAPPDATA% (%USERPROFILE%\\AppData\\Local)").
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from evenfall.passes.caching import cache_folder

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
