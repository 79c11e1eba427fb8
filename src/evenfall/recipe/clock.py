"""Times of day as a recipe writes them, and numbers of frames."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from typing import Annotated, Any

from pydantic import BeforeValidator

from evenfall.recipe.base import Takes

__all__ = ["Clock", "clock_seconds", "clock_text", "frame_numbers", "frames_text"]

_CLOCK = re.compile(r"^\s*(\d{1,2}):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?\s*$")
_LAST_HOUR = 47
_RANGE = re.compile(r"^\s*(\d+)\s*(?:-\s*(\d+)\s*)?$")
_MOST_FRAMES = 1_000_000
_LARGEST = 99_999_999


def _clock_of_toml(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime.time) else value


Clock = Annotated[
    str,
    BeforeValidator(_clock_of_toml, json_schema_input_type=str),
    Takes('a time of day such as "17:30"'),
]
"""A time of day; hours run on after 23, into the next day."""


def clock_seconds(text: str) -> float:
    """Read a time of day as seconds after midnight; hours run on after 23, into the next day.

    Raises
    ------
    ValueError
        When the text is no time of day. The message is for people.

    Examples
    --------
    >>> clock_seconds("16:30"), clock_seconds("24:15:30.5")
    (59400.0, 87330.5)
    """
    match = _CLOCK.match(text)
    if match is None or int(match[1]) > _LAST_HOUR:
        raise ValueError(
            'expected a time of day such as "17:30"; after midnight hours run on, such as "24:30"'
        )
    return int(match[1]) * 3600 + int(match[2]) * 60 + float(match[3] or 0)


def clock_text(seconds: float) -> str:
    """Write a time of day; the inverse of `clock_seconds`, to a thousandth of a second.

    Examples
    --------
    >>> clock_text(59400), clock_text(87330.5)
    ('16:30', '24:15:30.5')
    """
    thousandths = round(seconds * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    text = f"{minutes // 60:02d}:{minutes % 60:02d}"
    if rest:
        text += ":" + f"{rest / 1000:06.3f}".rstrip("0").rstrip(".")
    return text


def frame_numbers(text: str) -> tuple[int, ...]:
    """Read numbers of frames, in rising order, each once.

    Raises
    ------
    ValueError
        When the text names no frames. The message is for people.

    Examples
    --------
    >>> frame_numbers("1-3, 205")
    (1, 2, 3, 205)
    """
    found: set[int] = set()
    for part in text.split(","):
        match = _RANGE.match(part)
        if match is None:
            raise ValueError(f'expected frames such as "1-100,205", found {part.strip()!r}')
        first = int(match[1])
        last = first if match[2] is None else int(match[2])
        if last < first:
            raise ValueError(f"{first}-{last} runs backwards; write {last}-{first}")
        if last > _LARGEST or last - first >= _MOST_FRAMES:
            raise ValueError(
                f"{part.strip()} is too much: up to {_MOST_FRAMES:,} frames at once, with numbers "
                f"up to {_LARGEST:,}"
            )
        found.update(range(first, last + 1))
    return tuple(sorted(found))


def frames_text(frames: Iterable[int]) -> str:
    """Write numbers of frames; the inverse of `frame_numbers`.

    Examples
    --------
    >>> frames_text([1, 2, 3, 205])
    '1-3, 205'
    """
    runs: list[list[int]] = []
    for frame in sorted(set(frames)):
        if runs and frame == runs[-1][1] + 1:
            runs[-1][1] = frame
        else:
            runs.append([frame, frame])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)
