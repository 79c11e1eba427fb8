"""Several views of one scene in a folder: found by names, and one of them is surveyed.

A piece of the files' names is that of a camera when it comes in several values that the same lights
stand beside, one of them a sun, a sky or all lights, and when it says nothing else. Versions
(``v01``, ``v02``) are told in the same way.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from evenfall.survey.name_says import KNOWN_WORDS, pieces_of
from evenfall.survey.words import BEAUTY_WORDS, CAMERA_WORDS, ROLE_WORDS, SOURCE_WORDS, words_of

__all__ = ["Cameras", "find_cameras"]

_VERSION = re.compile(r"v\d+", re.IGNORECASE)
_PLACE_WORDS = frozenset((*ROLE_WORDS["fixture"], *ROLE_WORDS["outdoor fixture"])) - SOURCE_WORDS
_SHARED = 0.6  # of the pictures of the smaller of two views
_PLACES = 4  # pieces from either end of a name that are looked at


@dataclass(frozen=True)
class Cameras:
    """Views that names tell apart.

    Parameters
    ----------
    names : tuple of str
        As the files' names have them.
    place : int
        Which piece of a file's name it is; counted from the end where it is negative.
    """

    names: tuple[str, ...]
    place: int

    @property
    def are_versions(self) -> bool:
        """Whether they are versions of one view."""
        return all(_VERSION.fullmatch(name) for name in self.names)

    @property
    def usual(self) -> str:
        """The one that is surveyed if no other is asked for: the newest version, or the first."""
        return self.names[-1] if self.are_versions else self.names[0]

    def of(self, stem: str) -> str | None:
        """Camera of a file, by its name without ending; None where it is that of none."""
        span = self.span(stem)
        return None if span is None else stem[slice(*span)]

    def span(self, stem: str) -> tuple[int, int] | None:
        """Where in a file's name the camera stands."""
        pieces = pieces_of(stem)
        if not -len(pieces) <= self.place < len(pieces):
            return None
        piece = pieces[self.place]
        return piece.span() if piece[0] in self.names else None


def find_cameras(stems: Iterable[str]) -> Cameras | None:
    """Find the views that the names of files tell apart.

    Parameters
    ----------
    stems : iterable of str
        Names of files without frame number and ending.

    Examples
    --------
    >>> find_cameras(["kitchen_sun", "kitchen_sky", "hall_sun", "hall_sky"])
    Cameras(names=('hall', 'kitchen'), place=0)
    >>> find_cameras(["left_lamp", "left_strip", "right_lamp", "right_strip"]) is None
    True
    """
    names = [tuple(piece[0] for piece in pieces_of(stem)) for stem in dict.fromkeys(stems)]
    for place in (*range(_PLACES), *range(-1, -_PLACES - 1, -1)):
        found = _at(names, place)
        if found is not None:
            return found
    return None


def _at(names: Sequence[tuple[str, ...]], place: int) -> Cameras | None:
    beside: dict[str, set[tuple[str, ...]]] = {}
    for name in names:
        if -len(name) <= place < len(name):
            index = place % len(name)
            rest = (*name[:index], *name[index + 1 :])
            beside.setdefault(name[place], set()).add(tuple(map(str.casefold, rest)))
    beside = {value: rests for value, rests in beside.items() if _says_nothing(value)}
    alike = {
        value
        for one, other in combinations(sorted(beside), 2)
        if _are_views(one, other, beside[one] & beside[other], beside)
        for value in (one, other)
    }
    return Cameras(tuple(sorted(alike)), place) if len(alike) > 1 else None


def _says_nothing(value: str) -> bool:
    words = set(words_of(value))
    return words.isdisjoint(KNOWN_WORDS - _PLACE_WORDS) or not words.isdisjoint(CAMERA_WORDS)


def _are_views(
    one: str,
    other: str,
    shared: set[tuple[str, ...]],
    beside: dict[str, set[tuple[str, ...]]],
) -> bool:
    if len(shared) < 2 or len(shared) < _SHARED * min(len(beside[one]), len(beside[other])):
        return False
    if all(
        CAMERA_WORDS & set(words_of(value)) or _VERSION.fullmatch(value) for value in (one, other)
    ):
        return True
    words = {word for rest in shared for piece in rest for word in words_of(piece)}
    return not words.isdisjoint({*ROLE_WORDS["key"], *ROLE_WORDS["sky"], *BEAUTY_WORDS})
