"""The rounds that are kept of a recipe: where they lie, and what they hold.

They lie in `rounds` beside the recipe, a folder a round, by number. Where the rounds of another
recipe lie there, they lie in a folder of the recipe's own name inside.
"""

from __future__ import annotations

import hashlib
import os
import re
import time
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from evenfall.errors import Fault, UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.reading import read_text
from evenfall.recipe.recipe import load_text
from evenfall.recipe.words.suggesting import joined
from evenfall.record.round_record import RoundRecord
from evenfall.system.opened import Stamp

__all__ = [
    "RECORD_NAME",
    "KeptRound",
    "find_round",
    "has_rounds",
    "kept_pictures",
    "next_number",
    "read_rounds",
    "rounds_folder",
    "rounds_here",
]

RECORD_NAME = "round.toml"

_FOLDER = "rounds"
_SETTLED_NS = 2_000_000_000
_NUMBER = re.compile(r"0*([1-9]\d*)")


@dataclass(frozen=True)
class KeptRound:
    """A round as it lies on the disk.

    Parameters
    ----------
    number : int
        Its number, which is its folder's name.
    folder : Path
        Where it lies.
    record : RoundRecord or None
        What is noted of it; None where that cannot be read.
    trouble : str
        What is wrong with it, for people; empty when nothing is.
    is_refused : bool
        Whether the system did not give what is noted of it, so that it may be whole.
    """

    number: int
    folder: Path
    record: RoundRecord | None
    trouble: str = ""
    is_refused: bool = False

    @property
    def recipe_path(self) -> Path:
        """Its recipe, verbatim."""
        name = self.record.recipe if self.record is not None else ""
        return self.folder / name

    def recipe_text(self) -> str:
        """Text of its recipe.

        Raises
        ------
        UsageError
            When the round is not whole.
        """
        if self.record is None or self.trouble:
            raise UsageError(Fault(str(self.folder), "", self.trouble or "is no round"))
        return read_text(self.recipe_path)

    def base_texts(self) -> dict[str, str]:
        """Texts of the files that its recipe builds on, by their path from the recipe's folder."""
        bases = () if self.record is None else self.record.bases
        return {base.path: read_text(self.folder / base.file) for base in bases}

    def holds(self, text: str, bases: Mapping[str, str]) -> bool:
        """Whether it is a whole round of just this recipe, with what that builds on."""
        return not self.trouble and (self.recipe_text(), self.base_texts()) == (text, dict(bases))

    def load(self, path: Path, **options: Any) -> Recipe:
        """Load its recipe as if it lay at a path; further options are those of `load_text`.

        Raises
        ------
        UsageError
            When the round is not whole.
        RecipeError
            When this evenfall does not read it.
        """
        return load_text(self.recipe_text(), path, bases=self.base_texts(), **options)

    @cached_property
    def damages(self) -> tuple[str, ...]:
        """Files of it that are missing, or are not as they were kept."""
        if self.record is None:
            return ()
        noted = {picture.file: picture.sha256 for picture in self.record.pictures}
        return tuple(
            f"{name} {'is missing' if found is None else 'was changed since'}"
            for name, sha256 in noted.items()
            if (found := _hash(self.folder / name)) != sha256
        )


def rounds_folder(recipe: Path) -> Path:
    """Where the rounds of a recipe lie, or would."""
    beside = recipe.absolute().parent / _FOLDER
    own = beside / recipe.stem
    if own.is_dir():
        return own
    for number, folder in _numbered(beside):
        record = _read(number, folder).record
        if record is not None and record.recipe != recipe.name:
            return own
    return beside


def rounds_here() -> Path:
    """Give the rounds that lie in the working folder, where they are those of one view.

    Raises
    ------
    UsageError
        When there are none, or of several views.
    """
    beside = Path(_FOLDER)
    folders = [path for path in (beside, *sorted(beside.glob("*/"))) if _numbered(path)]
    if not folders:
        if beside.is_dir():
            return beside
        hint = "name the recipe: --recipe view.toml"
        raise UsageError(Fault(_FOLDER, "", "there is no such folder here", "", hint))
    if len(folders) > 1:
        records = [each.record for folder in folders for each in read_rounds(folder)]
        names = sorted({record.recipe for record in records if record is not None})
        found = f"rounds of several views lie here: {joined(names, 'and')}"
        hint = f"say whose: --recipe {names[0] if names else 'view.toml'}"
        raise UsageError(Fault(_FOLDER, "", found, "", hint))
    return folders[0]


