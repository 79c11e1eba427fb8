"""Keeping the decoder's own chatter away from the person, without touching anybody else's.

When a chunk cannot be decoded the OpenEXR library prints to Python's `sys.stdout` from the calling
thread, and its C core prints to the C stream `stderr`. Both say less than our own error. Turning
file descriptors round would swallow what other threads write meanwhile, so instead `sys.stdout`
is muted for the decoding threads alone, and C's `stderr` pointer (which Python does not use) is
set to a sink while any thread decodes.
"""

from __future__ import annotations

import ctypes
import os
import platform
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

__all__ = ["decoder_silenced"]


class _MutedForSome:
    """Stands in for `sys.stdout`: drops what muted threads write, passes on all else."""

    def __init__(self, stream: Any, muted: threading.local) -> None:
        self._stream = stream
        self._muted = muted

    def write(self, text: str) -> int:
        if getattr(self._muted, "yes", False):
            return len(text)
        written: int = self._stream.write(text)
        return written

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


_lock = threading.Lock()
_muted = threading.local()
_decoding = 0
_stand_in: _MutedForSome | None = None
_c_stderr_before: int | None = None


@contextmanager
def decoder_silenced() -> Iterator[None]:
    """Silence the decoder in this thread for the length of the block."""
    global _decoding  # noqa: PLW0603 - counts the threads inside, under the lock
    with _lock:
        if _decoding == 0:
            _silence()
        _decoding += 1
    _muted.yes = True
    try:
        yield
    finally:
        _muted.yes = False
        with _lock:
            _decoding -= 1
            if _decoding == 0:
                _restore()


def _silence() -> None:
    global _stand_in, _c_stderr_before  # noqa: PLW0603 - under the lock
    if sys.stdout is not None:
        _stand_in = _MutedForSome(sys.stdout, _muted)
        sys.stdout = _stand_in
    c_stderr, sink = _c_streams()
    if c_stderr is not None:
        _c_stderr_before = c_stderr.value
        c_stderr.value = sink


def _restore() -> None:
    global _stand_in  # noqa: PLW0603 - under the lock
    if _stand_in is not None and sys.stdout is _stand_in:
        sys.stdout = _stand_in._stream
    _stand_in = None
    c_stderr, _ = _c_streams()
    if c_stderr is not None:
        c_stderr.value = _c_stderr_before


@cache
def _c_streams() -> tuple[ctypes.c_void_p | None, int | None]:
    """C's `stderr` variable and a stream to nowhere, where the C library lets us set it.

    glibc and macOS hold it in a variable; elsewhere it is a constant and the chatter stays.
    """
    if platform.libc_ver()[0] == "glibc":
        name = "stderr"
    elif sys.platform == "darwin":
        name = "__stderrp"
    else:
        return None, None
    libc = ctypes.CDLL(None)
    libc.fopen.restype = ctypes.c_void_p
    libc.fopen.argtypes = [ctypes.c_char_p, ctypes.c_char_p]
    sink = libc.fopen(os.devnull.encode(), b"w")
    return (ctypes.c_void_p.in_dll(libc, name), sink) if sink else (None, None)
