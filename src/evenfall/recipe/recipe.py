"""The recipe as read, checked and resolved: what the rest of the program works from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from evenfall.errors import Fault, RecipeError
from evenfall.recipe.changes import apply_changes, parse_change
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import dotted
from evenfall.recipe.reading import parse_toml, read_text
from evenfall.recipe.resolve import ResolvedMood, members, resolve_moods

__all__ = ["Recipe", "load"]


@dataclass(frozen=True)
class Recipe:
    """A sound recipe.

    Parameters
    ----------
    path : Path
        The recipe file.
    text : str
        The file as it was read, without one-off changes.
    model : RecipeModel
        What it says, one-off changes included.
    moods : mapping of str to ResolvedMood
        Its moods in order, with inheritance applied.
    passes_folder : Path
        Where the passes lie; absolute.
    """

    path: Path
    text: str
    model: RecipeModel
    moods: Mapping[str, ResolvedMood]
    passes_folder: Path

    def beside(self, relative: str) -> Path:
        """Path of a file that the recipe names relative to itself."""
        return self.path.parent / relative

    def members(self, name: str) -> tuple[str, ...]:
        """Lights of a light's or group's name; KeyError when there is none."""
        return members(self.model, name)


def load(
    path: str | Path,
    *,
    changes: Sequence[str] = (),
    passes: str | Path | None = None,
    check_files: bool = True,
) -> Recipe:
    """Read a recipe and check all of it.

    Parameters
    ----------
    path : str or Path
        The recipe file.
    changes : sequence of str
        One-off changes, 'PLACE=VALUE': ``moods.dusk.lights.sun.stops=-1``.
    passes : str or Path or None
        Folder of the passes instead of the recipe's own.
    check_files : bool
        Whether files that the recipe names must exist.

    Raises
    ------
    RecipeError
        With every fault found.
    """
    path = Path(path)
    text = read_text(path)
    tree = parse_toml(text, str(path))
    apply_changes(tree, [parse_change(change) for change in changes])
    try:
        model = RecipeModel.model_validate(_frozen(tree))
    except ValidationError as error:
        raise RecipeError(
            Fault(str(path), dotted(tuple(e["loc"])), e["msg"]) for e in error.errors()
        ) from None
    folder = Path(passes) if passes is not None else path.parent / model.passes.folder
    return Recipe(path, text, model, resolve_moods(model), folder.absolute())


def _frozen(value: object) -> object:
    """Turn lists into tuples, which the model's strict fields take."""
    if isinstance(value, dict):
        return {key: _frozen(item) for key, item in value.items()}
    if isinstance(value, list):
        return tuple(_frozen(item) for item in value)
    return value
