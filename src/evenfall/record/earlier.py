"""Files of an earlier run that are what this run would make, and are left as they are."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path

from evenfall.record.hashes import Hashes
from evenfall.record.report import RunReport
from evenfall.record.values import FileReport, InputReport, MadeOf, MoodReport
from evenfall.system.opened import Opened
from evenfall.system.regular import open_regular

__all__ = ["Earlier", "files_seen_from", "is_intact", "made_of", "made_of_all", "rebased"]


class Earlier:
    """What the report of an earlier run says, held against the files.

    Parameters
    ----------
    report : RunReport or None
        From `RunReport.read`; None says nothing.
    spent : mapping of Path to str
        SHA-256 of files that have gone into others which still stand.
    """

    def __init__(self, report: RunReport | None, spent: Mapping[Path, str] | None = None) -> None:
        self.report, self._spent = report, spent or {}
        self._files: dict[Path, FileReport] = {}
        self._moods: dict[str, MoodReport] = {}
        if report is not None:
            self._files = {one.path: one for one in (*report.earlier_files, *report.files)}
            self._moods = {**report.earlier_moods, **report.moods}

    @property
    def inputs(self) -> dict[Path, InputReport]:
        """What was noted of files that were read then, by absolute path."""
        if self.report is None:
            return {}
        folder = self.report.out
        return {_from(folder, file): noted for file, noted in self.report.inputs.items()}

    def small_pictures(self, name: str, facts: str, hashes: Hashes) -> tuple[str, ...]:
        """Give digests by which a small picture of a mood may be kept, if it is the same now."""
        noted = self.noted(name, facts)
        if noted is None or noted.made_of is None:
            return ()
        return (noted.made_of.digest,) if self._is_unchanged(noted.made_of, hashes) else ()

    def noted(self, name: str, facts: str) -> MoodReport | None:
        """Give an earlier mood whose facts are these, whatever became of its files since."""
        noted = self._moods.get(name)
        if noted is None or noted.made_of is None or noted.made_of.facts != facts:
            return None
        return noted

    def file(self, path: Path, facts: str, hashes: Hashes) -> FileReport | None:
        """Give an earlier file, if it is still there, untouched, and would come out the same."""
        noted = self._files.get(path)
        if noted is None or noted.made_of is None or noted.made_of.facts != facts:
            return None
        if not self._is_unchanged(noted.made_of, hashes):
            return None
        stands = is_intact(noted) or self._spent.get(path) == noted.sha256
        return noted.model_copy(update={"kept": True}) if stands else None

    def _is_unchanged(self, made_of: MadeOf, hashes: Hashes) -> bool:
        assert self.report is not None
        folder = self.report.out
        files = {_from(folder, file): sha256 for file, sha256 in made_of.inputs.items()}
        return all(hashes.now(path) == sha256 for path, sha256 in files.items())

    def others(
        self, moods: Collection[str], paths: Collection[Path]
    ) -> tuple[dict[str, MoodReport], tuple[FileReport, ...]]:
        """Give moods and files that are not among these, as far as the files are still there."""
        others = {name: mood for name, mood in self._moods.items() if name not in moods}
        known = {"", *others}  # contact sheets are no mood's
        files = (
            file
            for path, file in self._files.items()
            if file.mood in known and path not in paths and path.exists()
        )
        return others, tuple(files)


def made_of(facts: str, opened: Iterable[Opened], hashes: Hashes, folder: Path) -> MadeOf | None:
    """Say what something was made of; None when a file has changed before it could be hashed.

    Parameters
    ----------
    facts : str
        Digest of what was known before.
    opened : iterable of Opened
        What was opened for it.
    hashes : Hashes
        Finds what was not hashed as it was read.
    folder : Path
        Of the report, from which paths are seen.
    """
    found = {each: hashes.of(each) for each in opened}
    inputs = {seen_from(folder, each.path): sha256 for each, sha256 in found.items()}
    known = {file: sha256 for file, sha256 in inputs.items() if sha256 is not None}
    if len(known) < len(inputs) or _has_changed(found):
        return None
    return MadeOf(facts=facts, inputs=known)


def rebased(made_of: MadeOf, folder: Path, other: Path) -> MadeOf:
    """Name the files that something was made of as they are seen from another folder."""
    inputs = {
        seen_from(other, _from(folder, file)): sha256 for file, sha256 in made_of.inputs.items()
    }
    return MadeOf(facts=made_of.facts, inputs=inputs)


def made_of_all(facts: str, parts: Iterable[MadeOf | None]) -> MadeOf | None:
    """Say what something that shows several pictures was made of; None when that is not known.

    Parameters
    ----------
    facts : str
        Digest of what was known before.
    parts : iterable of MadeOf or None
        Of the pictures.
    """
    inputs: dict[str, str] = {}
    for part in parts:
        if part is None or any(inputs.get(file, one) != one for file, one in part.inputs.items()):
            return None
        inputs |= part.inputs
    return MadeOf(facts=facts, inputs=inputs)


def _has_changed(found: Mapping[Opened, str | None]) -> bool:
    """Whether a file was opened twice, and was another one the second time."""
    by_path: dict[Path, set[str | None]] = {}
    for opened, sha256 in found.items():
        by_path.setdefault(opened.path, set()).add(sha256)
    return any(len(some) > 1 for some in by_path.values())


def files_seen_from(
    folder: Path, opened: Iterable[Opened], hashes: Hashes
) -> dict[str, InputReport]:
    """Note files with their hashes, sizes and times, for a later run."""
    noted = {}
    for each in opened:
        sha256, stamp = hashes.of(each), each.stamp
        if sha256 is not None and stamp.is_settled():
            noted[seen_from(folder, each.path)] = InputReport(
                sha256=sha256,
                bytes=stamp.size,
                modified_ns=stamp.modified_ns,
                changed_ns=stamp.changed_ns,
            )
    return noted


def seen_from(folder: Path, path: Path) -> str:
    """Write a path as it is seen from a folder, so that both may be moved together.

    Examples
    --------
    >>> seen_from(Path("/villa/pictures"), Path("/villa/passes/sun.exr"))
    '../passes/sun.exr'
    """
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # another drive
        return path.absolute().as_posix()


def _from(folder: Path, file: str) -> Path:
    return Path(os.path.normpath(folder / file))


def is_intact(file: FileReport) -> bool:
    """Whether what lies under a file's name is what was noted of it."""
    try:
        if file.sha256 is None or file.path.stat().st_size != file.bytes:
            return False
        with open_regular(file.path) as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest() == file.sha256
    except OSError:
        return False
