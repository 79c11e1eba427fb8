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
    >>> recipe_schema()["else"]["required"]  # unless it is based on another
    ['format', 'lights', 'moods']
    """
    schema = RecipeModel.model_json_schema(schema_generator=_RecipeSchema, mode="validation")
    return {
        "$schema": GenerateJsonSchema.schema_dialect,
        "title": "evenfall recipe",
        **_demanding_alone(_plain(schema)),
    }


def _demanding_alone(schema: dict[str, Any]) -> dict[str, Any]:
    """Demand what has to be said only of a recipe that does not build on another."""
    demanded = {"required": schema.pop("required")}
    of_lights = {"additionalProperties": {"required": schema["$defs"]["Light"].pop("required")}}
    return {
        **schema,
        "if": {"required": ["based_on"]},
        "then": {},
        "else": {**demanded, "properties": {"lights": of_lights}},
    }


def _plain(schema: Any) -> Any:
    """Leave out null, which TOML does not have, and titles that only repeat a class's name."""
    if isinstance(schema, list):
        return [_plain(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    plain = {
        key: _plain(value)
        for key, value in schema.items()
        if value is not None and not (key == "title" and isinstance(value, str))
    }
    if "anyOf" in plain:
        options = [option for option in plain.pop("anyOf") if option != {"type": "null"}]
        plain = {**(options[0] if len(options) == 1 else {"anyOf": options}), **plain}
    return plain
