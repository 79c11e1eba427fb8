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


def program() -> None:
    """Settle the process, and do what the command line says."""
    stop_at_once()
    for name, value in ENVIRONMENT.items():
        os.environ.setdefault(name, value)
    # Importing makes many objects that stay: there is little garbage to look for. And a thread that
    # decodes or hashes needs the interpreter only for moments, for which it should not wait long.
    gc.set_threshold(100_000)
    sys.setswitchinterval(0.0005)
    keep_freed_memory()
    try:
        from evenfall.cli.main import main

        main(prog_name="evenfall")
    except SystemExit as end:
        if end.code == 0:
            _leave()
        raise
    except Exception as error:
        if (code := stop_asked()) is not None:
            sys.exit(code)
        if not isinstance(error, OSError) or error.filename is not None:
            raise
        _leave_unheard(error)


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


def _leave_unheard(error: OSError) -> NoReturn:
    """End when what is printed cannot be written: to a file on a full disk, for example."""
    with contextlib.suppress(OSError):
        print(f"The output cannot be written: {error.strerror or error}", file=sys.stderr)
        sys.stderr.flush()
    os._exit(1)  # the usual end would try again


def _flush() -> None:
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:  # it was closed before the program began
            stream.flush()
