"""What a run notes of its inputs is only what the next one can rely on."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import cast

from evenfall.record.earlier import files_seen_from, made_of
from evenfall.record.hashes import Hashes
from evenfall.system.opened import Opened, Stamp

FOLDER = Path("/house/pictures")
LONG_AGO_NS = 1_000_000_001


@dataclass
class Known:
    """Stands for hashes that were worked out; of files without one, nothing can be said."""

    by_name: dict[str, str]

    def of(self, opened: Opened) -> str | None:
        return self.by_name.get(opened.path.name)


def hashes(**by_name: str) -> Hashes:
    return cast(Hashes, Known({f"{name}.exr": sha256 for name, sha256 in by_name.items()}))


def opened(name: str, modified_ns: int = LONG_AGO_NS) -> Opened:
    return Opened(Path(f"/house/passes/{name}.exr"), Stamp(1, 2, 3, modified_ns, modified_ns))


def test_a_file_that_changed_before_it_could_be_hashed_makes_a_picture_of_nothing() -> None:
    both = [opened("sun"), opened("sky")]
    known = made_of("facts", both, hashes(sun="a", sky="b"), FOLDER)
    assert known is not None
    assert dict(known.inputs) == {"../passes/sun.exr": "a", "../passes/sky.exr": "b"}
    assert made_of("facts", both, hashes(sun="a"), FOLDER) is None


def test_a_file_that_was_written_a_moment_ago_is_hashed_again_by_the_next_run() -> None:
    """Its time would not tell of another change within the same step of the disk's clock."""
    files = [opened("sun"), opened("sky", modified_ns=time.time_ns())]
    noted = files_seen_from(FOLDER, files, hashes(sun="a", sky="b"))
    assert list(noted) == ["../passes/sun.exr"]
    one = noted["../passes/sun.exr"]
    assert (one.sha256, one.bytes, one.modified_ns) == ("a", 3, LONG_AGO_NS)
