"""What a machine of a farm does: a mood or a frame, written into the folder that all machines see.

Everything a machine needs is in the folders: a part names a recipe, and what the recipe says is
held against a digest, so that no picture is made of another text than the person has. Files are
written whole or not at all, and the same part made twice gives the same bytes; so a part may be
begun again whenever a machine is lost.
"""

from __future__ import annotations

import hashlib
import platform
import socket
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, FaultyError, OutputError
from evenfall.produce.frames import FrameMade, Strip, make_frame, shared_of
from evenfall.produce.shared import Shared
from evenfall.recipe import Recipe, load
from evenfall.record.report import RunReport
from evenfall.record.values import FileReport
from evenfall.record.versions import versions

__all__ = [
    "FramePart",
    "Made",
    "Part",
    "digest_of",
    "error_of",
    "farm_versions",
    "make_part",
    "why_unfit",
]

Codes = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Part:
    """A mood of a view, to be made by one machine.

    Parameters
    ----------
    recipe : Path
        Its recipe; absolute.
    digest : str
        Of what the recipe says; from `digest_of`.
    mood : str
        Which mood.
    changes : tuple of str
        One-off changes.
    out : Path
        Folder of the files; absolute, and there already.
    token : str
        Name of a file that lies there for as long as the run lasts.
    draft, keep_going : bool
        As for a run.
    threads : int
        That the machine may use for it.
    """

    recipe: Path
    digest: str
    mood: str
    changes: tuple[str, ...]
    out: Path
    token: str = ""
    draft: bool = False
    keep_going: bool = False
    threads: int = 1

    @property
    def name(self) -> str:
        """What people call it.

        Examples
        --------
        >>> Part(Path("/job/living.toml"), "", "dusk", (), Path("/job/pictures")).name
        'living dusk'
        """
        return f"{self.recipe.stem} {self.mood}"


@dataclass(frozen=True)
class FramePart(Part):
    """A frame of a sequence or of a walk, to be made by one machine; its `mood` is not used.

    Parameters
    ----------
    frame : int
        Its number.
    moods, hour, first
        As of the `Strip` that it belongs to.
    begun : tuple of int
        The first two frames that are made: from one of them follows where exposure is measured.
    overwrite : bool
        As for a run.
    spent : mapping of Path to str
        SHA-256 of its files that have gone into films which still stand.
    """

    frame: int = 0
    moods: tuple[str, ...] = ()
    hour: bool = False
    first: int = 0
    begun: tuple[int, ...] = ()
    overwrite: bool = False
    spent: Mapping[Path, str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """What people call it.

        Examples
        --------
        >>> FramePart(Path("/job/walk.toml"), "", "", (), Path("/job/frames"), frame=12).name
        'walk frame 12'
        """
        return f"{self.recipe.stem} frame {self.frame}"


@dataclass(frozen=True)
class Made:
    """What came of a part.

    Parameters
    ----------
    machine : str
        Who made it, or could not.
    report : RunReport or None
        What was made.
    frame : FrameMade or None
        What came of a frame.
    small_pictures : mapping of str to ndarray, shape (h, w, 3), uint8
        Small pictures for the contact sheet, by the digest of what they were made of.
    unfit : str
        Why the machine can make nothing of this run; empty when it can.
    faults : tuple of Fault
        Why the part cannot be made, on whatever machine.
    kind : type or None
        Of the error that they came with.
    """

    machine: str
    report: RunReport | None = None
    frame: FrameMade | None = None
    small_pictures: Mapping[str, Codes] = field(default_factory=dict)
    unfit: str = ""
    faults: tuple[Fault, ...] = ()
    kind: type[FaultyError] | None = None


def farm_versions() -> dict[str, str]:
    """Versions that have to be the same on every machine: Python, evenfall and its libraries."""
    return {"Python": platform.python_version(), **versions()}


def digest_of(recipe: Recipe) -> str:
    """Digest of what a recipe says, what it builds on included."""
    texts = [recipe.text, *(f"{name}\n{text}" for name, text in recipe.other_texts.items())]
    return hashlib.sha256("\0".join(texts).encode(errors="surrogatepass")).hexdigest()


def _this_machine() -> str:
    """Name this machine, and the worker as the scheduler knows it."""
    try:
        from distributed import get_worker

        return f"{socket.gethostname()} ({get_worker().address})"
    except (ImportError, ValueError):  # not within a task
        return socket.gethostname()


def why_unfit(wanted: Mapping[str, str], folders: Mapping[Path, str]) -> str:
    """Say why this machine cannot work for a run; empty when it can.

    Parameters
    ----------
    wanted : mapping of str to str
        Versions that the run needs; from `farm_versions`.
    folders : mapping of Path to str
        Folders of the run's files, and the name of a file that lies in each for as long as the run
        lasts.
    """
    own = farm_versions()
    others = [
        f"{name} {own.get(name, 'not installed')} there, {wanted.get(name, 'not installed')} here"
        for name in dict.fromkeys((*wanted, *own))
        if own.get(name) != wanted.get(name)
    ]
    if others:
        return f"has other versions: {'; '.join(others)}"
    for folder, token in folders.items():
        if not folder.is_dir():
            return f"does not see the folder {folder}"
        if token and not (folder / token).exists():
            return f"sees another folder under the name {folder}"
    return ""


def make_part(part: Part, wanted: Mapping[str, str]) -> Made:
    """Make a part on this machine; every error that a person may see comes back as a value."""
    machine = _this_machine()
    unfit = why_unfit(wanted, {part.out: part.token})
    if not unfit and not part.recipe.is_file():
        unfit = f"does not see {part.recipe}"
    if unfit:
        return Made(machine, unfit=unfit)
    try:
        begun = _begun_with(part)
        if begun is None:
            return Made(machine, unfit=f"sees another text in {part.recipe}")
        if isinstance(part, FramePart):
            return _frame_made(part, begun, machine)
        return _made(part, begun.recipe, machine)
    except FaultyError as error:
        return Made(machine, faults=error.faults, kind=type(error))


@dataclass(eq=False)
class _Begun:
    """What a machine has read and worked out for a run, for all parts of it that it makes."""

    recipe: Recipe
    shared: Shared | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)


