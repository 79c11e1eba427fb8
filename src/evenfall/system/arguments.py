"""Arguments of library calls: what is given is what was asked for, or is refused in words."""

from __future__ import annotations

import os
from collections.abc import Collection
from pathlib import Path

from evenfall.errors import UsageError

__all__ = ["given_path", "given_texts"]


def given_path(value: object, what: str) -> Path:
    """Give a path that was given as text or as one.

    Parameters
    ----------
    value : object
        What was given.
    what : str
        What it is for, as a person would say it: "the folder of the pictures".

    Raises
    ------
    UsageError
        When it is something else.

    Examples
    --------
    >>> given_path("villa/view.toml", "a recipe").name
    'view.toml'
    >>> given_path(3, "a recipe")
    Traceback (most recent call last):
        ...
    evenfall.errors.UsageError: a recipe is given by its path, found 3
    """
    path = os.fspath(value) if isinstance(value, os.PathLike) else value
    if not isinstance(path, str):
        raise UsageError(f"{what} is given by its path, found {_shown(value)}")
    if "\0" in path:
        raise UsageError(f"{what} is given by its path, and no path holds NUL, as {path!r} does")
    return Path(path)


def given_texts(value: object, what: str) -> tuple[str, ...]:
    """Give texts that were given as one or as several.

    Parameters
    ----------
    value : object
        What was given.
    what : str
        What it is for: "a change".

    Raises
    ------
    UsageError
        When it is something else.

    Examples
    --------
    >>> given_texts("day", "a mood"), given_texts(["day", "dusk"], "a mood")
    (('day',), ('day', 'dusk'))
    >>> given_texts([3], "a mood")
    Traceback (most recent call last):
        ...
    evenfall.errors.UsageError: a mood is given as a text, found 3
    """
    if isinstance(value, str):
        return (value,)
    if isinstance(value, dict | bytes) or not isinstance(value, Collection):
        raise UsageError(f"{what} is given as a text, or several in a list; found {_shown(value)}")
    for each in value:
        if not isinstance(each, str):
            raise UsageError(f"{what} is given as a text, found {_shown(each)}")
    return tuple(value)


def _shown(value: object) -> str:
    if value is None or isinstance(value, int | float | str | bytes):
        return repr(value)[:100]
    return type(value).__name__
