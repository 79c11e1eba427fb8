"""Suggestions for misspelt names, and lists of names in prose."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

__all__ = ["closest", "did_you_mean", "joined"]


def closest(word: str, candidates: Iterable[str]) -> str | None:
    """Return the candidate that was most likely meant, or None.

    Examples
    --------
    >>> closest("Pendents", ["sun", "pendants"])
    'pendants'
    """
    folded = {_folded(candidate): candidate for candidate in candidates}
    found = _nearest(_folded(word), tuple(folded))
    return folded[found] if found is not None else None


@lru_cache(maxsize=4096)  # one slip is often made at many places
def _nearest(word: str, candidates: tuple[str, ...]) -> str | None:
    from difflib import get_close_matches

    return next(iter(get_close_matches(word, candidates, n=1, cutoff=0.65)), None)


def _folded(word: str) -> str:
    return word.casefold().replace("-", "_").replace(" ", "_")


def did_you_mean(word: str, candidates: Iterable[str]) -> str:
    """Return a question for the person, or an empty text when nothing is close.

    Examples
    --------
    >>> did_you_mean("evenfal", ["evenfall", "clip"])
    'did you mean "evenfall"?'
    """
    found = closest(word, candidates)
    return f'did you mean "{found}"?' if found else ""


def joined(words: Iterable[str], last: str = "or", *, most: int | None = None) -> str:
    """Join words as in a sentence; beyond `most` of them only their number is said.

    Examples
    --------
    >>> joined(["8", "10", "12"])
    '8, 10 or 12'
    >>> joined(["sun", "sky", "lamp", "fill"], "and", most=2)
    'sun, sky and 2 more'
    """
    items = list(words)
    if most is not None and len(items) > most:
        items[most:] = [f"{len(items) - most} more"]
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"