_MOST_BEGUN = 16
_begun: dict[object, _Begun] = {}
_begun_lock = threading.Lock()


def _begun_with(part: Part) -> _Begun | None:
    """Read the recipe of a part, once a run; None where it says something else here."""
    key = (part.recipe, part.digest, part.changes, part.token)
    with _begun_lock:
        if part.token and key in _begun:
            return _begun[key]
        check_files = not (part.keep_going or isinstance(part, FramePart))
        recipe = load(part.recipe, changes=part.changes, check_files=check_files)
        if digest_of(recipe) != part.digest:
            return None
        while len(_begun) >= _MOST_BEGUN:
            del _begun[next(iter(_begun))]
        _begun[key] = begun = _Begun(recipe)
        return begun


def _made(part: Part, recipe: Recipe, machine: str) -> Made:
    from evenfall.produce.running import run

    small: dict[str, Codes] = {}
    report = run(
        recipe,
        moods=[part.mood],
        out=part.out,
        draft=part.draft,
        overwrite=True,  # what may be replaced was asked before the run began
        keep_going=part.keep_going,
        workers=part.threads,
        part=small.__setitem__,
    )
    report = report.model_copy(update={"files": _told_of_this_run(part, report.files)})
    return Made(machine, report, small_pictures=small)


def _frame_made(part: FramePart, begun: _Begun, machine: str) -> Made:
    """Make a frame; what it has in common with others of the run is worked out once a machine."""
    with begun.lock:
        if begun.shared is None:
            for other in list(_begun.values()):  # passes that they keep are not needed any more
                other.shared = None
            first = Strip(begun.recipe, part.hour, part.moods, part.begun, part.first)
            begun.shared = shared_of(first, part.threads)
        shared = begun.shared
    made = make_frame(
        Strip(begun.recipe, part.hour, part.moods, (part.frame,), part.first),
        part.frame,
        part.out,
        replace(shared, spent=part.spent),
        draft=part.draft,
        overwrite=part.overwrite,
        keep_going=part.keep_going,
        threads=part.threads,
    )
    return Made(machine, frame=replace(made, files=_told_of_this_run(part, made.files)))


def _told_of_this_run(part: Part, files: Iterable[FileReport]) -> tuple[FileReport, ...]:
    """Tell files as made that stand since a machine of this run wrote them, and was lost then.

    They are newer than the file that was laid into the folder when the run began; both have their
    times from the same clock, that of the disk.
    """
    began = _written(part.out / part.token) if part.token else 0
    return tuple(
        file.model_copy(update={"kept": False})
        if file.kept and 0 < began <= _written(file.path)
        else file
        for file in files
    )


def _written(path: Path) -> int:
    try:
        return path.stat().st_mtime_ns
    except OSError:  # a frame that has gone into a film
        return 0


def error_of(made: Made, faults: Iterable[Fault]) -> FaultyError:
    """Give the error that a part ended with, with faults of others beside its own."""
    return (made.kind or OutputError)(dict.fromkeys(faults))
