"""A recipe's text written to its file: in one step, and never over somebody else's."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from evenfall.errors import Fault, OutputError, UsageError
from evenfall.recipe.reading import read_text
from evenfall.system.atomic import put_whole
from evenfall.system.partials import remove_leftovers

__all__ = ["replace_text", "save"]

_BYTE_ORDER_MARK = b"\xef\xbb\xbf"


def save(path: str | Path, text: str) -> None:
    """Write a recipe's text to its file in one step: the file is the old one or the new one.

    A byte order mark and the permissions of the old file are kept, and a link stays a link.

    Raises
    ------
    OutputError
        When the system refuses.
    """
    target = Path(path).resolve()
    try:
        target.parent.stat()  # a folder that is not there is a mistake
        data, mode = text.encode("utf-8"), None
        if target.exists():
            mode = target.stat().st_mode & 0o7777
            if target.read_bytes().startswith(_BYTE_ORDER_MARK):
                data = _BYTE_ORDER_MARK + data
        put_whole(target, data, mode=mode)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise OutputError(Fault(str(path), "", f"cannot be written: {reason}")) from error


def replace_text(path: str | Path, before: str, after: str) -> None:
    """Write a recipe's new text to its file if the file still holds the text that was read.

    Parameters
    ----------
    path : str or Path
        The recipe.
    before : str
        What was read from it.
    after : str
        What is to stand there.

    Raises
    ------
    UsageError
        When the file was changed meanwhile; it is left as it is.
    OutputError
        When the system refuses.
    """
    path = Path(path)
    with _held(path):
        if read_text(path) != before:
            found = "was changed by somebody else meanwhile, and is left as it stands now"
            raise UsageError(Fault(str(path), "", found, hint="say the same again"))
        remove_leftovers(path.resolve().parent)
        save(path, after)


@contextmanager
def _held(path: Path) -> Iterator[None]:
    """Let no other process of evenfall replace the file, on systems that know such a hold.

    The hold is on the file itself and goes with the process, so nothing is ever left over. Who has
    waited for it holds a file that was replaced, and finds another text under its name.
    """
    descriptor = None
    with contextlib.suppress(OSError, ImportError):  # no such system, or no file yet
        import fcntl

        descriptor = os.open(path, os.O_RDONLY)
        fcntl.flock(descriptor, fcntl.LOCK_EX)
    try:
        yield
    finally:
        if descriptor is not None:
            os.close(descriptor)
