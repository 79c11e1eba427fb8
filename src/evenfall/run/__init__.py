"""A whole run: from a recipe and passes to deliverables and a report."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

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

_HOMES = {
    "events": ("Event", "FileDone", "MoodMixed", "Note", "PassRead", "RunPlanned"),
    "pictures": ("develop", "mix"),
    "report": ("FileReport", "LightReport", "MoodReport", "RunReport"),
    "running": ("run",),
}


def __getattr__(name: str) -> Any:
    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(f"evenfall.run.{home}"), name)
    raise AttributeError(f"module 'evenfall.run' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
