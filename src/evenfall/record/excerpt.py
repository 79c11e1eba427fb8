"""The part of a recipe that one picture follows from, for the record inside it.

Only that part is embedded, so that a picture keeps its bytes when another mood is edited.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Iterator
from functools import lru_cache
from typing import Any

from evenfall.recipe import Recipe
from evenfall.recipe.changes import parse_change
from evenfall.recipe.places import dotted

__all__ = ["excerpt", "mood_chain", "relevant_changes", "renumbered"]

_HEADER = re.compile(r"^\s*\[\[?\s*(?P<place>[^\]]+?)\s*\]\]?\s*(#.*)?$")
_PIECE = re.compile(r'\s*(?:"(?P<quoted>[^"]*)"|\'(?P<literal>[^\']*)\'|(?P<bare>[^.\s]+))\s*\.?')


def mood_chain(recipe: Recipe, mood: str) -> tuple[str, ...]:
    """Name a mood and the moods it builds on."""
    chain = [mood]
    while (base := recipe.model.moods[chain[-1]].based_on) is not None:
        chain.append(base)
    return tuple(chain)


def excerpt(recipe: Recipe, moods: Collection[str], deliverable: int | None, *, draft: bool) -> str:
    """Text of a recipe without other moods, other deliverables, the sheet and the draft.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    moods : collection of str
        Moods that stay.
    deliverable : int or None
        Number of the deliverable that stays; None drops them all.
    draft : bool
        Whether the draft's settings stay.

    Returns
    -------
    str
        TOML; the whole text where the recipe is laid out in a way that cannot be cut by tables.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> text = excerpt(example_recipe(), ["day"], None, draft=False)
    >>> "[moods.day]" in text, "[moods.dusk]" in text
    (True, False)
    """
    expected = _wanted(_parsed(recipe.text), moods, deliverable, draft=draft)
    kept: list[str] = []
    count = -1
    for place, lines in _blocks(recipe.text):
        if place[:1] == ("deliverables",):
            count += place == ("deliverables",)
            stays = count == deliverable
        elif place[:1] == ("moods",) and len(place) > 1:
            stays = place[1] in moods
        elif place[:1] == ("draft",):
            stays = draft
        else:
            stays = place[:1] != ("sheet",)
        if stays:
            kept += lines
    text = "".join(kept)
    try:
        same = tomllib.loads(text) == expected
    except tomllib.TOMLDecodeError:
        same = False
    return text if same else recipe.text


@lru_cache(maxsize=1)
def _parsed(text: str) -> dict[str, Any]:
    return tomllib.loads(text)


def _wanted(
    tree: dict[str, Any], moods: Collection[str], deliverable: int | None, *, draft: bool
) -> dict[str, Any]:
    wanted = {key: value for key, value in tree.items() if key not in ("sheet", "deliverables")}
    if not draft:
        wanted.pop("draft", None)
    if deliverable is not None:  # one-off changes can ask for more of them than the text holds
        wanted["deliverables"] = tree.get("deliverables", [])[deliverable : deliverable + 1]
        if not wanted["deliverables"]:
            del wanted["deliverables"]
    if "moods" in tree:
        wanted["moods"] = {name: part for name, part in tree["moods"].items() if name in moods}
    return wanted


def _blocks(text: str) -> Iterator[tuple[tuple[str, ...], list[str]]]:
    """Cut TOML at its table headers; comments right above a header belong to it."""
    place: tuple[str, ...] = ()
    lines: list[str] = []
    comments: list[str] = []
    for line in text.splitlines(keepends=True):
        header = _HEADER.match(line)
        if header is not None:
            yield place, lines
            place, lines, comments = _pieces(header["place"]), [*comments, line], []
        elif line.lstrip().startswith("#"):
            comments.append(line)
        else:
            lines += [*comments, line]
            comments = []
    yield place, lines + comments


def _pieces(place: str) -> tuple[str, ...]:
    return tuple(
        match["quoted"] or match["literal"] or match["bare"] or ""
        for match in _PIECE.finditer(place)
    )


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
        return deliverable is not None and (len(place) < 2 or place[1] == deliverable)
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
