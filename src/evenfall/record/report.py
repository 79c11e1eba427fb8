"""The report of a run: what was made, of what, and how."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from evenfall.errors import Fault

__all__ = ["REPORT_FORMAT", "FileReport", "LightReport", "MoodReport", "RunReport"]

REPORT_FORMAT = 1


@dataclass
class LightReport:
    """A light's pass.

    Parameters
    ----------
    file : str
        The pass file; the first of several that add up to it.
    layer, part : str
        Names inside the file; empty where it gives none.
    fingerprint : str or None
        ``"sha256:..."`` of the file or files, as they were read; None when it could not be read or
        was not needed.
    bytes, modified_ns, changed_ns : int or None
        Size and times of change of the file then: of its contents, and of anything about it.
    nan_pixels, infinite_pixels, negative_pixels, overflow_pixels, replaced_pixels : int or None
        What was wrong with its pixels; None when it was not read.
    alpha_pixels, huge_pixels : int or None
        Those whose alpha was NaN or infinite, and those brighter than any light.
    added : list of str
        Further pictures that add up to it, by file, layer and part; empty for most.
    """

    file: str
    layer: str
    part: str
    fingerprint: str | None = None
    bytes: int | None = None
    modified_ns: int | None = None
    changed_ns: int | None = None
    nan_pixels: int | None = None
    infinite_pixels: int | None = None
    negative_pixels: int | None = None
    overflow_pixels: int | None = None
    replaced_pixels: int | None = None
    alpha_pixels: int | None = None
    huge_pixels: int | None = None
    added: list[str] = field(default_factory=list)


@dataclass
class MoodReport:
    """A mood as it was made: balance, exposure, statistics.

    Parameters
    ----------
    title : str
        Name for people.
    lights : dict
        By light that is on: gain as factor and stops, factors for R, G, B, colour.
    exposure : dict
        Factor and stops the mix was multiplied by, what the meter read, EV at ISO 100.
    statistics : dict
        Mean of the mix; shares of clipped and of black pixels.
    notes : list of str
        What a person should know.
    """

    title: str
    lights: dict[str, Any] = field(default_factory=dict)
    exposure: dict[str, Any] = field(default_factory=dict)
    statistics: dict[str, Any] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


@dataclass
class FileReport:
    """A file of the run.

    Parameters
    ----------
    path : Path
        Its final name.
    mood : str
        Whose; empty for the contact sheet.
    format : str
        As recipes write it.
    made_of : str
        Digest of everything that its bytes follow from.
    bytes : int or None
        Size; None in a dry run.
    sha256 : str or None
        Of the file.
    kept : bool
        True when the file was left from an earlier run, being what this run would have made.
    """

    path: Path
    mood: str
    format: str
    made_of: str = ""
    bytes: int | None = None
    sha256: str | None = None
    kept: bool = False


@dataclass
class RunReport:
    """What a run made.

    Parameters
    ----------
    recipe : Path
        The recipe file.
    changes : tuple of str
        One-off changes to it.
    out : Path
        Folder of the files.
    report : Path or None
        The report as a file; None in a dry run.
    draft, dry_run : bool
        What kind of run it was.
    width, height : int
        Size of the mixes in pixels.
    lights : dict of str to LightReport
        Lights that were needed.
    moods : dict of str to MoodReport
        Moods that were made or kept.
    files : list of FileReport
        In the order of moods and deliverables; the contact sheet last.
    faults : tuple of Fault
        Why moods or files are missing: the run was told to keep going, or it ended early.
    notes : list of str
        What a person should know.
    seconds : dict of str to float
        Wall-clock time by stage.
    versions : dict of str to str
        Versions of evenfall and of what it computes with.
    earlier_files : list of FileReport
        Files of other moods, and a contact sheet, in the same folder, as an earlier run noted them.
    earlier_moods : dict of str to MoodReport
        Those moods.
    """

    recipe: Path
    changes: tuple[str, ...]
    out: Path
    report: Path | None
    draft: bool
    dry_run: bool
    width: int
    height: int
    lights: dict[str, LightReport] = field(default_factory=dict)
    moods: dict[str, MoodReport] = field(default_factory=dict)
    files: list[FileReport] = field(default_factory=list)
    faults: tuple[Fault, ...] = ()
    notes: list[str] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=dict)
    versions: dict[str, str] = field(default_factory=dict)
    earlier_files: list[FileReport] = field(default_factory=list)
    earlier_moods: dict[str, MoodReport] = field(default_factory=dict)

    def to_json(self) -> str:
        """Everything as JSON text, for programs and archives.

        Examples
        --------
        >>> report = RunReport(Path("villa.toml"), (), Path("pictures"), None, False, True, 8, 4)
        >>> json.loads(report.to_json())["width"]
        8
        """
        values = {"evenfall_report": REPORT_FORMAT, **asdict(self)}
        values["faults"] = [str(fault) for fault in self.faults]
        return json.dumps(values, indent=2, ensure_ascii=False, default=_plain) + "\n"

    def to_bytes(self) -> bytes:
        """Give the JSON text as UTF-8; file names that are none are escaped as in JSON."""
        return self.to_json().encode(errors="backslashreplace")


def _plain(value: object) -> object:
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"no JSON for {type(value).__name__}")
