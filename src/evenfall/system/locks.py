"""A claim on names in a folder: two programs do not write the same files at once.

A claim is a small file that says who works there, since when, and on which names. Its owner holds
the system's lock on it, which ends with its process, whatever ends that, and touches it now and
then, for machines to which the lock of another does not reach. So a claim whose owner is gone is
told from one that stands: on the same machine by the lock, on a disk that several machines share
by a claim that nobody has touched for a while.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import socket
import threading
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from evenfall.system.partials import begun_at, is_alive, kernel, partial_path
from evenfall.system.regular import open_regular

__all__ = ["CLAIM_ENDING", "Claim", "Claimed", "claim"]

CLAIM_ENDING = ".evenfall-claim"
"""What the names of claims end with; they begin with a dot."""

_TOUCHED_SECONDS = 10.0
_GIVEN_UP_SECONDS = 90.0
"""A claim of another machine that was not touched for so long has no owner any more."""

_ABANDONED_SECONDS = 24 * 3600.0
"""What is no claim, or one on other names that nobody holds, is taken away after so long."""

_TRIES, _PAUSE_SECONDS = 6, 0.25  # of two that claim in the same moment, both stand back once
_LARGEST_BYTES = 1 << 22


@dataclass(frozen=True)
class Claim:
    """Who works in a folder.

    Parameters
    ----------
    host : str
        Name of the machine.
    kernel : str
        What tells one start of it from others, and from machines of the same name.
    process, begun : int, str
        Number of the process, and what tells it from others that had that number.
    since : str
        When it began, ISO 8601 with offset.
    names : frozenset of str
        Names of files that it writes.
    """

    host: str
    kernel: str
    process: int
    begun: str
    since: str
    names: frozenset[str]

    def __str__(self) -> str:
        return f"process {self.process} on {self.host}, since {self.since}"


class Claimed(Exception):  # noqa: N818 -- told in its own words by who asked
    """Somebody else works on some of the names."""

    def __init__(self, by: Claim) -> None:
        super().__init__(str(by))
        self.by = by


@contextmanager
def claim(folder: Path, names: Collection[str]) -> Iterator[tuple[Claim, ...]]:
    """Claim names in a folder for as long as the context lasts.

    Parameters
    ----------
    folder : Path
        An existing folder.
    names : collection of str
        Names of the files that are going to be written.

    Yields
    ------
    tuple of Claim
        Claims on some of these names whose owners have gone without giving them back: what they
        began has not ended.

    Raises
    ------
    Claimed
        When somebody else has claimed some of them.
    OSError
        When nothing can be written there.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> with claim(folder, ["view_day.png"]) as abandoned:
    ...     [path.suffix for path in folder.iterdir()], abandoned
    (['.evenfall-claim'], ())
    >>> list(folder.iterdir())
    []
    """
    own = _Own(folder, frozenset(names))
    abandoned: list[Claim] = []
    try:
        for left in reversed(range(_TRIES)):
            own.put()
            rival = _rival(folder, own, abandoned)
            if rival is None:
                break
            is_new = time.time() - _seconds(rival) < _TRIES * _PAUSE_SECONDS
            if not (left and is_new):
                raise Claimed(rival)
            own.withdraw()  # both began in the same moment: whoever comes back first has it
            time.sleep(_PAUSE_SECONDS * (0.5 + secrets.randbelow(1000) / 1000))
        own.keep_touching()
        yield tuple(abandoned)
    finally:
        own.withdraw()


class _Own:
    """The claim of this process."""

    def __init__(self, folder: Path, names: frozenset[str]) -> None:
        self.path = folder / f".{secrets.token_hex(8)}{CLAIM_ENDING}"
        process, now = os.getpid(), datetime.now(UTC).astimezone()
        since = now.isoformat(timespec="seconds")
        host = socket.gethostname()
        self.claim = Claim(host, kernel(), process, begun_at(process), since, names)
        self._stream: BinaryIO | None = None
        self._ended = threading.Event()
        self._touching: threading.Thread | None = None

    def put(self) -> None:
        """Write it under a name of its own, locked before anybody can read it."""
        values = {**vars(self.claim), "names": sorted(self.claim.names)}
        # Windows does not rename a file that is open.
        hidden = self.path if os.name == "nt" else partial_path(self.path)
        try:
            self._stream = hidden.open("xb")
            _lock(self._stream)
            self._stream.write(json.dumps(values).encode())
            self._stream.flush()
            hidden.replace(self.path)
        except BaseException:
            hidden.unlink(missing_ok=True)
            raise

    def withdraw(self) -> None:
        """Take it away."""
        with contextlib.suppress(OSError):  # first, as whoever waits may be stopped
            self.path.unlink(missing_ok=True)
        if self._stream is not None:
            self._stream.close()
            self._stream = None
        if self._touching is not None:
            self._ended.set()
            self._touching.join()

    def keep_touching(self) -> None:
        """Touch it now and then, from a thread that ends with the claim."""
        self._touching = threading.Thread(target=self._touch, name="claim", daemon=True)
        self._touching.start()

    def _touch(self) -> None:
        while not self._ended.wait(_TOUCHED_SECONDS):
            with contextlib.suppress(OSError):
                os.utime(self.path)


def _rival(folder: Path, own: _Own, abandoned: list[Claim]) -> Claim | None:
    """Find a claim on some of the same names that stands; those that do not are taken away."""
    for path in sorted(folder.glob(f".*{CLAIM_ENDING}")):
        if path == own.path:
            continue
        found = _read(path)
        concerns_us = found is not None and bool(found.names & own.claim.names)
        if not concerns_us and _age(path, own.path) < _ABANDONED_SECONDS:
            continue
        if found is not None and _stands(path, found, own):
            if concerns_us:
                return found
            continue
        if found is not None and concerns_us:
            abandoned.append(found)
        with contextlib.suppress(OSError):
            path.unlink()
    return None


def _stands(path: Path, found: Claim, own: _Own) -> bool:
    """Whether somebody still holds a claim."""
    got: bool | None = None
    try:
        with path.open("rb+") as stream:
            got = _lock(stream)
    except FileNotFoundError:
        return False
    except OSError:
        pass  # it may be read and not written to
    if got is False:
        return True
    if found.kernel == own.claim.kernel:
        return got is None and is_alive(found.process, found.begun)
    return _age(path, own.path) < _GIVEN_UP_SECONDS


def _age(path: Path, own: Path) -> float:
    """Seconds since a claim was touched, by the clock of the disk that it lies on."""
    try:
        os.utime(own)
        return own.stat().st_mtime - path.stat().st_mtime
    except OSError:
        return 0.0


def _seconds(found: Claim) -> float:
    try:
        return datetime.fromisoformat(found.since).timestamp()
    except ValueError:
        return 0.0


def _read(path: Path) -> Claim | None:
    """Read a claim; None when it is none, or has been taken away."""
    try:
        with open_regular(path) as stream:
            values: dict[str, Any] = json.loads(stream.read(_LARGEST_BYTES))
        return Claim(
            str(values["host"]),
            str(values["kernel"]),
            int(values["process"]),
            str(values["begun"]),
            str(values["since"]),
            frozenset(str(name) for name in values["names"]),
        )
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def _lock(stream: BinaryIO) -> bool | None:
    """Take the system's lock on a file, without waiting.

    Returns
    -------
    bool or None
        False when somebody has it; None where there are no locks.
    """
    try:
        import fcntl
    except ImportError:  # Windows
        return _lock_byte(stream)
    try:
        fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


def _lock_byte(stream: BinaryIO) -> bool:
    import msvcrt

    stream.seek(_LARGEST_BYTES)  # beyond what is read
    try:
        msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    except OSError:
        return False
    finally:
        stream.seek(0)
    return True
