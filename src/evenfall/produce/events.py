"""What a run tells whoever watches it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from evenfall.mix.engine import PassRead

__all__ = [
    "Event",
    "FileDone",
    "FolderEntered",
    "FrameDone",
    "FramesPlanned",
    "MoodMixed",
    "Note",
    "OnEvent",
    "PassRead",
    "RunPlanned",
    "TakesTime",
    "unheard",
]


@dataclass(frozen=True)
class FolderEntered:
    """Everything has been checked; from now on something may stand in the folder of the files."""

    out: Path


@dataclass(frozen=True)
class RunPlanned:
    """It is known what has to be made; work begins.

    Parameters
    ----------
    lights : int
        Passes that will be read.
    moods : tuple of str
        Moods that will be made.
    files : int
        Files that will be written or kept.
    """

    lights: int
    moods: tuple[str, ...]
    files: int


@dataclass(frozen=True)
class FramesPlanned:
    """It is known how many frames are to be made; work begins."""

    frames: int


@dataclass(frozen=True)
class FrameDone:
    """A frame is made or kept, or could not be made."""

    frame: int


@dataclass(frozen=True)
class MoodMixed:
    """A mood's sum is complete and goes on to camera and look."""

    mood: str


@dataclass(frozen=True)
class TakesTime:
    """Something that takes its time begins; said before the time is spent."""

    text: str


@dataclass(frozen=True)
class FileDone:
    """A file is under its final name.

    Parameters
    ----------
    path : Path
        The file.
    mood : str
        Whose; empty for a sheet or report.
    kept : bool
        Whether it was left from an earlier run, being what this run would have made.
    """

    path: Path
    mood: str
    kept: bool = False


@dataclass(frozen=True)
class Note:
    """Something a person should know, that stops nothing."""

    text: str


Event = (
    FolderEntered
    | RunPlanned
    | FramesPlanned
    | FrameDone
    | PassRead
    | MoodMixed
    | TakesTime
    | FileDone
    | Note
)
OnEvent = Callable[[Event], None]


def unheard(event: Event) -> None:
    """Tell nobody."""
