"""Keeping the decoder's own chatter away from the person, without touching anybody else's.

When a chunk cannot be decoded the OpenEXR library prints to Python's `sys.stdout` from the calling
thread, and its core prints to C's `stderr`. Both say less than our own error. Turning file
descriptors round would swallow what other threads write meanwhile (progress, results), so instead
`sys.stdout` is muted for the decoding threads alone, and C's variable `stderr`, which Python itself
does not use, leads to a sink while any thread decodes.
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
        self.stream = stream
        self._muted = muted

    def write(self, text: str) -> int:
        if getattr(self._muted, "yes", False):
            return len(text)
        written: int = self.stream.write(text)
        return written

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


class _Silence:
    """How many threads are decoding, and what is put back when the last has done."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._muted = threading.local()
        self._decoding = 0
        self._stand_in: _MutedForSome | None = None
        self._c_before: int | None = None

    def enter(self) -> None:
        with self._lock:
            if self._decoding == 0:
                self._silence()
            self._decoding += 1
        self._muted.yes = True

    def leave(self) -> None:
        self._muted.yes = False
        with self._lock:
            self._decoding -= 1
            if self._decoding == 0:
                self._restore()

    def _silence(self) -> None:
        before = sys.stdout
        if before is not None and not isinstance(before, _MutedForSome):
            # It is kept: print borrows sys.stdout without holding it (CPython until 3.13), and
            # another thread may be printing through it when it is taken away again.
            if self._stand_in is None or self._stand_in.stream is not before:
                self._stand_in = _MutedForSome(before, self._muted)
            sys.stdout = self._stand_in
        c_stderr, sink = _c_stderr_and_sink()
        if c_stderr is not None:
            self._c_before, c_stderr.value = c_stderr.value, sink

    def _restore(self) -> None:
        stand_in = sys.stdout
        if isinstance(stand_in, _MutedForSome):  # nobody has put another in its place
            sys.stdout = stand_in.stream  # one put there for a while may have gone meanwhile
        c_stderr, _ = _c_stderr_and_sink()
        if c_stderr is not None:
            c_stderr.value = self._c_before


_silence = _Silence()


@contextmanager
def decoder_silenced() -> Iterator[None]:
    """Silence the decoder in this thread for the length of the block; not to be nested.

    Examples
    --------
    >>> with decoder_silenced():
    ...     print("lost")
    >>> print("heard")
    heard
    """
    _silence.enter()
    try:
        yield
    finally:
        _silence.leave()


@cache
def _c_stderr_and_sink() -> tuple[ctypes.c_void_p | None, int | None]:
    """C's variable `stderr`, where the C library lets us set it, and a stream to nowhere.

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
