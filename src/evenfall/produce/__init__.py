"""A whole run: from a recipe and passes to deliverables and a report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenfall.late import late_names

if TYPE_CHECKING:
    from evenfall.produce.events import (
        Event,
        FileDone,
        FolderEntered,
        MoodMixed,
        Note,
        PassRead,
        RunPlanned,
        TakesTime,
    )
    from evenfall.produce.running import run

__all__ = [
    "Event",
    "FileDone",
    "FolderEntered",
    "MoodMixed",
    "Note",
    "PassRead",
    "RunPlanned",
    "TakesTime",
    "run",
]

__getattr__, __dir__ = late_names(
    __name__,
    {
        "events": (
            "Event",
            "FileDone",
            "FolderEntered",
            "MoodMixed",
            "Note",
            "PassRead",
            "RunPlanned",
            "TakesTime",
        ),
        "running": ("run",),
    },
)
