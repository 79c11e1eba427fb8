"""The part of a recipe that one picture follows from, for the record inside it.

Only that part is embedded, so that a picture keeps its bytes when another mood is edited; and only
what it says, so that a comment stays with who wrote it. A recipe may ask for its whole text, with
comments, or for no record at all.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Any

from evenfall.recipe import Recipe
from evenfall.recipe.changes import parse_change
from evenfall.recipe.places import dotted
from evenfall.recipe.sequence import Sequence
from evenfall.recipe.toml_values import toml_document

__all__ = ["excerpt", "relevant_changes", "renumbered", "speaks_of_sequence"]

_LEFT_OUT = ("deliverables", "silence", "based_on")


def excerpt(
    recipe: Recipe, moods: Collection[str], deliverable: int | None, *, draft: bool, sheet: bool
) -> str:
    """Text of a recipe without other moods, other deliverables, and comments.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    moods : collection of str
        Moods that stay.
    deliverable : int or None
        Number of the deliverable that stays; None drops them all.
    draft, sheet : bool
        Whether the settings of drafts and of the contact sheet stay.

    Returns
    -------
    str
        TOML, with what the recipe builds on; the whole text as it was written where the recipe asks
        for its comments.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> text = excerpt(example_recipe(), ["day"], None, draft=False, sheet=False)
    >>> "[moods.day]" in text, "[moods.dusk]" in text
    (True, False)
    """
    if recipe.model.record == "with comments":
        return _as_written(recipe)
    tree = recipe.gathered.tree
    wanted = {key: value for key, value in tree.items() if key not in _LEFT_OUT}
    if not draft:
        wanted.pop("draft", None)
    wanted.pop("sequence", None)
    if speaks_of_sequence(recipe, moods):
        assert recipe.model.sequence is not None
        wanted["sequence"] = _of_frame(recipe.model.sequence, moods)
    if not sheet:
        wanted.pop("sheet", None)
    if deliverable is not None:  # one-off changes can ask for more of them than the text holds
        found = tree.get("deliverables", [])[deliverable : deliverable + 1]
        named = [mood for mood in recipe.model.deliverables[deliverable].moods if mood in moods]
        wanted |= {"deliverables": [_of_moods(one, named) for one in found]} if found else {}
    if "moods" in tree:
        wanted["moods"] = {name: part for name, part in tree["moods"].items() if name in moods}
    return toml_document(wanted)


def _of_moods(deliverable: dict[str, Any], named: list[str]) -> dict[str, Any]:
    """Name only moods that stay; without any it is made of all that do."""
    said = {key: value for key, value in deliverable.items() if key != "moods"}
    return said | ({"moods": named} if named else {})


def _as_written(recipe: Recipe) -> str:
    """Text of a recipe; where it builds on others, all it says, and their texts as comments."""
    if not recipe.bases:
        return recipe.text
    said = {key: value for key, value in recipe.gathered.tree.items() if key != "based_on"}
    files = [(recipe.path.name, recipe.text), *((base.name, base.text) for base in recipe.bases)]
    written = [f"\n# {name}, as written:\n{_commented(text)}" for name, text in files]
    return "".join([toml_document(said), *written])


def _commented(text: str) -> str:
    return "".join(f"#| {line}".rstrip() + "\n" for line in text.splitlines())


def speaks_of_sequence(recipe: Recipe, moods: Collection[str]) -> bool:
    """Whether pictures of moods follow from the recipe's sequence."""
    sequence = recipe.model.sequence
    if sequence is None:
        return False
    on_its_way = any(light.is_on_its_way for light in recipe.model.lights.values())
    return sequence.frame is not None or sequence.name in moods or on_its_way


def _of_frame(sequence: Sequence, moods: Collection[str]) -> dict[str, Any]:
    """Say of a sequence what a frame follows from: the two keys around it; or all of it.

    The first key stays, too, for its time: a held exposure is measured in the first frame. The key
    of a mood that the frame shows nothing of names the one that it shows.
    """
    if sequence.frame is None and sequence.name in moods:
        return sequence.model_dump(exclude_unset=True)
    said = sequence.model_dump(exclude_unset=True, exclude={"frame", "keys"})
    frame, first = sequence.frame, sequence.numbers[0]
    at, shown = sequence.key_frames(), first if frame is None else frame
    place = sequence.place(shown)
    said["frames"] = f"{first}, {shown}"
    if sequence.name in moods:
        said["frames"] += f", {math.ceil(at[place.second])}"
        shown_keys = {place.first, place.second} if place.share else {place.first}
        keys = []
        for number in dict.fromkeys((0, place.first, place.second)):
            key = sequence.keys[number].model_copy(update={"frame": at[number]})
            mood = key.mood if number in shown_keys else sequence.keys[place.first].mood
            keys.append(key.model_dump(exclude_unset=True) | {"mood": mood})
    else:
        clock = sequence.clock_at(shown)
        keys = [{"mood": min(moods), "frame": shown} | ({"time": clock} if clock else {})]
    return {**said, "keys": keys}


def relevant_changes(
    changes: Collection[str],
    moods: Collection[str],
    deliverable: int | None = None,
    *,
    draft: bool = False,
) -> tuple[str, ...]:
    """One-off changes without those of other moods, other deliverables, the sheet and the draft.

    The parameters are those of `excerpt`.

    Examples
    --------
    >>> relevant_changes(["moods.day.camera.exposure_stops=1", "sheet.make=false"], ["dusk"])
    ()
    """
    return tuple(change for change in changes if _concerns(change, moods, deliverable, draft=draft))


def _concerns(change: str, moods: Collection[str], deliverable: int | None, *, draft: bool) -> bool:
    place = parse_change(change).place
    if place[0] == "moods":
        return len(place) < 2 or place[1] in moods
    if place[0] == "deliverables":
        is_it = deliverable is not None and (len(place) < 2 or place[1] == deliverable)
        return is_it and place[2:3] != ("moods",)  # which may have been left out
    return place[0] not in ("sheet", "silence") and (draft or place[0] != "draft")


def renumbered(changes: Collection[str]) -> tuple[str, ...]:
    """One-off changes of a deliverable that stands alone in the text they go with.

    Examples
    --------
    >>> renumbered(["deliverables[2].width=800", "look.tone=clip"])
    ('deliverables[0].width=800', 'look.tone=clip')
    """
    return tuple(_renumbered(change) for change in changes)


def _renumbered(change: str) -> str:
    place = parse_change(change).place
    if place[0] != "deliverables" or len(place) < 2:
        return change
    return f"{dotted((place[0], 0, *place[2:]))}={change.partition('=')[2]}"
