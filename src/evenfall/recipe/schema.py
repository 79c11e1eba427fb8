"""The recipe as a JSON Schema, for completion and checking in editors."""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from evenfall.recipe.model import RecipeModel

__all__ = ["recipe_schema"]


class _RecipeSchema(GenerateJsonSchema):
    """JSON Schema without the generator's own titles."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


def recipe_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a recipe.

    It accepts every short form that a recipe accepts. Rules between keys, and names and files
    that have to exist, are beyond a schema: `evenfall check` knows them all.

    Examples
    --------
    >>> recipe_schema()["required"]
    ['format', 'lights', 'moods']
    """
    schema = RecipeModel.model_json_schema(schema_generator=_RecipeSchema, mode="validation")
    return {
        "$schema": GenerateJsonSchema.schema_dialect,
        "title": "evenfall recipe",
        **_without_class_titles(schema),
    }


def _without_class_titles(schema: Any) -> Any:
    if isinstance(schema, list):
        return [_without_class_titles(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    is_type = isinstance(schema.get("title"), str) and ("type" in schema or "enum" in schema)
    return {
        key: _without_class_titles(value)
        for key, value in schema.items()
        if not (key == "title" and is_type)
    }
