"""Recipes in the documents: whole ones load, pieces hold only keys and values that are known."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from evenfall.recipe import load
from evenfall.recipe.words.checking import check_tree

ROOT = Path(__file__).parents[2]
DOCUMENTS = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]


def pieces() -> list[tuple[str, str]]:
    found = []
    for document in DOCUMENTS:
        text = document.read_text(encoding="utf-8")
        for match in re.finditer(r"^```toml\n(.*?)^```", text, re.DOTALL | re.MULTILINE):
            line = text.count("\n", 0, match.start()) + 1
            found.append((f"{document.relative_to(ROOT).as_posix()}:{line}", match[1]))
    return found


PIECES = pieces()


def test_there_are_recipes_in_the_documents() -> None:
    assert len([text for _, text in PIECES if "format = 1" in text]) >= 2


@pytest.mark.parametrize(("where", "text"), PIECES, ids=[where for where, _ in PIECES])
def test_recipes_in_documents(tmp_path: Path, where: str, text: str) -> None:
    if re.search(r"^format = 1", text, re.MULTILINE):
        path = tmp_path / "recipe.toml"
        path.write_text(text, encoding="utf-8")
        load(path, check_files=False)
        return
    findings = check_tree(tomllib.loads(text)).findings
    if re.search(r"^based_on = ", text, re.MULTILINE):  # the shared file says the rest
        findings = [f for f in findings if f.found not in ('found "none"', "is missing")]
    told = [f for f in findings if f.place not in {("format",), ("lights",), ("moods",)}]
    assert not told, where
