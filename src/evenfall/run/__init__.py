"""A whole run: from a recipe and passes to deliverables and a report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenfall.late import late_names

if TYPE_CHECKING:
    from evenfall.run.events import Event, FileDone, MoodMixed, Note, PassRead, RunPlanned
    from evenfall.run.pictures import develop, mix
    from evenfall.run.report import FileReport, LightReport, MoodReport, RunReport
    from evenfall.run.running import run

__all__ = [
    "Event",
    "FileDone",
    "FileReport",
    "LightReport",
    "MoodMixed",
    "MoodReport",
    "Note",
    "PassRead",
    "RunPlanned",
    "RunReport",
    "develop",
    "mix",
    "run",
]

__getattr__, __dir__ = late_names(
    __name__,
    {
        "events": ("Event", "FileDone", "MoodMixed", "Note", "PassRead", "RunPlanned"),
        "pictures": ("develop", "mix"),
        "report": ("FileReport", "LightReport", "MoodReport", "RunReport"),
        "running": ("run",),
    },
)
