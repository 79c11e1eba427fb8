"""Every edit of a recipe at the desk, on disk before anybody sees it: to undo, and to come back to.

The journal lies beside the recipe, a line of JSON an edit. An edit is a splice: at which sign, what
was taken out, what was put in; so undoing one gives the text before it, byte for byte. A line that
was not finished when the machine stopped is left out.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from io import FileIO
from pathlib import Path
from typing import Any

from evenfall.errors import Fault, OutputError, UsageError

__all__ = ["Edit", "Journal", "journal_path", "text_hash"]

_FORMAT = 1
_LARGEST_BYTES = 256 << 20


@dataclass(frozen=True)
class Edit:
    """A splice in a text.

    Parameters
    ----------
    at : int
        Sign at which it begins.
    out, put : str
        What was there, and what is there now.
    said : str
        What it was, in words.
    mood : str
        The mood it was made in; empty for the whole recipe.
    """

    at: int
    out: str
    put: str
    said: str
    mood: str = ""

    @classmethod
    def between(cls, before: str, after: str, said: str, mood: str = "") -> Edit:
        """Give the splice that makes one text of another.

        Examples
        --------
        >>> Edit.between("sky = -1", "sky = -2", "sky down 1")
        Edit(at=7, out='1', put='2', said='sky down 1', mood='')
        """
        at = _alike(before, after)
        rest = min(len(before), len(after)) - at
        behind = _alike(before[::-1][:rest], after[::-1][:rest])
        return cls(
            at, before[at : len(before) - behind], after[at : len(after) - behind], said, mood
        )

    def forth(self, text: str) -> str:
        """Make the edit."""
        return text[: self.at] + self.put + text[self.at + len(self.out) :]

    def back(self, text: str) -> str:
        """Undo the edit."""
        return text[: self.at] + self.out + text[self.at + len(self.put) :]


def _alike(one: str, other: str) -> int:
    """Signs that two texts have in common at their beginning."""
    if one == other:
        return len(one)
    return next(
        (place for place, (a, b) in enumerate(zip(one, other, strict=False)) if a != b),
        min(len(one), len(other)),
    )


def journal_path(recipe: Path) -> Path:
    """Where the edits of a recipe are kept."""
    return recipe.with_name(f".{recipe.name}.desk")


class Journal:
    """The edits of a recipe, those undone included, and the text that they come to.

    Parameters
    ----------
    path : Path
        Its file; begun anew where there is none that can be read.
    disk_text : str
        What the recipe's file holds now.

    Attributes
    ----------
    text : str
        What the recipe comes to.
    saved : str
        Hash of the text that its file held when it was last read or written here.
    """

    def __init__(self, path: Path, disk_text: str) -> None:
        self.path = path
        self.text, self.saved = disk_text, text_hash(disk_text)
        self._edits: list[Edit] = []
        self._place = 0
        self._owed: tuple[dict[str, Any], ...] = ()  # what found no room yet
        self._file = _held_alone(path)
        try:
            whole = self._load()
            self._whole = whole or 0  # bytes of whole lines
            if whole is None:
                self.text, self.saved, self._edits, self._place = (
                    disk_text, text_hash(disk_text), [], 0,
                )  # fmt: skip
                self._write({"evenfall_desk": _FORMAT, "text": disk_text})
        except OutputError:
            self._file.close()
            raise

    @property
    def undoes(self) -> Edit | None:
        """The edit that would be undone."""
        return self._edits[self._place - 1] if self._place else None

    @property
    def redoes(self) -> Edit | None:
        """The edit that would be made again."""
        return self._edits[self._place] if self._place < len(self._edits) else None

    def add(self, after: str, said: str, mood: str = "") -> None:
        """Note an edit; those that were undone are gone."""
        self._note(asdict(Edit.between(self.text, after, said, mood)))

    def add_both(self, first: tuple[str, str], second: tuple[str, str]) -> None:
        """Note two edits, each what it comes to and what it was, or none of them."""
        lines = [
            asdict(Edit.between(before, after, said))
            for before, (after, said) in ((self.text, first), (first[0], second))
        ]
        self._note(*lines)

    def replace(self, after: str, said: str, mood: str = "") -> None:
        """Note an edit in place of the last, or none where it comes to what was before that."""
        last = self.undoes
        assert last is not None
        before = last.back(self.text)
        edit = asdict(Edit.between(before, after, said, mood))
        self._note({"go": -1}, *([edit] if after != before else []))

    def undo(self) -> Edit | None:
        """Go back by an edit."""
        edit = self.undoes
        if edit is not None:
            self._note({"go": -1})
        return edit

    def redo(self) -> Edit | None:
        """Go forth again by an edit."""
        edit = self.redoes
        if edit is not None:
            self._note({"go": 1})
        return edit

    def note_saved(self, text: str) -> None:
        """Note what the recipe's file holds; where there is no room, together with what follows."""
        if text_hash(text) != self.saved:
            self.saved = text_hash(text)
            self._owed = ({"saved": self.saved},)
        if self._owed:
            with contextlib.suppress(OutputError):
                self._write()

    def sync(self) -> None:
        """Let the disk hold what was noted, should the power fail."""
        with contextlib.suppress(OSError):
            os.fsync(self._file.fileno())

    def close(self, *, keep: bool) -> None:
        """End it; where nothing is left to come back to, its file goes."""
        if self._file.closed:
            return
        self.sync()
        with contextlib.suppress(OSError):  # nothing is lost: the next desk finds nothing unsaved
            self._file.close()
            if not keep:
                self.path.unlink(missing_ok=True)

    def _note(self, *lines: dict[str, Any]) -> None:
        """Write lines, and do what they say once they are on disk."""
        self._write(*lines)
        for line in lines:
            self._take(line)

    def _write(self, *lines: dict[str, Any]) -> None:
        """Write lines behind the whole ones: all of them, or what stood there stands.

        Raises
        ------
        OutputError
            When the system refuses.
        """
        data = b"".join(json.dumps(line).encode() + b"\n" for line in (*self._owed, *lines))
        try:
            self._cut()
            left = memoryview(data)
            while left:  # a disk that gets full takes a part
                left = left[self._file.write(left) :]
        except OSError as error:
            with contextlib.suppress(OSError):  # else before the next line
                self._cut()
            raise OutputError(_not_kept(self.path, error)) from error
        self._whole, self._owed = self._whole + len(data), ()

    def _cut(self) -> None:
        """Let nothing stand behind the whole lines."""
        if os.fstat(self._file.fileno()).st_size != self._whole:
            self._file.truncate(self._whole)

    def _take(self, line: dict[str, Any]) -> None:
        """Do what a line says."""
        if "saved" in line:
            self.saved = str(line["saved"])
        elif line.get("go") == -1:
            self.text = self._edits[: self._place][-1].back(self.text)
            self._place -= 1
        elif line.get("go") == 1:
            self.text = self._edits[self._place].forth(self.text)
            self._place += 1
        else:
            edit = Edit(**line)
            del self._edits[self._place :]
            self._edits.append(edit)
            self.text = edit.forth(self.text)
            self._place += 1

    def _load(self) -> int | None:
        """Read the file; gives the bytes of its whole lines, None where it is none.

        Raises
        ------
        OutputError
            When the system does not give it: what is not saved lies in it.
        """
        try:
            if self.path.stat().st_size > _LARGEST_BYTES:
                return None
            data = self.path.read_bytes()
        except OSError as error:
            found = f"cannot be read: {error.strerror or error}"
            hint = "what was not saved lies in it: try again, or check the disk"
            raise OutputError(Fault(str(self.path), "", found, "", hint)) from error
        try:
            lines = self._lines(data)
            first = next(lines, (0, {}))
            if first[1].get("evenfall_desk") != _FORMAT:
                return None
            end, self.text = first[0], str(first[1]["text"])
            self.saved = text_hash(self.text)
        except (ValueError, KeyError):
            return None
        with contextlib.suppress(TypeError, IndexError):  # what follows is left out
            for at, line in lines:
                self._take(line)
                end = at
        return end

    @staticmethod
    def _lines(data: bytes) -> Iterator[tuple[int, dict[str, Any]]]:
        """Give whole lines, each with where it ends; what follows a broken one is left out."""
        end = 0
        for line in data.split(b"\n")[:-1]:
            end += len(line) + 1
            try:
                told = json.loads(line)
            except ValueError:
                return
            if not isinstance(told, dict):
                return
            yield end, told


def _held_alone(path: Path) -> FileIO:
    """Open a journal that no other desk has open, to write at its end; never through a link.

    Raises
    ------
    UsageError
        When another desk is open on the recipe.
    OutputError
        When the system refuses.
    """
    flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0)
    try:
        file = FileIO(os.open(path, flags, 0o600), "r+")
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise OutputError(Fault(str(path), "", f"cannot be written: {reason}")) from error
    with contextlib.suppress(ImportError):  # a system without such locks
        import fcntl

        try:
            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            file.close()
            found = "a desk is open on this recipe already"
            hint = "open the address that its terminal shows in another window of the browser"
            raise UsageError(Fault(str(path), "", found, hint=hint)) from None
    return file


def _not_kept(path: Path, error: OSError) -> Fault:
    found = f"cannot be written: {error.strerror or error}"
    return Fault(str(path), "", found, "", "nothing was changed; do it again once there is room")


def text_hash(text: str) -> str:
    """Hash of a text."""
    return hashlib.sha256(text.encode()).hexdigest()
