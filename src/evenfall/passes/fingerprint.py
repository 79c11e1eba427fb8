"""The fingerprint by which a pass file is told from any other."""

from __future__ import annotations

import hashlib
import os
import re
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from evenfall.passes.files import PassFile, open_pass, unreadable
from evenfall.system.cache import cache_folder, keep
from evenfall.system.opened import Stamp
from evenfall.system.regular import open_regular

__all__ = [
    "fingerprint",
    "fingerprint_held",
    "is_fingerprint",
    "joint_fingerprint",
    "noted_fingerprint",
]

_BLOCK_BYTES = 8 << 20  # other threads need not be waited for while a block is read or hashed
_FINGERPRINT = re.compile(r"sha256:[0-9a-f]{64}")
_LONGEST_NOTE = 200
_MOST_TURNS = 256
_PATIENCE_SECONDS = 0.05  # of a thread that waits for another's work, until it asks itself again

_Wish = Callable[[], bool]


@dataclass
class _Turn:
    """What threads that ask for the same file share.

    Attributes
    ----------
    lock : Lock
        Held by the one that reads.
    wishes : list of callable
        Whether it is wanted still, of all who ask.
    found : str or None
        Kept here too, since the cache folder may be one that cannot be written.
    """

    lock: threading.Lock = field(default_factory=threading.Lock)
    wishes: list[_Wish] = field(default_factory=list)
    found: str | None = None

    @contextmanager
    def taken(self, is_wanted: _Wish) -> Iterator[bool]:
        """Wait for the turn; False when it is not wanted any more before it has come."""
        self.wishes.append(is_wanted)
        try:
            while not (held := self.lock.acquire(timeout=_PATIENCE_SECONDS)) and is_wanted():
                pass
            try:
                yield held
            finally:
                if held:
                    self.lock.release()
        finally:
            self.wishes.remove(is_wanted)

    def is_wanted(self) -> bool:
        """Whether anybody still wants it."""
        return any(is_wanted() for is_wanted in tuple(self.wishes))


_turns: dict[Path, _Turn] = {}
_turns_lock = threading.Lock()


def _turn_of(note: Path) -> _Turn:
    """Return the turn of a file; the oldest that nobody waits for are forgotten."""
    with _turns_lock:
        turn = _turns.pop(note, None) or _Turn()
        for old in list(_turns)[: max(0, len(_turns) - _MOST_TURNS)]:
            if not _turns[old].wishes:
                del _turns[old]
        _turns[note] = turn
        return turn


def is_fingerprint(noted: object) -> bool:
    """Whether something that was noted has the form of a fingerprint."""
    return isinstance(noted, str) and _FINGERPRINT.fullmatch(noted) is not None


def fingerprint(path: Path, *, is_wanted: _Wish = lambda: True) -> str | None:
    """SHA-256 of a file as ``"sha256:..."``.

    Parameters
    ----------
    path : Path
        A regular file.
    is_wanted : callable
        Asked now and then; when it says no, the result is None.

    Raises
    ------
    PassError
        When the file cannot be read, or changes meanwhile.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "sun.exr"
    >>> _ = path.write_bytes(b"abc")  # the example of FIPS 180-4
    >>> fingerprint(path)[:23]
    'sha256:ba7816bf8f01cfea'
    """
    digest = hashlib.sha256()
    with open_pass(path) as file:
        block = memoryview(bytearray(min(_BLOCK_BYTES, file.size)))
        try:
            while count := file.stream.readinto(block):  # type: ignore[attr-defined]
                digest.update(block[:count])
                if not is_wanted():
                    return None
        except OSError as error:
            raise unreadable(path, error) from None
    return f"sha256:{digest.hexdigest()}"


def joint_fingerprint(fingerprints: Sequence[str]) -> str:
    """Fingerprint of several files that make one pass: that of their own, line by line.

    Examples
    --------
    >>> joint_fingerprint(["sha256:ba78"])
    'sha256:ba78'
    >>> joint_fingerprint(["sha256:ba78", "sha256:61be"])[:15]
    'sha256:ef399e1d'
    """
    if len(fingerprints) == 1:
        return fingerprints[0]
    lines = "\n".join(fingerprints)
    return f"sha256:{hashlib.sha256(lines.encode()).hexdigest()}"


def noted_fingerprint(path: Path, *, is_wanted: _Wish = lambda: True) -> str | None:
    """Fingerprint of a file, which is read only if it changed since it was last read for this.

    Fingerprints are noted in the user's cache folder, but for those of files that were written a
    moment ago and might be written again without their times telling. Threads that ask for the
    same file share the work, which goes on while one of them wants it; the others need not wait
    for it.

    Parameters
    ----------
    path : Path
        A regular file.
    is_wanted : callable
        As for `fingerprint`.

    Raises
    ------
    PassError, OSError
        When the file cannot be read, or changes meanwhile.
    """
    stamp = Stamp.of(path.stat())  # before it is read: a file that changes is not noted

    def read(turn: _Turn) -> str | None:
        return fingerprint(path, is_wanted=turn.is_wanted)

    return _noted(path, stamp, read, is_wanted)


def fingerprint_held(file: PassFile) -> None:
    """Find the fingerprint of a pass that is held in memory, for `noted_fingerprint` to know.

    So a file whose pixels are needed anyway is read once for both. Nothing is done where it is not
    held, or its fingerprint was noted before. It is not noted in the cache folder, which would hold
    a file for every pass of every frame: the report of the frame says it.
    """
    held = file.held
    if held is not None:

        def make(_: _Turn) -> str:
            return f"sha256:{hashlib.sha256(held).hexdigest()}"

        _noted(file.path, file.stamp, make, lasting=False)


def _noted(
    path: Path,
    stamp: Stamp,
    make: Callable[[_Turn], str | None],
    is_wanted: _Wish = lambda: True,
    *,
    lasting: bool = True,
) -> str | None:
    """Give what is noted of a file, or make it when it is this thread's turn, and note it."""
    note = _note_path(path, stamp)
    is_to_be_noted = lasting and stamp.is_settled()
    turn = _turn_of(note)
    with turn.taken(is_wanted) as is_ours:
        if not is_ours:
            return None
        if turn.found is None:
            turn.found = _recall(note)
        if turn.found is None:
            turn.found = make(turn)
            if turn.found is not None and is_to_be_noted:
                keep(note, f"{turn.found} {_checksum(note, turn.found)}".encode("ascii"))
        return turn.found


def _note_path(path: Path, stamp: Stamp) -> Path:
    """Where the fingerprint of a file is noted: by its path, size, inode and times of change."""
    key = hashlib.sha256(os.fsencode(path.resolve()) + f"\0{stamp.lasting}".encode()).hexdigest()
    return cache_folder() / "fingerprints" / key[:40]


def _checksum(note: Path, noted: str) -> str:
    """Tell a note that is damaged, or that was put under another name."""
    return hashlib.sha256(f"{note.name} {noted}".encode()).hexdigest()[:16]


def _recall(note: Path) -> str | None:
    try:
        with open_regular(note) as stream:
            noted, _, checksum = stream.read(_LONGEST_NOTE).decode("ascii").partition(" ")
    except (OSError, ValueError):
        return None
    return noted if is_fingerprint(noted) and checksum == _checksum(note, noted) else None
