"""A hash that was noted holds for the same size and the same times alone; digests by hashlib."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

from evenfall.record.hashes import Hashes
from evenfall.record.values import InputReport
from evenfall.system.opened import Opened, Stamp

NOTED = "0" * 64
"""Stands for what an earlier run noted, to be told from what is read."""


def sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "tree.png"
    path.write_bytes(b"a tree")
    return path


def noted(path: Path, **other: int) -> dict[Path, InputReport]:
    status = path.stat()
    said = {
        "bytes": status.st_size,
        "modified_ns": status.st_mtime_ns,
        "changed_ns": status.st_ctime_ns,
    }
    return {path: InputReport(sha256=NOTED, **(said | other))}


def test_what_has_not_changed_is_not_read(path: Path) -> None:
    with Hashes(noted(path), 1) as hashes:
        assert hashes.now(path) == NOTED


@pytest.mark.parametrize("figure", ["bytes", "modified_ns", "changed_ns"])
def test_each_figure_tells_of_a_change(path: Path, figure: str) -> None:
    with Hashes(noted(path, **{figure: 1}), 1) as hashes:
        assert hashes.now(path) == sha256(b"a tree")


def test_what_is_written_after_it_was_hashed_is_hashed_again(path: Path) -> None:
    with Hashes({}, 1) as hashes:
        assert hashes.now(path) == sha256(b"a tree")
        path.write_bytes(b"another tree")
        assert hashes.now(path) == sha256(b"another tree")


def test_of_what_was_opened_and_is_another_file_now_nothing_is_said(path: Path) -> None:
    then = Stamp.of(path.stat())
    with Hashes({}, 1) as hashes:
        assert hashes.of(Opened(path, then)) == sha256(b"a tree")
        assert hashes.of(Opened(path, replace(then, inode=then.inode + 1))) is None