def has_rounds(recipe: Path) -> bool:
    """Whether rounds are kept where a recipe lies, its own or another's."""
    return (recipe.absolute().parent / _FOLDER).is_dir()


def read_rounds(folder: Path) -> tuple[KeptRound, ...]:
    """Read the rounds in a folder, by number; those that are not whole say what is wrong."""
    return tuple(_read(number, path) for number, path in _numbered(folder))


def next_number(folder: Path) -> int:
    """Give the number of the next round; none is ever used twice."""
    return max((number for number, _ in _numbered(folder)), default=0) + 1


def find_round(folder: Path, number: int) -> KeptRound:
    """Give one round.

    Raises
    ------
    UsageError
        When there is no such round.
    """
    rounds = read_rounds(folder)
    for kept in rounds:
        if kept.number == number:
            return kept
    known = joined([str(kept.number) for kept in rounds], "and")
    hint = f"kept are {known}" if known else "no round is kept yet; 'evenfall round keep' keeps one"
    raise UsageError(Fault(str(folder), "", f"there is no round {number}", "", hint))


def kept_pictures(recipe: Path) -> dict[Path, int]:
    """Deliverables that belong to rounds of a recipe, each with the last round that has it."""
    found: dict[Path, int] = {}
    for kept in read_rounds(rounds_folder(recipe)):
        for file in kept.record.deliverables if kept.record is not None else ():
            found[(recipe.absolute().parent / file.path).resolve()] = kept.number
    return found


def _numbered(folder: Path) -> list[tuple[int, Path]]:
    if not folder.is_dir():
        return []
    found = [(_NUMBER.fullmatch(path.name), path) for path in folder.iterdir() if path.is_dir()]
    return sorted((int(match[1]), path) for match, path in found if match is not None)


def _read(number: int, folder: Path) -> KeptRound:
    """Read a round; one that has lain as it is for a while is read once a process."""
    try:
        stamps = _stamps(folder)
        newest = max((stamp.changed_ns for _, stamp in stamps), default=0)
        if time.time_ns() - newest < _SETTLED_NS:  # a clock that ticks slowly may hide a change
            return _read_now(number, folder)
        return _read_settled(number, folder, stamps)
    except OSError as error:
        said = error.strerror or str(error)
        trouble = f"{RECORD_NAME} cannot be read: {said}"
        return KeptRound(number, folder, None, trouble, is_refused=folder.is_dir())


def _stamps(folder: Path) -> frozenset[tuple[str, Stamp]]:
    with os.scandir(folder) as entries:
        return frozenset((entry.name, Stamp.of(entry.stat())) for entry in entries)


@lru_cache(maxsize=256)
def _read_settled(number: int, folder: Path, stamps: frozenset[tuple[str, Stamp]]) -> KeptRound:
    del stamps  # they tell one state of the folder from another
    return _read_now(number, folder)


def _read_now(number: int, folder: Path) -> KeptRound:
    try:
        text = (folder / RECORD_NAME).read_text(encoding="utf-8")
        record = RoundRecord.from_toml(text)
    except FileNotFoundError:
        return KeptRound(number, folder, None, f"is not a whole round: {RECORD_NAME} is missing")
    except UnicodeDecodeError:
        return KeptRound(number, folder, None, f"{RECORD_NAME} is not UTF-8 text")
    except ValueError as error:
        return KeptRound(number, folder, None, f"{RECORD_NAME} {error}")
    noted = [(record.recipe, record.recipe_sha256)]
    noted += [(base.file, base.sha256) for base in record.bases]
    troubles = (_trouble(folder, name, sha256) for name, sha256 in noted)
    return KeptRound(number, folder, record, next((one for one in troubles if one), ""))


def _trouble(folder: Path, name: str, sha256: str) -> str:
    found = _hash(folder / name)
    if found is None:
        return f"is not a whole round: {name} is missing"
    return "" if found == sha256 else f"{name} in it was changed since it was kept"


def _hash(path: Path) -> str | None:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None
