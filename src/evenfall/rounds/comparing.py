"""Two states of a view compared, however they are named: recipes, rounds, pictures.

Two pictures are compared without a recipe, which takes longer to import than they take to compare.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.compare.pictures import COMPARED_WIDTH, PictureDifference, compare_pictures
from evenfall.compare.reading import is_picture
from evenfall.errors import Fault, UsageError

if TYPE_CHECKING:
    from evenfall.compare.recipes import RecipeDifferences
    from evenfall.deliver.provenance import Provenance
    from evenfall.recipe import Recipe

__all__ = ["Compared", "Side", "compare_states", "side_of"]

NOW = "now"


@dataclass(frozen=True)
class Side:
    """One of two states that are compared.

    Parameters
    ----------
    name : str
        What people call it: a file, or "round 2".
    recipe : Recipe or None
        Its recipe, if it is known.
    picture : Path or None
        The picture that it is.
    pictures : mapping of str to Path
        Pictures of its moods that are kept with it.
    """

    name: str
    recipe: Recipe | None = None
    picture: Path | None = None
    pictures: Mapping[str, Path] = field(default_factory=dict)


@dataclass(frozen=True)
class Compared:
    """What differs.

    Parameters
    ----------
    before, after : Side
        The two states.
    recipes : RecipeDifferences or None
        In words; None where two pictures were compared.
    pictures : mapping of str to PictureDifference
        In figures: by mood, or under an empty name for two pictures.
    """

    before: Side
    after: Side
    recipes: RecipeDifferences | None
    pictures: Mapping[str, PictureDifference]

    @property
    def is_equal(self) -> bool:
        """Whether nothing differs."""
        if self.recipes is not None:
            return not self.recipes.any
        return all(found.is_equal for found in self.pictures.values())


def side_of(said: str, recipe: Path | None = None) -> Side:
    """Find what a person means: a number is a round, "now" the recipe, anything else a file.

    Parameters
    ----------
    said : str
        The number of a round, "now", or the path of a recipe or picture.
    recipe : Path, optional
        Whose rounds; those in the folder `rounds` from here otherwise.

    Raises
    ------
    UsageError
        When there is no such round or file.
    RecipeError
        When a recipe is not sound.
    """
    if said.isdecimal():
        return _round(int(said), recipe)
    if said == NOW and not Path(said).exists():
        from evenfall.recipe import load

        path = recipe if recipe is not None else _recipe_of_rounds()
        return Side(NOW, load(path, check_files=False))
    path = Path(said)
    if not path.exists():
        hint = 'name a recipe, a picture, a round by its number, or "now"'
        raise UsageError(Fault(said, "", "there is no such file", "", hint))
    if is_picture(path):
        return Side(said, picture=path)
    from evenfall.recipe import load

    return Side(said, load(path, check_files=False))


def compare_states(
    before: Side, after: Side, *, pictures: bool = False, width: int | None = COMPARED_WIDTH
) -> Compared:
    """Compare two states: pictures by their pixels, anything else by its recipe.

    Parameters
    ----------
    before, after : Side
        A picture beside a recipe counts as the recipe that it carries.
    pictures : bool
        Whether the pictures that both have of a mood are compared as well.
    width : int or None
        Width at which pictures are compared, where they are wider.

    Raises
    ------
    UsageError
        When a picture that is compared with a recipe carries none.
    PixelSourceError
        When a picture cannot be read.
    """
    if before.picture is not None and after.picture is not None:
        found = compare_pictures(before.picture, after.picture, width=width)
        return Compared(before, after, None, {"": found})
    from evenfall.compare.recipes import recipe_differences

    one, other = _recipe(before), _recipe(after)
    both = [mood for mood in after.pictures if mood in before.pictures] if pictures else []
    figures = {
        mood: compare_pictures(before.pictures[mood], after.pictures[mood], width=width)
        for mood in both
    }
    words = recipe_differences(one, other)
    carried = [_carried(side) for side in (before, after) if side.picture is not None]
    for moods in carried:
        words = _only(words, moods)
    return Compared(before, after, words, figures)


def _carried(side: Side) -> list[str]:
    """Moods that a picture's recipe speaks of for their own sake: its own, or all of a sheet."""
    record = _record(side)
    return [record.mood] if record.mood else list(_recipe(side).moods)


def _only(found: RecipeDifferences, moods: Collection[str]) -> RecipeDifferences:
    """Leave out what a picture of these moods says nothing about."""
    from evenfall.compare.recipes import RecipeDifferences

    shared = tuple(one for one in found.shared if one.subject.startswith(("light", "passes")))
    kept = {mood: some for mood, some in found.moods.items() if mood in moods}
    missing = tuple(mood for mood in (*found.added, *found.removed) if mood in moods)
    return RecipeDifferences((), missing, kept, shared)


def _round(number: int, recipe: Path | None) -> Side:
    from evenfall.record.rounds import find_round, rounds_folder

    path = recipe if recipe is not None else _recipe_of_rounds()
    kept = find_round(rounds_folder(path), number)
    noted = kept.record.pictures if kept.record is not None else ()
    return Side(
        f"round {number}",
        kept.load(path, check_files=False),
        pictures={picture.mood: kept.folder / picture.file for picture in noted},
    )


def _recipe_of_rounds() -> Path:
    """Give the recipe that the rounds lying here are of."""
    from evenfall.record.rounds import read_rounds, rounds_here

    rounds = [kept for kept in read_rounds(rounds_here()) if kept.record is not None]
    if not rounds or rounds[-1].record is None:
        hint = "name the recipe: --recipe view.toml"
        raise UsageError(Fault("rounds", "", "there is no such folder with rounds here", "", hint))
    return Path(rounds[-1].record.recipe)


def _recipe(side: Side) -> Recipe:
    if side.recipe is not None:
        return side.recipe
    from evenfall.recipe.recipe import load_text
    from evenfall.record.read_record import pinned_exposure

    record = _record(side)
    path = Path(side.name).with_name(record.recipe)
    changes, _ = pinned_exposure(record)  # nobody asked for what is pinned
    return load_text(record.recipe_text, path, changes=changes, check_files=False)


def _record(side: Side) -> Provenance:
    from evenfall.record.read_record import read_provenance

    assert side.picture is not None  # a side is a picture, or has a recipe
    record = read_provenance(side.picture)
    if record is None or record.views:
        hint = "compare it with another picture"
        found = "carries no recipe that could be compared"
        raise UsageError(Fault(str(side.picture), "", found, "", hint))
    return record
