"""How a command ends when it is stopped: by Ctrl-C, by the system, or with its terminal."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from types import FrameType
from typing import NoReturn

__all__ = ["INTERRUPTED", "stop_asked", "stop_at_once", "stop_in_order"]

INTERRUPTED = 130  # 128 + signal number, as shells report it
_ENDINGS = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
_LINE_AND_CURSOR_BACK = b"\r\x1b[K\x1b[?25h"  # ECMA-48 EL; cursor shown, as a progress bar hides it


def stop_at_once() -> None:
    """While nothing is being written, the process simply ends.

    An exception would come amid the importing of modules, which can swallow it, take it for an
    error of its own, or be left with a lock that is never released.
    """
    _answer(signal.SIGINT, _end)
    for number in _ENDINGS:
        _answer(number, _end)


def stop_in_order() -> None:
    """From now on being stopped is an exception, after which files are whole or not there."""
    _answer(signal.SIGINT, _interrupt)
    for number in _ENDINGS:
        _answer(number, _terminate)


def _answer(number: signal.Signals, handler: signal._HANDLER) -> None:
    if signal.getsignal(number) != signal.SIG_IGN:  # which who started us may have wanted
        signal.signal(number, handler)


def _end(number: int, frame: FrameType | None) -> NoReturn:
    if number != signal.SIGINT:
        os._exit(128 + number)
    with contextlib.suppress(OSError):
        if os.name == "posix" and os.isatty(2):
            os.write(2, _LINE_AND_CURSOR_BACK)
        os.write(2, b"Stopped.\n")
    os._exit(INTERRUPTED)


def stop_asked() -> int | None:
    """Exit code of the stop that was asked for; None when none was.

    A library in which the exception came up may have made an error of its own of it.
    """
    return _asked[0] if _asked else None


_asked: list[int] = []


def _interrupt(number: int, frame: FrameType | None) -> NoReturn:
    _asked.append(INTERRUPTED)
    raise KeyboardInterrupt


def _terminate(number: int, frame: FrameType | None) -> NoReturn:
    _asked.append(128 + number)
    sys.exit(128 + number)
