"""What the documents tell a reader to write and to type, as it stands there."""

from __future__ import annotations

import re
from pathlib import Path
from textwrap import dedent

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDE = (ROOT / "docs" / "guide.md").read_text(encoding="utf-8")
LOOK = (ROOT / "docs" / "look.md").read_text(encoding="utf-8")


def chapter(number: int) -> str:
    """A chapter of the guide."""
    _, found, rest = GUIDE.partition(f"\n## {number}. ")
    assert found, number
    return rest.partition("\n## ")[0]


def blocks(text: str, kind: str = "") -> list[str]:
    """Fenced blocks of a kind, also those in lists."""
    found = re.findall(rf"^( *)```{kind}\n(.*?)^\1```$", text, flags=re.DOTALL | re.MULTILINE)
    return [dedent(block) for _, block in found]


def snippets(*numbers: int) -> list[str]:
    """Pieces of recipes in chapters of the guide, in their order."""
    return [block for number in numbers for block in blocks(chapter(number), "toml")]


def commands(text: str) -> list[str]:
    """Commands, without what is said of them behind two blanks."""
    lines = [line for block in blocks(text) for line in re.sub(r"\\\n *", "", block).splitlines()]
    typed = [line.partition("  ")[0] for line in lines]
    assert all(line.startswith("evenfall ") for line in typed), typed
    return typed
