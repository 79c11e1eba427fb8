"""What the documents say of files is so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import evenfall

ROOT = Path(evenfall.__file__).parent
DOCUMENTS = Path(__file__).parents[1] / "docs"
PAGES = sorted((DOCUMENTS / "decisions").glob("*.md"))

NAMED = re.compile(r"`((?:[a-z_]+/)+[a-z_]*(?:\.py)?)`")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_decisions_name_files_that_exist(page: Path) -> None:
    named = NAMED.findall(page.read_text(encoding="utf-8"))
    assert [name for name in named if not any((top / name).exists() for top in PLACES)] == []


PLACES = (ROOT, ROOT.parent, DOCUMENTS.parent)


def test_the_pages_are_found() -> None:
    assert len(PAGES) > 10
