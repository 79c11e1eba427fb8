"""Handing a mood's balance back to the scene, and writing it down."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from evenfall.errors import UsageError
from evenfall.handback.lamps import Handback
from evenfall.handback.writing import as_csv, as_json, as_text
from evenfall.recipe import Recipe
from evenfall.recipe.words.suggesting import joined
from evenfall.system.arguments import given_path
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import holds, refuse_existing

__all__ = ["HANDBACK_ENDINGS", "handback_text", "write_handbacks"]

HANDBACK_ENDINGS = (".txt", ".csv", ".json", ".usda")


def handback_text(handback: Handback, recipe: Recipe, kind: str) -> str:
    """Write a handback as text, CSV, JSON or as a layer over the scene.

    Parameters
    ----------
    handback : Handback
        From `View.handback`.
    recipe : Recipe
        Names the scene, for a layer.
    kind : str
        Ending of the file it is for: ".txt", ".csv", ".json" or ".usda".

    Raises
    ------
    UsageError
        When the ending is another, or the library for layers is missing.
    RecipeError
        When there is no such scene, or no such light in it.
    """
    if kind == ".txt":
        return as_text(handback) + "\n"
    if kind == ".csv":
        return as_csv(handback)
    if kind == ".json":
        return as_json(handback) + "\n"
    if kind == ".usda":
        from evenfall.handback.stage import as_layer

        return as_layer(handback, recipe)
    raise UsageError(f"a handback is written as {joined(HANDBACK_ENDINGS)}, found {kind!r}")


def write_handbacks(
    handback: Handback, recipe: Recipe, paths: Sequence[str | Path], *, overwrite: bool = False
) -> list[Path]:
    """Write a handback into files, whose endings say how; see `handback_text`.

    All of them are worked out before the first is written. A file that says the same already is
    left as it is, so that what was stopped between two of them can be begun again.

    Raises
    ------
    OutputError
        When another file exists and may not be replaced, or one cannot be written.
    """
    files = [given_path(path, "a handback") for path in paths]
    data = {path: handback_text(handback, recipe, path.suffix.lower()).encode() for path in files}
    missing = [path for path in data if not holds(path, data[path])]
    refuse_existing(missing, allowed=overwrite)
    for path in missing:
        write_atomically(path, data[path], overwrite=overwrite)
    return files
