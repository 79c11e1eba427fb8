"""Going back to a round: its recipe becomes the recipe, and nothing that stood is lost."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from evenfall.compare.recipes import RecipeDifferences, recipe_differences
from evenfall.errors import Fault, RecipeError, UsageError
from evenfall.recipe.inheriting import gather
from evenfall.recipe.reading import parse_toml, read_text
from evenfall.recipe.recipe import load_text
from evenfall.recipe.saving import replace_text, save
from evenfall.recipe.words.suggesting import joined
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
    others : tuple of str
        Files that it builds on which are others now than they were in that round.
    """

    kept: KeptRound
    stood: KeptRound | None
    differences: RecipeDifferences | None
    others: tuple[str, ...] = ()


def return_to(path: Path, number: int, *, with_bases: bool = False) -> Returned:
    """Make the recipe of a round the recipe again.

    Parameters
    ----------
    path : Path
        The recipe.
    number : int
        The round.
    with_bases : bool
        Whether files that it builds on become what they were then, too. Other views that build on
        them change with them.

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
    before, then = _base_texts(path, stands), kept.base_texts()
    others = {name: _now(path, name) for name in then if _now(path, name) != then[name]}
    if text == stands and not (others and with_bases):
        found = f"is the recipe of round {number} already"
        hint = f"{joined(others, 'and')} changed since; --bases returns it, too" if others else ""
        raise UsageError(Fault(str(path), "", found, "", hint))
    is_kept = any(other.holds(stands, before) for other in read_rounds(folder))
    stood = None if is_kept else keep_text(path, stands, f"before the return to round {number}")
    for name, now in others.items() if with_bases else ():
        _replace(path.parent / name, now, then[name])
    if text != stands:
        replace_text(path, stands, text)
    after = then if with_bases else _base_texts(path, text)
    differences = _differences(path, (stands, before), (text, after))
    return Returned(kept, stood, differences, () if with_bases else tuple(others))


def _base_texts(path: Path, text: str) -> dict[str, str]:
    """Texts of what a recipe builds on as they stand; none where that cannot be told."""
    try:
        gathered = gather(parse_toml(text, str(path)), text, path)
    except RecipeError:
        return {}
    return {base.name: base.text for base in gathered.bases}


def _now(path: Path, name: str) -> str | None:
    try:
        return read_text(path.parent / name)
    except RecipeError:
        return None


def _replace(file: Path, now: str | None, then: str) -> None:
    if now is None:
        save(file, then)
    else:
        replace_text(file, now, then)


def _differences(
    path: Path, before: tuple[str, dict[str, str]], after: tuple[str, dict[str, str]]
) -> RecipeDifferences | None:
    try:
        one, other = (
            load_text(text, path, check_files=False, bases=bases) for text, bases in (before, after)
        )
    except RecipeError:
        return None
    return recipe_differences(one, other)
