"""Files of an earlier run that are what this run would make, and are left as they are."""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields
from pathlib import Path
from typing import Any

from evenfall.recipe import Recipe
from evenfall.record.report import REPORT_FORMAT, FileReport, MoodReport, RunReport
from evenfall.system.regular import open_regular

__all__ = ["Earlier"]


class Earlier:
    """What the report of an earlier run in the same folder says.

    Parameters
    ----------
    out : Path
        The folder. A missing or unreadable report says nothing.
    recipe : Recipe
        Whose report.
    draft : bool
        Whether it is that of drafts.
    """

    def __init__(self, out: Path, recipe: Recipe, *, draft: bool) -> None:
        self.out, self.draft = out, draft
        self.path = out / f"{recipe.output_stem}{'_draft' if draft else ''}_report.json"
        try:
            with open_regular(self.path) as stream:
                values = json.loads(stream.read().decode("utf-8"))
            sound = values["evenfall_report"] == REPORT_FORMAT
            lights = values["lights"].items() if sound else ()
            self.lights: dict[str, dict[str, Any]] = {name: dict(noted) for name, noted in lights}
            files = [*values["files"], *values["earlier_files"]] if sound else []
            moods = {**values["earlier_moods"], **values["moods"]} if sound else {}
            self.files = [_read(FileReport, file) for file in files]
            self.moods = {name: _read(MoodReport, mood) for name, mood in moods.items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            self.lights, self.files, self.moods = {}, [], {}

    def fingerprint(self, light: str, path: Path) -> str | None:
        """Fingerprint of a pass whose file has the size and times of change noted then."""
        noted = self.lights.get(light, {})
        facts = path.stat()
        same = (
            noted.get("file") == str(path)
            and noted.get("bytes") == facts.st_size
            and noted.get("modified_ns") == facts.st_mtime_ns
            and noted.get("changed_ns") == facts.st_ctime_ns
        )
        return noted.get("fingerprint") if same else None

    def carry_over(self, report: RunReport) -> None:
        """Note in a new report what this one knows of files that the new run did not ask for."""
        report.earlier_moods = {
            name: mood for name, mood in self.moods.items() if name not in report.moods
        }
        made = {file.path for file in report.files}
        known = {"", *report.earlier_moods}  # contact sheets are no mood's
        report.earlier_files = [
            file
            for file in self.files
            if file.mood in known and file.path not in made and file.path.exists()
        ]

    def keep(self, file: FileReport) -> FileReport | None:
        """Give the earlier file if it is still there, untouched, and made of the same."""
        for noted in self.files:
            if noted.path == file.path and noted.made_of == file.made_of and noted.sha256:
                return noted if _hash(noted.path, noted.bytes) == noted.sha256 else None
        return None


def _hash(path: Path, size: int | None) -> str | None:
    try:
        if path.stat().st_size != size:
            return None
        with open_regular(path) as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return None


def _read(kind: type[Any], values: dict[str, Any]) -> Any:
    """Make a report's part of what was read; what it does not know is left out."""
    known = {field.name for field in fields(kind)}
    read = kind(**{key: value for key, value in values.items() if key in known})
    if isinstance(read, FileReport):
        read.path, read.mood = Path(read.path), str(read.mood)
    return read
