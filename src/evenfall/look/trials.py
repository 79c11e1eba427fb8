"""Files that OpenColorIO may read here, because it has read them elsewhere.

Some of its readers loop for ever on a file that is cut, in native code that hears no signal. So a
file is read first in a process of its own, with limits of time and memory. What went well is kept
by the file's contents, so that a file is tried once.
"""

from __future__ import annotations

import hashlib
import json
import os
import threading
from collections.abc import Sequence
from dataclasses import astuple, dataclass
from pathlib import Path
from typing import Any, Literal

from evenfall.look.checks import Refuse
from evenfall.system.apart import run_apart
from evenfall.system.cache import cache_folder, keep, note_use
from evenfall.system.opened import Opened, Stamp, hashed
from evenfall.system.regular import open_regular

__all__ = ["Kind", "try_file", "try_view"]

Kind = Literal["lut", "cdl"]

_PROGRAM = Path(__file__).with_name("_trial_process.py")
_LEAST_SECONDS, _BYTES_PER_SECOND = 5, 1 << 20  # of processor time
_PATIENCE = 20  # times as long by the clock, on a machine that is busy
_LEAST_ADDRESS_SPACE, _ADDRESS_SPACE_A_BYTE = 2 << 30, 64  # with the interpreter and libraries
_LONGEST_NOTE = 1 << 20
_KEPT_BYTES = 16 << 20  # some ten thousand notes
_ENDLESS = "reading it takes more time or memory than a file of its size can need"

_tried: set[str] = set()
_lock = threading.Lock()


def try_file(kind: Kind, path: Path, refuse: Refuse) -> Opened:
    """Have a LUT or CDL file read elsewhere, unless it has been.

    Parameters
    ----------
    kind : {"lut", "cdl"}
    path : Path
    refuse : callable
        Makes the error of a reason.

    Returns
    -------
    Opened
        The file as it was read.

    Raises
    ------
    PixelSourceError
        When it cannot be read, or reading it does not come to an end.
    """
    opened = _opened(path, refuse)
    key = _key(kind, path.suffix.lower(), opened.sha256)
    with _lock:
        if key not in _tried and _kept(key) is None:
            told = _try(kind, path, opened.stamp.size, (), refuse)
            if told["refused"] is not None:
                raise refuse(told["refused"])
            keep(_note(key), b"{}", limit_bytes=_KEPT_BYTES)
        _tried.add(key)
    return opened


@dataclass(frozen=True)
class _Beside:
    """A file or folder that a config's view follows from, as it was."""

    path: str
    stamp: tuple[int, ...]

    @classmethod
    def of(cls, path: str) -> _Beside:
        """Take the stamp of a file; that of a missing one is empty."""
        try:
            return cls(path, astuple(Stamp.of(Path(path).stat())))
        except (OSError, ValueError):
            return cls(path, ())


def try_view(
    path: Path, names: tuple[str, str, str], refuse_config: Refuse, refuse_view: Refuse
) -> tuple[Opened, ...]:
    """Have a view of a config read elsewhere, unless it has been.

    Parameters
    ----------
    path : Path
        The config.
    names : tuple of 3 str
        Source, display and view, which it need not have.
    refuse_config, refuse_view : callable
        Make the error of a reason why the config, or the view, cannot be used.

    Returns
    -------
    tuple of Opened
        The config, and LUTs and the like beside it that the view is made of, as they were read.

    Raises
    ------
    PixelSourceError
        As `try_file`.

    Notes
    -----
    What went well is trusted while the config, the files and the folders in which it looks for them
    are as they were, and so are environment variables, by which configs may name files.
    """
    opened = _opened(path, refuse_config)
    environment = hashlib.sha256(repr(sorted(os.environ.items())).encode()).hexdigest()
    key = _key("view", str(path.absolute()), opened.sha256, *names, environment)
    with _lock:
        noted = _kept(key)
        files = None if noted is None else _unchanged(noted)
        if files is None:
            told = _try("view", path, opened.stamp.size, names, refuse_config)
            if told["refused"] is not None:
                raise (refuse_view if told["is_config"] else refuse_config)(told["refused"])
            files = [str(Path(file).absolute()) for file in told["files"]]
            beside = [astuple(_Beside.of(each)) for each in (*files, *told["folders"])]
            note = json.dumps({"files": files, "beside": beside})
            keep(_note(key), note.encode(), limit_bytes=_KEPT_BYTES)
    found = (Path(file) for file in files if Path(file).is_file())
    return (opened, *(_opened(file, refuse_view) for file in found))


def _opened(path: Path, refuse: Refuse) -> Opened:
    try:
        return hashed(path)
    except OSError as error:
        raise refuse(error.strerror or str(error)) from None


def _key(*facts: object) -> str:
    from importlib.metadata import version

    told = "\0".join(str(fact) for fact in (version("opencolorio"), *facts))
    return hashlib.sha256(told.encode(errors="surrogateescape")).hexdigest()[:40]


def _note(key: str) -> Path:
    return cache_folder() / "trials" / key


def _kept(key: str) -> dict[str, Any] | None:
    """Return what was kept of a trial that went well; None when nothing was."""
    try:
        with open_regular(_note(key)) as stream:
            noted = json.loads(stream.read(_LONGEST_NOTE))
    except (OSError, ValueError, RecursionError):
        return None
    note_use(_note(key))
    return noted if isinstance(noted, dict) else None


def _unchanged(noted: dict[str, Any]) -> list[str] | None:
    """Return the files that a view was made of, if they and their folders are as they were."""
    try:
        same = all(
            _Beside.of(path) == _Beside(path, tuple(stamp)) for path, stamp in noted["beside"]
        )
        return [str(file) for file in noted["files"]] if same else None
    except (KeyError, TypeError, ValueError):
        return None


def _try(kind: str, path: Path, size: int, names: Sequence[str], refuse: Refuse) -> dict[str, Any]:
    seconds = _LEAST_SECONDS + size // _BYTES_PER_SECOND
    out = run_apart(
        _PROGRAM,
        [kind, str(path), str(seconds), str(_address_space(size)), *names],
        seconds=_PATIENCE * seconds,
    )
    told = _told(out)
    if told is None:
        raise refuse(_ENDLESS)
    return told


def _address_space(size: int) -> int:
    return _LEAST_ADDRESS_SPACE + _ADDRESS_SPACE_A_BYTE * size


def _told(out: bytes | None) -> dict[str, Any] | None:
    try:
        told: dict[str, Any] = json.loads(out or b"")
    except ValueError:
        return None
    return told
