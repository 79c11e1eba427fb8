"""Keeping OpenColorIO's remarks on files away from the person's terminal.

It writes them to standard error, with pieces of the file as they are: control characters too. What
makes a file unusable is told by our own errors.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

__all__ = ["opencolorio_silenced"]


class _Silence:
    """How many threads have it silent, and the level that is put back when the last is done."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.held = 0
        self.before: Any = None


_silence = _Silence()


@contextmanager
def opencolorio_silenced() -> Iterator[None]:
    """Have OpenColorIO say nothing for the length of the block, in all threads.

    Examples
    --------
    >>> import PyOpenColorIO
    >>> with opencolorio_silenced():
    ...     print(PyOpenColorIO.GetLoggingLevel() == PyOpenColorIO.LOGGING_LEVEL_NONE)
    True
    >>> print(PyOpenColorIO.GetLoggingLevel() == PyOpenColorIO.LOGGING_LEVEL_NONE)
    False
    """
    import PyOpenColorIO

    with _silence.lock:
        if _silence.held == 0:
            _silence.before = PyOpenColorIO.GetLoggingLevel()
            PyOpenColorIO.SetLoggingLevel(PyOpenColorIO.LOGGING_LEVEL_NONE)
        _silence.held += 1
    try:
        yield
    finally:
        with _silence.lock:
            _silence.held -= 1
            if _silence.held == 0:
                PyOpenColorIO.SetLoggingLevel(_silence.before)
