"""How a command ends when it is stopped: by Ctrl-C (SIGINT), or by the system (SIGTERM)."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from types import FrameType
from typing import NoReturn

__all__ = ["INTERRUPTED", "stop_at_once", "stop_in_order"]

INTERRUPTED, _TERMINATED = 130, 143  # 128 + signal number, as shells report it
_LINE_AND_CURSOR_BACK = b"\r\x1b[K\x1b[?25h"  # ECMA-48 EL; cursor shown, as a progress bar hides it


def stop_at_once() -> None:
    """While nothing is being written, the process simply ends.

    An exception would come amid the importing of modules, which can swallow it, take it for an
    error of its own, or be left with a lock that is never released.
    """
    _answer(signal.SIGINT, _end)
    _answer(signal.SIGTERM, _end)


def stop_in_order() -> None:
    """From now on being stopped is an exception, after which files are whole or not there."""
    _answer(signal.SIGINT, signal.default_int_handler)
    _answer(signal.SIGTERM, _terminate)


def _answer(number: signal.Signals, handler: signal._HANDLER) -> None:
    if signal.getsignal(number) != signal.SIG_IGN:  # which who started us may have wanted
        signal.signal(number, handler)


def _end(number: int, frame: FrameType | None) -> NoReturn:
    if number != signal.SIGINT:
        os._exit(_TERMINATED)
    with contextlib.suppress(OSError):
        if os.name == "posix" and os.isatty(2):
            os.write(2, _LINE_AND_CURSOR_BACK)
        os.write(2, b"Stopped.\n")
    os._exit(INTERRUPTED)


def _terminate(number: int, frame: FrameType | None) -> NoReturn:
    sys.exit(_TERMINATED)
