"""The reference of the recipe, written from the model itself, so that it cannot drift.

``python -m evenfall.recipe.docs_page docs`` writes ``docs/recipe.md`` and
``docs/recipe.schema.json`` anew.
"""

from __future__ import annotations

import inspect
import json
import re
import sys
from pathlib import Path
from typing import Any

from pydantic.fields import FieldInfo

from evenfall.recipe.base import Part
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.schema import recipe_schema
from evenfall.recipe.toml_values import toml_text
from evenfall.recipe.words.describing import Slot, parts_at

__all__ = ["recipe_reference", "schema_text", "write_docs"]

_TOP = "the recipe itself"


def recipe_reference() -> str:
    """Return the reference as Markdown: an introduction, an example, and every table.

    Examples
    --------
    >>> recipe_reference().splitlines()[0]
    '# The recipe'
    """
    prose = Path(__file__).with_name("reference_intro.md")
    sections = _sections()
    anchors = {part: _anchor(_title(part, places[0])) for part, places in sections.items()}
    tables = [_section(part, places, anchors) for part, places in sections.items()]
    return "\n\n".join([prose.read_text(encoding="utf-8").strip(), *tables]) + "\n"


def schema_text() -> str:
    """Return the JSON Schema as it stands in the documentation."""
    return json.dumps(recipe_schema(), indent=2, ensure_ascii=False) + "\n"


def _sections() -> dict[type[Part], list[str]]:
    """Every class of table, with the places where it may stand, in reading order."""
    sections: dict[type[Part], list[str]] = {}

    def visit(part: type[Part], place: str) -> None:
        known = part in sections
        sections.setdefault(part, []).append(place)
        if known:
            return
        for key in part.model_fields:
            for suffix, steps in (("", (key,)), (".NAME", (key, "NAME")), ("[n]", (key, 0))):
                for inner in parts_at(steps, part):
                    above = "" if place == _TOP else f"{place}."
                    visit(inner, f"{above}{key}{suffix}")

    visit(RecipeModel, _TOP)
    return sections


def _section(part: type[Part], places: list[str], anchors: dict[type[Part], str]) -> str:
    title = _title(part, places[0])
    lines = [f"### {title}", "", _prose(part)]
    if len(places) > 1:
        lines += ["", "Also at " + ", ".join(f"`{place}`" for place in places[1:]) + "."]
    lines += ["", "| key | takes | default | meaning |", "|---|---|---|---|"]
    for key, field in part.model_fields.items():
        cells = [f"`{key}`", _takes(part, key, field, anchors), _default(field), _meaning(field)]
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines)


def _title(part: type[Part], place: str) -> str:
    if place == _TOP:
        return "The top of the recipe"
    curve = part.model_fields.get("curve")
    return f"`{place}`" + (f' with curve = "{curve.default}"' if curve else "")


def _prose(part: type[Part]) -> str:
    return " ".join(inspect.cleandoc(part.__doc__ or "").split())


def _takes(part: type[Part], key: str, field: FieldInfo, anchors: dict[type[Part], str]) -> str:
    said = Slot(field.annotation, tuple(field.metadata), field).takes
    inner = [
        anchors[kind]
        for steps in ((key,), (key, "NAME"), (key, 0))
        for kind in parts_at(steps, part)
    ]
    if len(set(inner)) == 1:
        return re.sub(r"\btables?\b", lambda word: f"[{word[0]}](#{inner[0]})", said, count=1)
    return said


def _anchor(title: str) -> str:
    return re.sub(r"[^\w\- ]", "", title).lower().replace(" ", "-")


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "required"
    default: Any = field.get_default(call_default_factory=True, validated_data={})
    if default is None or isinstance(default, Part) or default in ((), {}):
        return ""
    if isinstance(default, tuple) and isinstance(default[0], Part):
        return "one"
    return f"`{toml_text(default)}`"


def _meaning(field: FieldInfo) -> str:
    return " ".join((field.description or "").split())


def write_docs(folder: Path) -> list[Path]:
    """Write reference and schema into a folder; return the files."""
    written = {"recipe.md": recipe_reference(), "recipe.schema.json": schema_text()}
    for name, text in written.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return [folder / name for name in written]


if __name__ == "__main__":
    for path in write_docs(Path(sys.argv[1] if len(sys.argv) > 1 else "docs")):
        print(path)
