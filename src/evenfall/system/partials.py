"""Files that are being written: how they are named, and which of them nobody is writing any more.

A name says which machine and which process writes the file, so that several may write into one
folder that they share, and none takes away what another has begun. Machines of one name, and
containers of one machine, are told apart; so are processes that have had the same number.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from hashlib import sha256
from pathlib import Path

__all__ = [
    "PARTIAL_ENDING",
    "begun_at",
    "is_alive",
    "kernel",
    "machine",
    "partial_path",
    "remove_leftovers",
    "temporary_folder",
]

PARTIAL_ENDING = ".evenfall-part"

_OLD_SECONDS = 24 * 3600
"""No file is written for that long: what another machine left untouched for it, it has given up."""

_MACHINE_ID = Path("/etc/machine-id")
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_OWN_PROCESSES = Path("/proc/self/ns/pid")
_PARTIAL = re.compile(
    rf"\..+\.(?P<machine>[0-9A-Za-z-]*-[0-9a-f]{{8}})\.(?P<process>\d+)-(?P<begun>[0-9a-f]{{8}})"
    rf"\.[0-9a-f]{{8}}{re.escape(PARTIAL_ENDING)}"
)


def partial_path(path: Path) -> Path:
    """Name beside a file, under which it is written until it is whole; another at every call."""
    process = os.getpid()
    writer = f"{machine()}.{process}-{begun_at(process)}"
    return path.with_name(f".{path.name[:40]}.{writer}.{secrets.token_hex(4)}{PARTIAL_ENDING}")


def remove_leftovers(folder: Path) -> tuple[Path, ...]:
    """Remove what a killed process of this machine, or long ago another one, left unfinished.

    Parameters
    ----------
    folder : Path
        Where files, or folders as a whole, are written; may be missing.

    Returns
    -------
    tuple of Path
        What was removed.
    """
    removed = []
    for entry in sorted(folder.glob(f".*{PARTIAL_ENDING}")):
        match = _PARTIAL.fullmatch(entry.name)
        if match is None:
            continue
        with contextlib.suppress(OSError):  # somebody else's, finished or removed meanwhile
            if match["machine"] == machine() and os.name == "posix":
                is_left = not is_alive(int(match["process"]), match["begun"])
            else:
                is_left = time.time() - entry.stat().st_mtime > _OLD_SECONDS
            if is_left:
                if entry.is_dir() and not entry.is_symlink():
                    shutil.rmtree(entry)
                else:
                    entry.unlink()
                removed.append(entry)
    return tuple(removed)


@contextmanager
def temporary_folder(what: str) -> Iterator[Path]:
    """Make a folder among temporary files, which is taken away in the end, or by who comes next.

    Parameters
    ----------
    what : str
        What it is for.

    Examples
    --------
    >>> with temporary_folder("film") as folder:
    ...     folder.is_dir()
    True
    >>> folder.exists()
    False
    """
    place = Path(tempfile.gettempdir())
    remove_leftovers(place)
    folder = partial_path(place / f"evenfall-{what}")
    folder.mkdir(mode=0o700)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@cache
def machine() -> str:
    """Name of the machine, and what tells it from others of that name and its containers apart."""
    name = os.uname().nodename if hasattr(os, "uname") else os.environ.get("COMPUTERNAME", "")
    identity = [name, _text_of(_MACHINE_ID)]
    with contextlib.suppress(OSError):
        identity.append(str(_OWN_PROCESSES.stat().st_ino))
    digest = sha256("\n".join(identity).encode()).hexdigest()[:8]
    return f"{re.sub('[^0-9A-Za-z-]', '-', name)[:24]}-{digest}"


@cache
def kernel() -> str:
    """Name one start of a machine, as its containers share it."""
    return _text_of(_BOOT_ID).strip() or machine()


def is_alive(process: int, begun: str) -> bool:
    """Whether a process of this machine lives, and is the one that began then.

    One that has ended keeps its number until its parent asks for its exit code, and signals reach
    it; it writes nothing any more.
    """
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        pass
    return begun_at(process) == begun and _counted(process)[:1] not in (["Z"], ["X"])


def begun_at(process: int) -> str:
    """When a process began, as Linux counts it since the machine's own start; elsewhere zeros."""
    counted = _counted(process)
    if len(counted) < 20:
        return "0" * 8
    return sha256(f"{_text_of(_BOOT_ID)}\n{counted[19]}".encode()).hexdigest()[:8]


def _counted(process: int) -> list[str]:
    """State and figures of a process after its name, as proc(5) counts them; empty elsewhere."""
    return _text_of(Path(f"/proc/{process}/stat")).rpartition(")")[2].split()


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ""
