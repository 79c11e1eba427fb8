"""Shared ground of the recipe's model: strictness, and the small values that recur in it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

__all__ = [
    "Adaptation",
    "Family",
    "Fraction01",
    "HexColour",
    "Name",
    "NamesFile",
    "OrDropped",
    "OrNone",
    "OwnTint",
    "Part",
    "Percent",
    "Point",
    "Rgb",
    "Step",
    "StepAsWritten",
    "Stops",
    "StopsAsWritten",
    "StopsOrStep",
    "Takes",
    "Use",
    "Words",
    "parse_step",
    "parse_stops",
]

_STOPS = re.compile(
    r"""^\s*(?P<sign>[+-])?\s*
        (?:(?P<whole>\d+(?:\.\d+)?)(?![\d/]))?
        \s*(?:(?P<num>\d+)\s*/\s*(?P<den>\d+))?
        \s*(?:stops?)?\s*$""",
    re.VERBOSE,
)


@dataclass(frozen=True)
class Takes:
    """What a key takes, in words, where its type alone would say too little."""

    text: str


Use = Literal["pass", "guide", "picture", "weights", "numbers", "look", "logo", "scene", "view"]
"""What a file is for: weights are masks, numbers those of objects, a view another recipe."""


@dataclass(frozen=True)
class NamesFile:
    """Marks a key whose value is the name of a file, or a list of such.

    Parameters
    ----------
    use : str
        What the file is for.
    unless : str
        What a value begins with that names no file.
    """

    use: Use
    unless: str = ""


@dataclass(frozen=True)
class Family:
    """Keys of a table that say one thing between them.

    Where a mood says one of `heads`, everything in `members` that the mood it builds on says is
    dropped, unless the mood says it again.
    """

    heads: tuple[str, ...]
    members: tuple[str, ...]


class OrNone(BeforeValidator):
    """Takes the word "none", by which a mood drops what it would inherit."""

    def __init__(self, kind: Any) -> None:
        super().__init__(_nothing, json_schema_input_type=kind | Literal["none"] | None)


def _nothing(value: Any) -> Any:
    return None if value == "none" else value


class OrDropped(BeforeValidator):
    """Takes the word "none", too, where a recipe builds on another that has such an entry.

    It is dropped before the values are checked.
    """

    def __init__(self, kind: Any) -> None:
        super().__init__(_unchanged, json_schema_input_type=kind | Literal["none"])


def _unchanged(value: Any) -> Any:
    return value


def parse_stops(value: Any) -> float:
    """Read stops as a photographer writes them.

    Parameters
    ----------
    value : int, float or str
        A number, or text such as ``"-2"``, ``"+1 1/3"``, ``"2/3"`` or ``"-0.5 stops"``.

    Returns
    -------
    float
        Stops; +1 is twice the light.

    Raises
    ------
    ValueError
        When the text is no number of stops.

    Examples
    --------
    >>> parse_stops("+1 1/3")
    1.3333333333333333
    >>> parse_stops("-2/3")
    -0.6666666666666666
    """
    if isinstance(value, bool):
        raise ValueError('expected stops, a number or text such as "+1 1/3"')
    try:
        return _stops(value)
    except OverflowError:
        raise ValueError("expected stops, but the number has no end") from None


def _stops(value: Any) -> float:
    if isinstance(value, int | float):
        return float(value)
    match = _STOPS.match(value) if isinstance(value, str) else None
    if match is None or (match["whole"] is None and match["num"] is None):
        raise ValueError('expected stops, a number or text such as "+1 1/3"')
    size = Fraction(match["whole"] or "0")
    if match["num"] is not None:
        if int(match["den"]) == 0:
            raise ValueError("expected stops, but the fraction divides by zero")
        size += Fraction(int(match["num"]), int(match["den"]))
    return float(-size if match["sign"] == "-" else size)


LARGEST_STOPS = 30
"""Either way, of whatever a recipe says in stops."""

StopsAsWritten = (
    Annotated[float, Field(ge=-LARGEST_STOPS, le=LARGEST_STOPS)]
    | Annotated[
        str, Field(pattern=r"^\s*[+-]?\s*(\d+(\.\d+)?)?\s*(\d+\s*/\s*[1-9]\d*)?\s*(stops?)?\s*$")
    ]
)
"""Stops as a recipe may hold them: a number, or text with thirds."""

Stops = Annotated[
    float,
    Field(ge=-LARGEST_STOPS, le=LARGEST_STOPS, allow_inf_nan=False),
    BeforeValidator(parse_stops, json_schema_input_type=StopsAsWritten),
    Takes('stops from -30 to 30, a number or text such as "+1 1/3"'),
]
"""Stops: a number or text with thirds, from -30 to 30."""

_STEP = re.compile(r"^\s*(?P<way>up|down)\s+(?P<size>[^+\-\s].*)$")


@dataclass(frozen=True)
class Step:
    """Stops that count from the mood that a mood is based on; + is up."""

    stops: float


def parse_step(value: Any) -> float | Step:
    """Read stops that count from the render, or, from ``up`` or ``down`` on, from a mood.

    Parameters
    ----------
    value : int, float or str
        As for `parse_stops`, or text such as ``"down 2"`` or ``"up 1/3"``.

    Raises
    ------
    ValueError
        When the text is neither, or is over 30 stops.

    Examples
    --------
    >>> parse_step("down 1 1/2"), parse_step(-1)
    (Step(stops=-1.5), -1.0)
    """
    if isinstance(value, Step):
        return value
    match = _STEP.match(value) if isinstance(value, str) else None
    stops = parse_stops(match["size"] if match else value)
    if not abs(stops) <= LARGEST_STOPS:
        raise ValueError("expected stops from -30 to 30")
    if match is None:
        return stops
    return Step(stops if match["way"] == "up" else -stops)


StepAsWritten = Annotated[
    str,
    Field(pattern=r"^\s*(up|down)\s+(\d+(\.\d+)?)?\s*(\d+\s*/\s*[1-9]\d*)?\s*(stops?)?\s*$"),
]
"""Stops that count from another mood, as a recipe may hold them."""

StopsOrStep = Annotated[
    float | Step,
    BeforeValidator(parse_step, json_schema_input_type=StopsAsWritten | StepAsWritten),
    Takes(
        'stops from -30 to 30, a number or text such as "+1 1/3", or a step such as "down 2" from '
        "the mood that this one is based on"
    ),
]
"""Stops that count from the render, or a step that counts from another mood."""

Words = Annotated[str, Field(max_length=1000)]
"""Text for people, which also goes into the metadata of pictures: some kinds hold little."""

Fraction01 = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
"""A share from 0 to 1."""

Percent = Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)]
"""A percentage above 0, up to 100."""

Point = Annotated[
    tuple[Fraction01, Fraction01],
    Takes("two shares from 0 to 1, across and down, such as [0.5, 0.5]"),
]
"""A point of the picture: shares of width and height from the top left."""

Rgb = Annotated[
    tuple[float, float, float],
    Takes("three numbers, red, green and blue, such as [1.0, 0.9, 0.8]"),
]
"""Three numbers R, G, B."""

_OwnFactor = Annotated[float, Field(ge=0, le=1e6)]
OwnTint = Annotated[
    tuple[_OwnFactor, _OwnFactor, _OwnFactor],
    Takes("three numbers from 0 to 1000000, red, green and blue, such as [1.0, 0.9, 0.8]"),
]
"""Factors R, G, B of a picture beside the passes."""

Adaptation = Literal["CAT16", "Bradford"]

Name = Annotated[str, StringConstraints(strip_whitespace=False)]
"""Name of a file, or of a layer or part in one: letter for letter, with spaces around it."""

HexColour = Annotated[
    str,
    Field(pattern=r"^#[0-9a-fA-F]{6}$"),
    Takes('a colour such as "#ffd2a0"'),
]
"""An sRGB colour as '#rrggbb'."""


class Part(BaseModel):
    """A part of a recipe: frozen, and strict about keys it does not know."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        allow_inf_nan=False,
        str_strip_whitespace=True,
    )

    families: ClassVar[tuple[Family, ...]] = ()
