"""A comment on a spot of a picture, and all comments of a view.

Comments travel in the W3C Web Annotation Data Model (Recommendation of 23 February 2017): an
annotation page of textual bodies, each on a fragment of a picture after Media Fragments URI 1.0,
``xywh=percent:``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import quote, unquote

__all__ = ["CONTEXT", "Box", "Comment", "Comments", "picture_of_source", "picture_source"]

CONTEXT = "http://www.w3.org/ns/anno.jsonld"
_FRAGMENTS = "http://www.w3.org/TR/media-frags/"
_PERCENT = re.compile(
    r"xywh=percent:(\d+(?:\.\d+)?),(\d+(?:\.\d+)?),(\d+(?:\.\d+)?),(\d+(?:\.\d+)?)"
)
_BESIDE = 0.01  # per cent that a spot may lie outside through rounding
_URN = "urn:evenfall:"
_ROUND = re.compile("[0-9]{1,6}")


@dataclass(frozen=True)
class Box:
    """A part of a picture in per cent of its width and height, from the top left.

    Examples
    --------
    >>> Box(40, 60, 1, 1).centre
    (40.5, 60.5)
    """

    x: float
    y: float
    width: float
    height: float

    def __post_init__(self) -> None:
        right, bottom = self.x + self.width, self.y + self.height
        if max(right, bottom) > 100 + _BESIDE or min(self.x, self.y) < 0:
            raise ValueError(f"the spot {self} lies outside the picture")

    def __str__(self) -> str:
        return ",".join(f"{side:g}" for side in (self.x, self.y, self.width, self.height))

    @property
    def centre(self) -> tuple[float, float]:
        """Across and down."""
        return self.x + self.width / 2, self.y + self.height / 2

    @classmethod
    def of_fragment(cls, value: str) -> Box:
        """Read a media fragment.

        Raises
        ------
        ValueError
            When it is none in per cent, or lies outside.

        Examples
        --------
        >>> Box.of_fragment("xywh=percent:25,50,10,5")
        Box(x=25.0, y=50.0, width=10.0, height=5.0)
        """
        match = _PERCENT.fullmatch(value)
        if match is None:
            raise ValueError(f'expected "xywh=percent:25,50,10,5", found "{value[:60]}"')
        return cls(*(float(side) for side in match.groups()))


def picture_source(view: str, mood: str, round_number: int | None = None) -> str:
    """Name a picture of a view, as annotations point at it.

    Parameters
    ----------
    view : str
        File stem of the recipe.
    mood : str
        Its key.
    round_number : int, optional
        Of the round that it was kept in; the picture as it stands otherwise.

    Examples
    --------
    >>> picture_source("living", "late dusk", 2)
    'urn:evenfall:living:late%20dusk:2'
    """
    ending = "now" if round_number is None else str(round_number)
    return _URN + ":".join([quote(view, safe=""), quote(mood, safe=""), ending])


def picture_of_source(source: str) -> tuple[str, str, int | None]:
    """Give view, mood and round of a source; the reverse of `picture_source`.

    Raises
    ------
    ValueError
        When it is no such source.

    Examples
    --------
    >>> picture_of_source('urn:evenfall:living:late%20dusk:2')
    ('living', 'late dusk', 2)
    """
    parts = source.removeprefix(_URN).split(":")
    is_round = len(parts) == 3 and (parts[2] == "now" or _ROUND.fullmatch(parts[2]) is not None)
    if not source.startswith(_URN) or not is_round:
        raise ValueError(f'"{source[:80]}" is no picture of a view')
    view, mood = unquote(parts[0]), unquote(parts[1])
    return view, mood, None if parts[2] == "now" else int(parts[2])


@dataclass(frozen=True)
class Comment:
    """What somebody said about a spot.

    Parameters
    ----------
    id : str
        Identifier that the page gave it: the same comment in two files counts once.
    mood : str
        Which mood's picture.
    round_number : int or None
        Of the picture; None for the picture as it stood when the page was made.
    box : Box
        Where.
    text, author, created : str
        What, who, and when (ISO 8601); author and time may be empty.
    number : int
        By which people speak of it; 0 before it was taken in.
    answer : str
        What became of it; empty as long as nothing did.
    """

    id: str
    mood: str
    round_number: int | None
    box: Box
    text: str
    author: str = ""
    created: str = ""
    number: int = 0
    answer: str = ""

    def to_annotation(self, view: str) -> dict[str, Any]:
        """Write it as an annotation."""
        annotation: dict[str, Any] = {
            "id": self.id,
            "type": "Annotation",
            "motivation": "commenting",
            "created": self.created,
            "creator": {"type": "Person", "name": self.author},
            "body": {"type": "TextualBody", "value": self.text, "format": "text/plain"},
            "target": {
                "source": picture_source(view, self.mood, self.round_number),
                "selector": {
                    "type": "FragmentSelector",
                    "conformsTo": _FRAGMENTS,
                    "value": f"xywh=percent:{self.box}",
                },
            },
        }
        if self.number:
            annotation["evenfall:number"] = self.number
        if self.answer:
            annotation["evenfall:answer"] = self.answer
        return annotation


@dataclass(frozen=True)
class Comments:
    """All comments of a view, in the order of their numbers.

    Parameters
    ----------
    view : str
        File stem of the recipe.
    items : tuple of Comment
        Numbered from 1.
    """

    view: str
    items: tuple[Comment, ...] = field(default=())

    def with_new(self, comments: tuple[Comment, ...]) -> Comments:
        """Add those that are not there yet, each with the next number.

        Examples
        --------
        >>> one = Comment("urn:a", "dusk", None, Box(1, 2, 1, 1), "Warmer, please.")
        >>> twice = Comments("living").with_new((one, one))
        >>> [(each.number, each.text) for each in twice.items]
        [(1, 'Warmer, please.')]
        """
        items = list(self.items)
        known = {each.id for each in items}
        for comment in comments:
            if comment.id not in known:
                known.add(comment.id)
                number = 1 + max((each.number for each in items), default=0)
                items.append(replace(comment, number=number, answer=""))
        return replace(self, items=tuple(items))

    def answered(self, number: int, answer: str) -> Comments:
        """Give one of them an answer.

        Raises
        ------
        KeyError
            When there is no such number.
        """
        if number not in {each.number for each in self.items}:
            raise KeyError(number)
        return replace(
            self,
            items=tuple(
                replace(each, answer=answer) if each.number == number else each
                for each in self.items
            ),
        )
