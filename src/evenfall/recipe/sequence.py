"""An hour that passes: moods as keys, and the frames between them."""

from __future__ import annotations

import datetime
import re
from bisect import bisect_right
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, field_validator, model_validator

from evenfall.recipe.base import Part, Takes, Words
from evenfall.recipe.clock import Clock, clock_seconds, clock_text, frame_numbers
from evenfall.recipe.moods import Daylight

__all__ = ["Hours", "Key", "Place", "Sequence"]

_OFFSET = re.compile(r"^[+-](?:0\d|1[0-4]):[0-5]\d$")


def _date_text(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime.date) else value


Frames = Annotated[
    str,
    BeforeValidator(
        lambda value: f"1-{value}" if type(value) is int else value,
        json_schema_input_type=str | int,
    ),
    Takes('how many frames there are, such as 72, or their numbers, such as "1001-1072"'),
]
"""Numbers of frames, or how many there are, counted from 1."""


class Key(Part):
    """A mood that the sequence reaches at a frame or a time of day."""

    mood: str = Field(description="The mood.")
    frame: float | None = Field(None, ge=0, description="The frame that shows it as it is.")
    time: Clock | None = Field(
        None,
        description="Time of day; the first key's is that of the first frame, the last key's that "
        "of the last, unless keys say frames.",
    )
    easing: Literal["linear", "smooth", "hold"] = Field(
        "linear",
        description="The way to the next key: at an even pace, beginning and ending softly, or "
        "none: the mood stays until the next key.",
    )

    @field_validator("time")
    @classmethod
    def _time_reads(cls, value: str | None) -> str | None:
        if value is not None:
            clock_seconds(value)
        return value


class Hours(Part):
    """Sun and sky of every frame from the daylight model, for its time of day.

    As `daylight` of a mood, which it takes the place of in a sequence.
    """

    sun: str | None = Field(None, description="The light that is the sun.")
    sky: str | None = Field(None, description="The light that is the sky.")
    latitude: float = Field(ge=-90, le=90, description="Degrees, north positive.")
    longitude: float = Field(ge=-180, le=180, description="Degrees, east positive.")
    date: Annotated[
        str, BeforeValidator(_date_text, json_schema_input_type=str), Takes("a date: 2026-06-21")
    ] = Field(description="The day, such as 2026-06-21.")
    utc_offset: str = Field(
        "+00:00", description='What the clock is ahead of UTC, summer time included: "+02:00".'
    )
    state: Literal["clear", "hazy", "overcast"] = Field("clear", description="State of the sky.")

    @model_validator(mode="after")
    def _reads(self) -> Self:
        try:
            datetime.date.fromisoformat(self.date)
        except ValueError:
            raise ValueError("expected a date such as 2026-06-21") from None
        if not _OFFSET.match(self.utc_offset):
            raise ValueError('expected utc_offset such as "+02:00"')
        if self.sun is None and self.sky is None:
            raise ValueError("name the light that is the sun, the sky, or both")
        if self.sun == self.sky:
            raise ValueError("sun and sky are two lights; name the one that a pass shows")
        return self

    def daylight_at(self, seconds: float) -> Daylight:
        """Sun and sky as a mood has them, so many seconds after midnight."""
        return Daylight(
            sun=self.sun,
            sky=self.sky,
            latitude=self.latitude,
            longitude=self.longitude,
            time=self.at(seconds),
            state=self.state,
        )

    def at(self, seconds: float) -> str:
        """Date and time with its offset, ISO 8601, so many seconds after midnight.

        Examples
        --------
        >>> hours = Hours(
        ...     sky="sky", latitude=60, longitude=5, date="2026-06-21", utc_offset="+02:00")
        >>> hours.at(86400 + 1800)
        '2026-06-22T00:30:00+02:00'
        """
        start = datetime.datetime.fromisoformat(f"{self.date}T00:00:00{self.utc_offset}")
        return (start + datetime.timedelta(seconds=round(seconds, 3))).isoformat()


@dataclass(frozen=True)
class Place:
    """Where a frame stands between two keys.

    Parameters
    ----------
    first, second : int
        Numbers of the keys, counted from 0; the same where it stands at one.
    share : float
        How much of the way between is gone.
    """

    first: int
    second: int
    share: float


