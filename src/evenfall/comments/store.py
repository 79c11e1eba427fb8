"""The comments of a view in a file beside its recipe, for people and other programs to read."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from evenfall.comments.model import CONTEXT, Comments
from evenfall.comments.reading import MOST_COMMENTS, load_json, read_annotations
from evenfall.errors import Fault, OutputError, UsageError
from evenfall.recipe import Recipe
from evenfall.system.atomic import cannot_be_written, write_atomically
from evenfall.system.locks import Claimed, claim

__all__ = ["alone_with_comments", "comments_path", "load_comments", "save_comments"]


def comments_path(recipe: Recipe) -> Path:
    """Where the comments of a recipe's view are kept."""
    return recipe.path.with_name(f"{recipe.path.stem}_comments.json")


@contextmanager
def alone_with_comments(recipe: Recipe) -> Iterator[None]:
    """Let nobody else change the comments of a view meanwhile, so that none are lost.

    Raises
    ------
    OutputError
        When somebody else does, for longer than it takes, or nothing can be written there.
    """
    path, is_alone = comments_path(recipe), False
    try:
        with claim(path.parent, [path.name]):
            is_alone = True
            yield
    except Claimed as other:
        found = f"somebody else takes in comments: {other.by}"
        raise OutputError(Fault(str(path), "", found, "", "try again in a moment")) from None
    except OSError as error:
        if is_alone:
            raise
        raise OutputError(cannot_be_written(path, error)) from error


def load_comments(recipe: Recipe) -> Comments:
    """Load the comments of a view; none when there is no file.

    Raises
    ------
    UsageError
        When the file is damaged: it is left as it is.
    """
    view, path = recipe.path.stem, comments_path(recipe)
    if not path.exists():
        return Comments(view)
    values = load_json(path)
    items = values.get("items") if isinstance(values, dict) else None
    if not isinstance(items, list):
        raise _damaged(path, "holds no annotations")
    known = [mood for item in items if (mood := _mood(item)) is not None]
    found = read_annotations(items, view, known)
    numbers = [item.get("evenfall:number") for item in items]
    if found.notes or len(set(numbers)) < len(items) or not all(map(_is_number, numbers)):
        raise _damaged(path, found.notes[0] if found.notes else "holds a number twice, or none")
    answers = [item.get("evenfall:answer", "") for item in items]
    return Comments(
        view,
        tuple(
            replace(comment, number=number, answer=str(answer))
            for comment, number, answer in zip(found.comments, numbers, answers, strict=True)
        ),
    )


def save_comments(recipe: Recipe, comments: Comments) -> Path:
    """Write the comments of a view, whole.

    Raises
    ------
    UsageError
        When there are more than a file may hold.
    OutputError
        When it cannot be written.
    """
    path = comments_path(recipe)
    if len(comments.items) > MOST_COMMENTS:
        raise UsageError(f"a view holds at most {MOST_COMMENTS} comments")
    page = {
        "@context": [CONTEXT, {"evenfall": "urn:evenfall:comments#"}],
        "type": "AnnotationPage",
        "items": [each.to_annotation(comments.view) for each in comments.items],
    }
    data = json.dumps(page, indent=1, ensure_ascii=False) + "\n"
    write_atomically(path, data.encode(), overwrite=True)
    return path


def _is_number(value: Any) -> bool:
    return type(value) is int and value > 0


def _mood(item: Any) -> str | None:
    from evenfall.comments.model import picture_of_source

    try:
        return picture_of_source(item["target"]["source"])[1]
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


def _damaged(path: Path, found: str) -> UsageError:
    hint = "put a copy of the file back, or move it away to begin anew"
    return UsageError([Fault(str(path), "", found, "the comments of this view", hint)])
