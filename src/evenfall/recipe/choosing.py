"""Choosing moods by name."""

from __future__ import annotations

from collections.abc import Collection

from evenfall.errors import Fault, UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.words.suggesting import did_you_mean
from evenfall.system.arguments import given_texts

__all__ = ["choose_moods", "choose_written_moods"]


def choose_moods(recipe: Recipe, moods: str | Collection[str]) -> tuple[str, ...]:
    """Moods by name in the recipe's order; all when none is named.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    moods : str or collection of str
        One name, or several.

    Raises
    ------
    UsageError
        When there is no mood of a name, with what was probably meant, or no names are given.
    """
    wanted = dict.fromkeys(given_texts(moods, "a mood's name"))
    faults = [_unknown(recipe, name) for name in wanted if name not in recipe.moods]
    if faults:
        raise UsageError(faults)
    return tuple(name for name in recipe.moods if not wanted or name in wanted)


def _unknown(recipe: Recipe, name: str) -> Fault:
    path, sequence = str(recipe.path), recipe.model.sequence
    if sequence is not None and name == sequence.name:
        hint = "'evenfall run' makes its frames where it is named alone; name moods here"
        return Fault(path, "moods", f"{name} is the sequence, and no mood", "", hint)
    return Fault(
        path,
        "moods",
        f'found no mood "{name}"',
        f"expected one of {', '.join(recipe.moods)}",
        did_you_mean(name, recipe.moods),
    )


def choose_written_moods(recipe: Recipe, moods: str | Collection[str]) -> tuple[str, ...]:
    """Moods by name, as `choose_moods` does, but only those that stand in the recipe.

    A frame of its sequence that is shown as a mood follows from others, and nothing can be written
    of it.

    Raises
    ------
    UsageError
        As `choose_moods`; and when a mood that is named is such a frame.
    """
    chosen = choose_moods(recipe, moods)
    frames = [name for name in chosen if recipe.moods[name].between is not None]
    if moods and frames:
        (name, *_) = frames
        between = recipe.moods[name].between
        keys = () if between is None else dict.fromkeys((between.first, between.second))
        raise UsageError(
            Fault(
                str(recipe.path),
                "sequence.frame",
                f"{name} is a frame of the sequence, which follows from {' and '.join(keys)}",
                hint="name one of these moods, or take the line out",
            )
        )
    return tuple(name for name in chosen if name not in frames)
