"""The program `evenfall`: settings of its process, which a library would leave alone."""

from __future__ import annotations

import contextlib
import gc
import os
import sys
from typing import NoReturn

from evenfall.cli.memory import keep_freed_memory
from evenfall.cli.stopping import stop_asked, stop_at_once

__all__ = ["ENVIRONMENT", "program"]

ENVIRONMENT = {
    # Virtual machines that give freed memory back to their host hand out huge pages slowly: a third
    # of a run's time; elsewhere they would save a few per cent.
    "NUMPY_MADVISE_HUGEPAGE": "0",
    # Nothing here is worth sharing out by the matrix library, whose threads wait busily.
    "OPENBLAS_NUM_THREADS": "1",
    # The encoder of AV1 tells of its settings, line by line, unless it is to tell of errors alone.
    "SVT_LOG": "1",
    # Recipes are checked by evenfall alone, whatever else is installed.
    "PYDANTIC_DISABLE_PLUGINS": "__all__",
}
"""Variables that libraries read when they are imported, where the person has not set them."""
_PRINTERS = {"click", "rich"}


def program() -> None:
    """Settle the process, and do what the command line says."""
    stop_at_once()
    for name, value in ENVIRONMENT.items():
        os.environ.setdefault(name, value)
    # Importing makes many objects that stay: there is little garbage to look for. And a thread that
    # decodes or hashes needs the interpreter only for moments, for which it should not wait long.
    gc.set_threshold(100_000)
    sys.setswitchinterval(0.0005)
    try:
        keep_freed_memory()
        from evenfall.cli.main import main

        main(prog_name="evenfall")
    except SystemExit as end:
        if end.code == 0:
            _leave()
        raise
    except Exception as error:
        if (code := stop_asked()) is not None:
            sys.exit(code)
        said = _what_the_system_refused(error)
        if said is None:
            raise
        _leave_in_trouble(said)


def _leave() -> None:
    """End without taking apart, object by object, what goes with the process anyway.

    Everything is written and synced when a command ends well. What cannot be said any more, to a
    reader that has gone, is left to the usual end.
    """
    try:
        _flush()
    except OSError:
        return
    os._exit(0)


def _what_the_system_refused(error: Exception) -> str | None:
    """Say what the system, or a disk behind it, did not do for us; None for any other error."""
    if not isinstance(error, OSError | ImportError):
        return None
    if isinstance(error, OSError) and error.filename is None and _was_printing(error):
        return f"The output cannot be written: {error.strerror or error}"
    from evenfall.errors import refusal

    return refusal(error)


def _was_printing(error: Exception) -> bool:
    """Whether an error comes straight from what prints: it says no more than its reason."""
    innermost = error.__traceback__
    while innermost is not None and innermost.tb_next is not None:
        innermost = innermost.tb_next
    where = "" if innermost is None else innermost.tb_frame.f_globals.get("__name__", "")
    return where.partition(".")[0] in _PRINTERS


def _leave_in_trouble(said: str) -> NoReturn:
    """End with a sentence, which finds no place itself where the disk of the output is full."""
    from evenfall.errors import printable

    with contextlib.suppress(OSError):
        print(printable(said), file=sys.stderr)
        sys.stderr.flush()
    os._exit(1)  # the usual end would try again


def _flush() -> None:
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:  # it was closed before the program began
            stream.flush()
