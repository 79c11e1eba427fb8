"""Reading comments that came from outside: files of any make, from anybody."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenfall.comments.model import Box, Comment, picture_of_source
from evenfall.errors import Fault, UsageError

__all__ = ["MOST_COMMENTS", "ReadComments", "read_annotations", "read_comments"]

_LARGEST_BYTES = 4_000_000
_LONGEST_TEXT = 4_000
_LONGEST_NAME = 200
_LONGEST_SOURCE = 1_000
MOST_COMMENTS = 1_000
_KEPT = "\n\t\u200c\u200d"  # joiners of letters and emoji are among what is written
_ALLOWED = "a comments file saved by a review page"


@dataclass(frozen=True)
class ReadComments:
    """Comments of a file, and what was left out of it.

    Parameters
    ----------
    comments : tuple of Comment
        In the file's order, not yet numbered.
    notes : tuple of str
        What was left out, and why.
    """

    comments: tuple[Comment, ...]
    notes: tuple[str, ...] = ()


def read_comments(
    path: Path, view: str, moods: Collection[str], *, others: Collection[str] = ()
) -> ReadComments:
    """Read a file of comments.

    Parameters
    ----------
    path : Path
        The file.
    view : str
        File stem of the recipe whose view it should speak of.
    moods : collection of str
        Moods that there are.
    others : collection of str
        Further views that it may speak of; nothing is told of their comments.

    Raises
    ------
    UsageError
        When it is no such file, or speaks of none of these views.
    """
    values = load_json(path)
    items = values.get("items") if isinstance(values, dict) else None
    if not isinstance(items, list):
        raise _refused(path, "holds no annotations")
    of_others = {number for number, item in enumerate(items) if _view_of(item) in others}
    found = read_annotations(items[:MOST_COMMENTS], view, moods, left_out=of_others)
    notes = list(found.notes)
    if len(items) > MOST_COMMENTS:
        notes.append(f"{len(items) - MOST_COMMENTS} comments beyond {MOST_COMMENTS} were left out")
    if items and not found.comments and not of_others:
        raise _refused(path, f"holds nothing for {view}: {notes[0]}", "comments on this view")
    return ReadComments(found.comments, tuple(notes))


def load_json(path: Path) -> Any:
    """Parse a JSON file that may be anything.

    Raises
    ------
    UsageError
        When it cannot be read, is too large, or is none.
    """
    try:
        if not path.is_file():
            raise _refused(path, "is no file")
        size = path.stat().st_size
        if size > _LARGEST_BYTES:
            raise _refused(path, f"has {size:,} bytes", "at most 4 MB")
        return json.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        raise _refused(path, f"cannot be read: {error.strerror or error}") from None
    except (ValueError, RecursionError) as error:
        raise _refused(path, f"is no JSON: {error}") from None


def read_annotations(
    items: list[Any], view: str, moods: Collection[str], *, left_out: Collection[int] = ()
) -> ReadComments:
    """Read annotations; what is not sound, or of another view, is left out and told.

    Parameters
    ----------
    items : list
        Annotations, as they were parsed.
    view : str
        File stem of the recipe whose view they should speak of.
    moods : collection of str
        Moods that there are.
    left_out : collection of int
        Places of those, from 0, that are left out without a word.

    Examples
    --------
    >>> one = Comment("urn:a", "dusk", None, Box(1, 2, 1, 1), "Warmer.").to_annotation("living")
    >>> read_annotations([one], "living", ["dusk"]).comments[0].text
    'Warmer.'
    >>> read_annotations([one], "kitchen", ["dusk"]).notes
    ('comment 1: is of the view living, not of kitchen',)
    """
    comments, notes = [], []
    for number, item in enumerate(items, 1):
        if number - 1 in left_out:
            continue
        try:
            comments.append(_comment(item, view, moods))
        except ValueError as error:
            notes.append(f"comment {number}: {error}")
    return ReadComments(tuple(comments), tuple(notes))


def _view_of(item: Any) -> str | None:
    """Name the view that an annotation speaks of, if it is sound so far."""
    try:
        return picture_of_source(_text(_part(item, "target"), "source", _LONGEST_SOURCE))[0]
    except ValueError:
        return None


def _comment(item: Any, view: str, moods: Collection[str]) -> Comment:
    target, body = _part(item, "target"), _part(item, "body")
    of_view, mood, round_number = picture_of_source(_text(target, "source", _LONGEST_SOURCE))
    if of_view != view:
        raise ValueError(f"is of the view {of_view[:80]}, not of {view}")
    if mood not in moods:
        raise ValueError(f"is of the mood {mood[:80]}, which is not in the recipe")
    selector = _part(target, "selector")
    text = _text(body, "value", _LONGEST_TEXT).strip()
    if not text:
        raise ValueError("says nothing")
    if not _text(item, "id", _LONGEST_NAME).strip():
        raise ValueError("has no id")
    creator = item.get("creator")
    author = _text(creator, "name", _LONGEST_NAME) if isinstance(creator, dict) else ""
    return Comment(
        id=_text(item, "id", _LONGEST_NAME),
        mood=mood,
        round_number=round_number,
        box=Box.of_fragment(_text(selector, "value", _LONGEST_NAME)),
        text=text,
        author=" ".join(author.split()),
        created=_text(item, "created", _LONGEST_NAME) if "created" in item else "",
    )


def _part(values: Any, key: str) -> dict[str, Any]:
    found = values.get(key) if isinstance(values, dict) else None
    if not isinstance(found, dict):
        raise ValueError(f"has no {key}")
    return found


def _text(values: dict[str, Any], key: str, longest: int) -> str:
    text = values.get(key)
    if not isinstance(text, str):
        raise ValueError(f"has no {key}")
    if len(text) > longest:
        raise ValueError(f"has a {key} of {len(text):,} letters; at most {longest:,}")
    return "".join(sign for sign in text if sign in _KEPT or sign.isprintable())


def _refused(path: Path, found: str, allowed: str = _ALLOWED) -> UsageError:
    return UsageError([Fault(str(path), "", found, allowed)])
