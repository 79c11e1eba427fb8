"""Going back to a round: its recipe becomes the recipe, and nothing that stood is lost."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from evenfall.compare.recipes import RecipeDifferences, recipe_differences
from evenfall.errors import Fault, RecipeError, UsageError
from evenfall.recipe.reading import read_text
from evenfall.recipe.recipe import load_text
from evenfall.recipe.saving import replace_text
from evenfall.record.rounds import KeptRound, find_round, read_rounds, rounds_folder
from evenfall.rounds.keeping import keep_text

__all__ = ["Returned", "return_to"]


@dataclass(frozen=True)
class Returned:
    """A return to a round.

    Parameters
    ----------
    kept : KeptRound
        The round that was returned to.
    stood : KeptRound or None
        The round that what stood was kept as, if it was not kept yet.
    differences : RecipeDifferences or None
        What changed by it; None where what stood was no sound recipe.
    """

    kept: KeptRound
    stood: KeptRound | None
    differences: RecipeDifferences | None


def return_to(path: Path, number: int) -> Returned:
    """Make the recipe of a round the recipe again.

    Parameters
    ----------
    path : Path
        The recipe.
    number : int
        The round.

    Raises
    ------
    UsageError
        When there is no such round, it is not whole, it holds what stands already, or the recipe
        was changed meanwhile.
    OutputError
        When what stood cannot be kept, or the recipe cannot be written.
    """
    folder = rounds_folder(path)
    kept = find_round(folder, number)
    text, stands = kept.recipe_text(), read_text(path)
    if text == stands:
        found = f"is the recipe of round {number} already"
        raise UsageError(Fault(str(path), "", found))
    is_kept = any(
        not other.trouble and other.recipe_text() == stands for other in read_rounds(folder)
    )
    stood = None if is_kept else keep_text(path, stands, f"before the return to round {number}")
    replace_text(path, stands, text)
    return Returned(kept, stood, _differences(path, stands, text))


def _differences(path: Path, before: str, after: str) -> RecipeDifferences | None:
    try:
        one, other = (load_text(text, path, check_files=False) for text in (before, after))
    except RecipeError:
        return None
    return recipe_differences(one, other)
