"""The report of a run: what was made, of what, and how; also what a later run reads of it.

A report is a frozen value. It is written as JSON with a checksum over everything else in it, and
what has another checksum, another format or another shape when it is read says nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Literal, Self

from pydantic_core import to_json

from evenfall.errors import Fault
from evenfall.recipe import Recipe
from evenfall.record.values import (
    FileReport,
    InputReport,
    MoodReport,
    Name,
    PassReport,
    Text,
    Value,
)
from evenfall.system.regular import open_regular

__all__ = ["REPORT_FORMAT", "RunReport", "State", "frame_report_path", "report_path"]

REPORT_FORMAT = 2

State = Literal["dry run", "begun", "stopped", "failed", "ended"]
"""How far a run came; a report that says "begun" is of one that is at work, or was killed."""

_LARGEST_BYTES = 256 << 20


class RunReport(Value):
    """What a run made.

    Parameters
    ----------
    recipe : Path
        The recipe file.
    changes : tuple of str
        One-off changes to it.
    out : Path
        Folder of the files.
    state : str
        How far the run came.
    since : str
        When it began, ISO 8601 with offset.
    draft : bool
        Whether drafts were made.
    width, height : int
        Size of the mixes in pixels.
    report : Path or None
        The report as a file; None in a dry run.
    lights : mapping of str to PassReport
        Lights whose passes the moods follow from.
    moods : mapping of str to MoodReport
        Moods that were made or kept.
    files : tuple of FileReport
        In the order of moods and deliverables; the contact sheet last. Those of a run that did not
        end are there as far as it came.
    outstanding : tuple of Path
        Files that a run which did not end was to make and did not: what stands under these names
        is older than the run.
    faults : tuple of Fault
        Why moods or files are missing: the run was told to keep going, or it ended early.
    notes : tuple of str
        What a person should know.
    seconds : mapping of str to float
        Wall-clock time by stage.
    versions : mapping of str to str
        Versions of evenfall and of what it computes with.
    inputs : mapping of str to InputReport
        Files that were read, by path as seen from the report's folder, so that a later run knows
        without reading them again which have changed.
    earlier_files : tuple of FileReport
        Files of other moods, and a contact sheet, in the same folder, as an earlier run noted them.
    earlier_moods : mapping of str to MoodReport
        Those moods.
    """

    recipe: Name
    changes: tuple[Text, ...]
    out: Name
    state: State
    since: str
    draft: bool
    width: int
    height: int
    report: Name | None = None
    lights: Mapping[Text, PassReport] = {}
    moods: Mapping[Text, MoodReport] = {}
    files: tuple[FileReport, ...] = ()
    outstanding: tuple[Name, ...] = ()
    faults: tuple[Fault, ...] = ()
    notes: tuple[Text, ...] = ()
    seconds: Mapping[str, float] = {}
    versions: Mapping[str, str] = {}
    inputs: Mapping[Text, InputReport] = {}
    earlier_files: tuple[FileReport, ...] = ()
    earlier_moods: Mapping[Text, MoodReport] = {}

    @property
    def dry_run(self) -> bool:
        """Whether nothing was to be written."""
        return self.state == "dry run"

    def to_json(self) -> str:
        """Everything as JSON text, with its checksum; paths are seen from the folder of the files.

        Examples
        --------
        >>> report = RunReport(recipe=Path("/v/villa.toml"), changes=(), out=Path("/v/pictures"),
        ...     state="dry run", since="", draft=False, width=8, height=4)
        >>> values = json.loads(report.to_json())
        >>> values["recipe"], values["width"]
        ('../villa.toml', 8)
        """
        dumped: dict[str, Any] = _plain(self.model_dump(exclude={"out", "report"}))
        values = _as_seen_from(self.out, dumped)
        values = {"evenfall_report": REPORT_FORMAT, **values, "checksum": _checksum(values)}
        return _indented(values) + "\n"

    def to_bytes(self) -> bytes:
        """Give the JSON text as UTF-8; file names that are none are escaped as in JSON."""
        return self.to_json().encode(errors="backslashreplace")

    @classmethod
    def read(cls, path: Path, out: Path | None = None) -> Self | None:
        """Read a report; None when there is none, or it is not as a run wrote it.

        Parameters
        ----------
        path : Path
            The file.
        out : Path, optional
            Folder of the pictures; that of the report otherwise.
        """
        try:
            with open_regular(path) as stream:
                values = json.loads(stream.read(_LARGEST_BYTES))
            if values.pop("evenfall_report") != REPORT_FORMAT:
                return None
            if values.pop("checksum") != _checksum(values):
                return None
            folder = (path.parent if out is None else out).absolute()
            return cls(**_resolved_from(folder, values), out=folder, report=path.absolute())
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return None


def report_path(out: Path, output_stem: str, *, draft: bool) -> Path:
    """Where the report of a recipe's pictures, or of its drafts, lies.

    Examples
    --------
    >>> report_path(Path("pictures"), "villa", draft=True).as_posix()
    'pictures/villa_draft_report.json'
    """
    return out / f"{output_stem}{'_draft' if draft else ''}_report.json"


def frame_report_path(out: Path, recipe: Recipe, moods: Sequence[str], *, draft: bool) -> Path:
    """Where the report of a frame of many lies: in a folder of their own."""
    shown = f"_{moods[0]}" if len(moods) == 1 else ""
    stem = f"{recipe.path.stem}{shown}_{recipe.number or 0:04d}"
    return report_path(out / "reports", stem, draft=draft)


def _plain(value: Any) -> Any:
    """Values as JSON has them; texts stay as they are, also what is no UTF-8 in file names."""
    if value is None or isinstance(value, str | int | float):
        return value
    if isinstance(value, Mapping):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    return str(value) if isinstance(value, Path) else value


def _indented(values: dict[str, Any]) -> str:
    try:  # ten times as quick as by the standard library, which counts: a report is written often
        return to_json(values, indent=2, inf_nan_mode="constants").decode()
    except ValueError:  # a file name that is no UTF-8
        return json.dumps(values, indent=2, ensure_ascii=False)


def _checksum(values: Mapping[str, Any]) -> str:
    text = json.dumps(values, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _as_seen_from(folder: Path, values: dict[str, Any]) -> dict[str, Any]:
    def seen(path: str) -> str:
        try:
            return Path(os.path.relpath(path, folder)).as_posix()
        except ValueError:  # another drive
            return path

    return _with_paths(values, seen)


def _resolved_from(folder: Path, values: dict[str, Any]) -> dict[str, Any]:
    return _with_paths(values, lambda path: os.path.normpath(folder / path))


def _with_paths(values: dict[str, Any], change: Any) -> dict[str, Any]:
    """Change how paths are written."""
    changed = {
        **values,
        "recipe": change(values["recipe"]),
        "outstanding": [change(path) for path in values["outstanding"]],
        "lights": {
            light: {**each, "file": change(each["file"])}
            for light, each in values["lights"].items()
        },
    }
    for key in ("files", "earlier_files"):
        changed[key] = [{**file, "path": change(file["path"])} for file in values[key]]
    return changed
