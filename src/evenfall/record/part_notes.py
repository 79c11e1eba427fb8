"""What machines note of their parts of a run that another machine leads.

A part is a mood. Who makes it notes each picture before it takes its name, beside the pictures; the
run that comes next takes over what is noted, whether the leader lived to write its report or not.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from evenfall.recipe import Recipe
from evenfall.record.earlier import is_intact
from evenfall.record.report import RunReport, report_path

__all__ = ["PartNotes", "part_note_path", "with_parts", "without_lost"]

_LONGEST_NAME = 255  # bytes of a file's name, as POSIX systems take


def part_note_path(out: Path, recipe: Recipe, mood: str, *, draft: bool) -> Path:
    """Where it is noted what was made of a mood, until a report tells it.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> part_note_path(Path("pictures"), example_recipe(), "dusk", draft=False).as_posix()
    'pictures/.corner_dusk_report.json'
    """
    stem = f".{recipe.output_stem}_{mood}"
    path = report_path(out, stem, draft=draft)
    if len(os.fsencode(path.name)) <= _LONGEST_NAME:
        return path
    digest = hashlib.sha256(os.fsencode(stem)).hexdigest()
    return report_path(out, f".{digest[:16]}", draft=draft)


class PartNotes:
    """Notes of parts in a folder.

    Parameters
    ----------
    out : Path
        The folder.
    paths : iterable of Path
        Where notes may lie; from `part_note_path`.
    """

    def __init__(self, out: Path, paths: Iterable[Path]) -> None:
        self._out, self._paths = out, tuple(paths)
        self._read: tuple[RunReport, ...] = ()

    @classmethod
    def of(cls, out: Path, recipe: Recipe, moods: Iterable[str], *, draft: bool) -> PartNotes:
        """Give the notes that may lie in a folder of moods of a recipe."""
        return cls(out, [part_note_path(out, recipe, mood, draft=draft) for mood in moods])

    def joined_to(self, report: RunReport | None) -> RunReport | None:
        """Give a report with what the notes say; None where nobody says anything."""
        read = (RunReport.read(path, self._out) for path in self._paths)
        self._read = tuple(note for note in read if note is not None)
        return with_parts(report, self._read)

    def take_away(self) -> None:
        """Take the notes away that a report tells now; one that was written since stays."""
        for note in self._read:
            assert note.report is not None
            if RunReport.read(note.report, self._out) == note:
                with contextlib.suppress(OSError):  # it is read, and taken away, another time
                    note.report.unlink()
        self._read = ()


def with_parts(report: RunReport | None, parts: Sequence[RunReport]) -> RunReport | None:
    """Join what machines say of their parts to what an earlier run left.

    Parameters
    ----------
    report : RunReport or None
        Of the earlier run.
    parts : sequence of RunReport
        Of the parts; they are newer.
    """
    if not parts:
        return report
    files = {file.path: file for part in parts for file in part.files}
    moods = {name: mood for part in parts for name, mood in part.moods.items()}
    old_files = {file.path: file for part in parts for file in part.earlier_files}
    old_moods = {name: mood for part in parts for name, mood in part.earlier_moods.items()}
    inputs = {name: one for part in parts for name, one in part.inputs.items()}
    if report is not None:
        old_files |= {file.path: file for file in (*report.earlier_files, *report.files)}
        old_moods |= {**report.earlier_moods, **report.moods}
        inputs = {**report.inputs, **inputs}
    return parts[-1].model_copy(
        update={
            "moods": moods,
            "files": tuple(files.values()),
            "lights": {name: light for part in parts for name, light in part.lights.items()},
            "outstanding": tuple(path for part in parts for path in part.outstanding),
            "faults": tuple(dict.fromkeys(fault for part in parts for fault in part.faults)),
            "notes": tuple(dict.fromkeys(note for part in parts for note in part.notes)),
            "inputs": inputs,
            "earlier_files": tuple(f for path, f in old_files.items() if path not in files),
            "earlier_moods": {name: m for name, m in old_moods.items() if name not in moods},
        }
    )


def without_lost(report: RunReport) -> RunReport:
    """Take out what was noted and never came, as the machine that noted it was lost.

    Parameters
    ----------
    report : RunReport
        From `with_parts`, when no machine is at it any more.
    """
    there = tuple(file for file in report.files if is_intact(file))
    lost = [file.path for file in report.files if file not in there]
    shown = {file.mood for file in there}
    return report.model_copy(
        update={
            "files": there,
            "moods": {name: mood for name, mood in report.moods.items() if name in shown},
            "outstanding": tuple(dict.fromkeys((*lost, *report.outstanding))),
        }
    )