class Sequence(Part):
    """An hour that passes: moods as keys at frames or times of day."""

    name: str = Field(
        "sequence", description="What its frames and films are called, where a mood has its name."
    )
    title: Words | None = Field(None, description="Name for people; `name` is used otherwise.")
    frames: Frames = Field(
        description='How many frames there are, counted from 1, or their numbers: "1001-1072".'
    )
    rate: float = Field(
        24.0, ge=1, le=240, description="Frames a second, of films; 23.976 and 29.97 are exact."
    )
    keys: tuple[Key, ...] = Field(min_length=1, description="Moods by frame or time of day.")
    daylight: Hours | None = Field(
        None, description="Sun and sky of every frame from the daylight model."
    )
    meter: Literal["held", "each frame"] = Field(
        "held",
        description="held: exposure is measured, and ratios are solved, in one frame for all, so "
        "that nothing flickers; each frame: anew in each.",
    )
    frame: int | None = Field(
        None,
        ge=0,
        description="Makes this frame a mood, called as `name` says, beside the others: for a "
        "still, a check, a draft of it.",
    )

    @field_validator("frames")
    @classmethod
    def _frames_read(cls, value: str) -> str:
        frame_numbers(value)
        return value

    @property
    def numbers(self) -> tuple[int, ...]:
        """Numbers of its frames."""
        return frame_numbers(self.frames)

    @property
    def seconds(self) -> float:
        """How long it takes, as a film."""
        return len(self.numbers) / self.rate

    def key_frames(self) -> tuple[float, ...]:
        """Where the keys stand, in frames.

        Examples
        --------
        >>> Sequence(frames=61, keys=(
        ...     Key(mood="day", time="17:00"), Key(mood="dusk", time="17:30"),
        ...     Key(mood="night", time="19:00"))).key_frames()
        (1.0, 16.0, 61.0)
        """
        if all(key.frame is not None for key in self.keys):
            return tuple(key.frame or 0.0 for key in self.keys)
        numbers = self.numbers
        first, last = numbers[0], numbers[-1]
        times = [clock_seconds(key.time or "0:00") for key in self.keys]
        spread = times[-1] - times[0]
        if spread <= 0:
            return tuple(float(first) for _ in self.keys)
        return tuple(first + (time - times[0]) / spread * (last - first) for time in times)

    def place(self, frame: int) -> Place:
        """Where a frame stands between keys; before the first and behind the last they are held.

        Examples
        --------
        >>> keys = (Key(mood="day", frame=1, easing="smooth"), Key(mood="night", frame=5))
        >>> [Sequence(frames=8, keys=keys).place(frame).share for frame in (1, 2, 3, 8)]
        [0.0, 0.15625, 0.5, 0.0]
        """
        at = self.key_frames()
        number = bisect_right(at, frame) - 1
        if number < 0:
            return Place(first=0, second=0, share=0.0)
        if number == len(at) - 1:
            return Place(first=number, second=number, share=0.0)
        share = (frame - at[number]) / (at[number + 1] - at[number])
        easing = self.keys[number].easing
        if easing == "smooth":
            share = share * share * (3 - 2 * share)
        elif easing == "hold":
            share = 0.0
        return Place(first=number, second=number + 1, share=share)

    def moods_at(self, frame: int | None) -> tuple[str, ...]:
        """Name the moods that a frame is made of; those of all keys for no frame."""
        keys = self.keys
        if frame is not None:
            place = self.place(frame)
            keys = (keys[place.first], keys[place.second if place.share else place.first])
        return tuple(dict.fromkeys(key.mood for key in keys))

    def seconds_at(self, frame: int) -> float | None:
        """Time of day of a frame in seconds after midnight; None where keys give none.

        Examples
        --------
        >>> keys = (Key(mood="day", time="17:00"), Key(mood="night", time="19:00"))
        >>> Sequence(frames=25, keys=keys).seconds_at(13) / 3600
        18.0
        """
        if any(key.time is None for key in self.keys):
            return None
        times = [clock_seconds(key.time or "") for key in self.keys]
        at = self.key_frames()
        number = min(max(bisect_right(at, frame) - 1, 0), len(at) - 1)
        if number == len(at) - 1 or frame <= at[0]:
            return times[number]
        share = (frame - at[number]) / (at[number + 1] - at[number])
        return times[number] + share * (times[number + 1] - times[number])

    def clock_at(self, frame: int) -> str | None:
        """Time of day of a frame as text; None where keys give none."""
        seconds = self.seconds_at(frame)
        return None if seconds is None else clock_text(seconds)

    def phase(self, frame: int) -> int:
        """How many frames after the first it is: grain and dither move on by it."""
        return frame - self.numbers[0]
