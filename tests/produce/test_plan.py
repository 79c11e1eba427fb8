"""What a plan says of files that were opened, as far as every one of them is known."""

from __future__ import annotations

import hashlib
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from evenfall.produce.plan import RunPlan
from evenfall.system.opened import Opened, Stamp

FILES = {Path(name): hashlib.sha256(name.encode()).hexdigest() for name in ("a.exr", "b.exr")}


def fingerprints(known: dict[Path, str | None], opened: tuple[Path, ...]) -> dict[str, str]:
    """Of a light in two files, of which these hashes are known and these files were opened."""
    plan: Any = SimpleNamespace(
        hashes=SimpleNamespace(of=lambda each: known.get(each.path)),
        source=SimpleNamespace(sources={"sun": [SimpleNamespace(path=path) for path in FILES]}),
    )
    stamp = Stamp(1, 2, 3, 4, 5)
    return RunPlan.fingerprints(plan, [Opened(path, stamp, light="sun") for path in opened])


def test_a_light_is_told_by_all_its_files_or_not_at_all() -> None:
    """A picture must not claim a pass of which a part was written anew while it was made."""
    both = tuple(FILES)
    assert set(fingerprints(dict(FILES), both)) == {"sun"}
    assert fingerprints({**FILES, both[1]: None}, both) == {}
    assert fingerprints(dict(FILES), both[:1]) == {}
    assert fingerprints({}, ()) == {}
