"""Files that a recipe names: where they should lie, and whether they are there."""

from __future__ import annotations

import glob
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import get_args

from evenfall.recipe.base import NamesFile, Part, Use
from evenfall.recipe.file_names import asks_for, filled_in, parted
from evenfall.recipe.model import Passes, RecipeModel
from evenfall.recipe.places import Place
from evenfall.recipe.words.findings import Finding
from evenfall.recipe.words.hints import shown

__all__ = [
    "NamedFile",
    "check_files",
    "frames_there",
    "lies_in_passes",
    "named_files",
    "pass_file_name",
]


_TOLD_ELSEWHERE = ("logo", "scene", "view")  # what needs them says when they are missing


@dataclass(frozen=True)
class NamedFile:
    """A file that the recipe names.

    Parameters
    ----------
    place : Place
        Where the recipe names it.
    name : str
        As the recipe says it.
    use : str
        What it is for.
    channel : str or None
        Which of its channels is meant, if the recipe says.
    """

    place: Place
    name: str
    use: Use
    channel: str | None = None

    @property
    def in_passes(self) -> bool:
        """Whether it lies in the passes' folder, and not beside the recipe."""
        return lies_in_passes(self.use)


def lies_in_passes(use: Use) -> bool:
    """Whether a file for something lies in the passes' folder, and not beside the recipe."""
    return use in ("pass", "guide", "numbers")


def pass_file_name(name: str, passes: Passes) -> str:
    """Fill frame number and camera into the name of a pass's file.

    Examples
    --------
    >>> pass_file_name("sun.####.exr", Passes(frame=12))
    'sun.0012.exr'
    >>> pass_file_name("{view}/sun.exr", Passes(view="kitchen"))
    'kitchen/sun.exr'
    """
    return filled_in(name, frame=passes.frame, view=passes.view)


def frames_there(name: str, folder: Path, *, view: str | None) -> set[int]:
    """Find the frames of which a folder has a file.

    Parameters
    ----------
    name : str
        Of the file, with ``####`` for the frame.
    folder : Path
        From which the name leads.
    view : str or None
        What stands for ``{view}``.
    """
    parts = list(parted(name, view=view))
    pattern = "".join("*" if part is None else glob.escape(part) for part in parts)
    number = re.compile("".join(r"(\d+)" if part is None else re.escape(part) for part in parts))
    found = set()
    for file in glob.iglob(pattern, root_dir=folder):  # noqa: PTH207 -- names may be absolute
        match = number.fullmatch(file.replace(os.sep, "/"))
        if match is not None and match[0] == filled_in(name, frame=int(match[1]), view=view):
            found.add(int(match[1]))
    return found


def check_files(
    model: RecipeModel, recipe_folder: Path, passes_folder: Path, folder_is_chosen: bool
) -> list[Finding]:
    """Return every file that a picture needs and that is not there.

    When the passes' folder is missing, that is the only thing said of the passes; nothing, when
    the folder is not the recipe's own but was chosen for this once.
    """
    findings = []
    folder_missing = not passes_folder.is_dir()
    if folder_missing and not folder_is_chosen:
        findings.append(Finding(("passes", "folder"), *_no_folder(passes_folder)))
    for named in named_files(model):
        if named.use in _TOLD_ELSEWHERE:
            continue
        if named.in_passes:
            finding = _unfilled(named, model.passes)
            name = pass_file_name(named.name, model.passes)
            if finding is None and not folder_missing:
                finding = _missing(named.place, name, passes_folder)
        else:
            finding = _missing(named.place, named.name, recipe_folder)
        if finding is not None:
            findings.append(finding)
    return findings


def _no_folder(folder: Path) -> tuple[str, str, str]:
    state = "is no folder" if folder.exists() else "does not exist"
    hint = "put the folder right, or name another with --passes"
    return f"the passes' folder {folder} {state}", "", hint


def _unfilled(named: NamedFile, passes: Passes) -> Finding | None:
    if asks_for(named.name, "view") and passes.view is None:
        hint = "say passes.view, or write [{] for a brace that is part of the name"
        return Finding(named.place, f"found {shown(named.name)}", "{view} needs passes.view", hint)
    if asks_for(named.name, "frame") and passes.frame is None:
        hint = "say passes.frame, or write [#] for a # that is part of the name"
        return Finding(named.place, f"found {shown(named.name)}", "#### needs passes.frame", hint)
    return None


def _missing(place: Place, name: str, folder: Path) -> Finding | None:
    if not name or "\0" in name:
        return Finding(place, f"found {shown(name)}", "expected the name of a file")
    path = folder / name
    try:
        if path.is_file():
            return None
        if path.exists():
            kind = "a folder" if path.is_dir() else "no ordinary file"
            return Finding(place, f"{path} is {kind}", "expected a file")
        if path.is_symlink():
            return Finding(place, f"{path} is a broken link", "expected a file")
    except OSError as error:
        return Finding(place, f"{shown(name)} cannot be looked at: {error.strerror}")
    return Finding(place, f"there is no file {path}", hint=_nearby(name, path))


def _nearby(name: str, path: Path) -> str:
    if "\\" in name:
        return "write folders with '/' on every system"
    if name.startswith("~"):
        return "'~' is not expanded; write the whole path"
    try:
        present = {entry.stem.casefold(): entry.name for entry in path.parent.iterdir()}
    except OSError:
        return f"there is no folder {path.parent}"
    close = get_close_matches(path.stem.casefold(), present, n=1, cutoff=0.65)
    return f'did you mean "{Path(name).with_name(present[close[0]]).as_posix()}"?' if close else ""


def named_files(part: Part, place: Place = ()) -> Iterator[NamedFile]:
    """Every file that a recipe names, as often as it does, by the marks of its model.

    Parameters
    ----------
    part : Part
        A model, or a part of one.
    place : Place
        Where it stands in the recipe.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> [file.name for file in named_files(example_recipe().model)]
    ['sun.exr', 'sky.exr', 'lamp.exr']
    """
    for key, mark in _fields_with_files(type(part)):
        value = getattr(part, key)
        if mark is None:
            yield from _within(value, (*place, key))
        else:
            channel = getattr(part, "channel", None)
            yield from _marked(value, mark, channel, (*place, key))


@cache
def _fields_with_files(kind: type[Part]) -> tuple[tuple[str, NamesFile | None], ...]:
    """Fields of a kind of part that name files, with their mark, or hold parts that may."""
    found = []
    for key, field in kind.model_fields.items():
        mark = next((each for each in field.metadata if isinstance(each, NamesFile)), None)
        if mark is not None or _may_hold_a_part(field.annotation):
            found.append((key, mark))
    return tuple(found)


def _may_hold_a_part(annotation: object) -> bool:
    if isinstance(annotation, type) and issubclass(annotation, Part):
        return True
    return any(_may_hold_a_part(each) for each in get_args(annotation))


def _marked(
    value: object, mark: NamesFile, channel: str | None, place: Place
) -> Iterator[NamedFile]:
    if isinstance(value, tuple):
        for index, each in enumerate(value):
            yield from _marked(each, mark, channel, (*place, index))
    elif isinstance(value, str) and not (mark.unless and value.startswith(mark.unless)):
        yield NamedFile(place, value, mark.use, channel)


def _within(value: object, place: Place) -> Iterator[NamedFile]:
    if isinstance(value, Part):
        yield from named_files(value, place)
    elif isinstance(value, dict):
        for key, each in value.items():
            yield from _within(each, (*place, key))
    elif isinstance(value, tuple):
        for index, each in enumerate(value):
            yield from _within(each, (*place, index))
