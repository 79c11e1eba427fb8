"""A file is the same while its stamp is; where that cannot be known it is not taken for granted."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import IO, Any

import pytest

from evenfall.system import opened
from evenfall.system.opened import Stamp, hashed

SECOND_NS = 10**9


def test_each_figure_of_a_status_tells_files_apart(tmp_path: Path) -> None:
    """Two files of one size and one time of writing, as a copy that keeps times leaves them."""
    one, other = tmp_path / "one", tmp_path / "other"
    for path in (one, other):
        path.write_bytes(b"abc")
        os.utime(path, ns=(5 * SECOND_NS, 5 * SECOND_NS))
    status = one.stat()
    stamp = Stamp.of(status)
    assert (stamp.device, stamp.inode, stamp.size) == (status.st_dev, status.st_ino, 3)
    assert (stamp.modified_ns, stamp.changed_ns) == (5 * SECOND_NS, status.st_ctime_ns)
    assert stamp.inode != Stamp.of(other.stat()).inode


@pytest.mark.parametrize(
    ("modified_ns", "age_ns", "is_settled"),
    [
        (7, 60_000_000, True),  # clocks of a few milliseconds
        (7, 40_000_000, False),
        (0, 2_100_000_000, True),  # the times of FAT are even seconds
        (0, 1_900_000_000, False),
    ],
)
def test_times_of_whole_seconds_settle_after_two(
    modified_ns: int, age_ns: int, is_settled: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    written = 1_000 * SECOND_NS + modified_ns
    monkeypatch.setattr(opened.time, "time_ns", lambda: written + age_ns)
    assert Stamp(1, 2, 3, written, written).is_settled() == is_settled


def test_a_file_that_is_written_while_it_is_hashed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "warm.cube"
    path.write_bytes(b"abc")
    really = hashlib.file_digest

    def meanwhile(stream: IO[bytes], name: str) -> Any:
        digest = really(stream, name)  # type: ignore[arg-type]
        path.write_bytes(b"abcd")
        return digest

    monkeypatch.setattr(opened.hashlib, "file_digest", meanwhile)
    with pytest.raises(OSError, match="changed while it was read"):
        hashed(path)
