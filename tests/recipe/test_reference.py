"""The reference and the schema in docs/ are what the model says today."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfall.recipe import LightSetting
from evenfall.recipe.base import Part
from evenfall.recipe.docs_page import recipe_reference, schema_text

DOCS = Path(__file__).parents[2] / "docs"
AGAIN = "run: python -m evenfall.recipe.docs_page docs"


@pytest.fixture(scope="module")
def reference() -> str:
    return recipe_reference()


def test_the_reference_is_up_to_date(reference: str) -> None:
    current = (DOCS / "recipe.md").read_text(encoding="utf-8")
    assert current == reference, f"docs/recipe.md is not what the model says; {AGAIN}"


def test_the_schema_is_up_to_date() -> None:
    current = (DOCS / "recipe.schema.json").read_text(encoding="utf-8")
    assert current == schema_text(), f"docs/recipe.schema.json is not what the model says; {AGAIN}"


def parts(base: type[Part] = Part) -> list[type[Part]]:
    found = [each for kind in base.__subclasses__() for each in (kind, *parts(kind))]
    return [each for each in found if each is not LightSetting]  # what moods come to, not written


@pytest.mark.parametrize("part", parts(), ids=lambda part: part.__name__)
def test_every_key_is_explained(part: type[Part], reference: str) -> None:
    for key, field in part.model_fields.items():
        assert field.description, f"{part.__name__}.{key} has no description"
        assert f"| `{key}` | " in reference


def test_links_lead_somewhere(reference: str) -> None:
    import re

    headings = re.findall(r"^#{2,3} (.+)$", reference, re.MULTILINE)
    anchors = {re.sub(r"[^\w\- ]", "", each).lower().replace(" ", "-") for each in headings}
    links = re.findall(r"\]\(#([^)]+)\)", reference)
    assert len(links) > 20
    assert set(links) <= anchors
