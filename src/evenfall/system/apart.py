"""Work in a process of its own, where a library's crash, hang or hunger for memory ends.

A library that loops in native code holds the interpreter: not even Ctrl-C is heard. Another process
can be ended from outside.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

__all__ = ["run_apart"]


def run_apart(
    program: Path, arguments: Iterable[str], data: bytes = b"", *, seconds: float
) -> bytes | None:
    """Run a program of this package by itself and give what it writes to standard output.

    Parameters
    ----------
    program : Path
        A Python file that imports nothing of the package and limits its own memory.
    arguments : iterable of str
        For the program.
    data : bytes
        What it finds on standard input.
    seconds : float
        How long it may take, after which it is ended.

    Returns
    -------
    bytes or None
        None when it failed, crashed or took too long.
    """
    command = [sys.executable, "-P", str(program), *arguments]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as process:
        try:
            out, _ = process.communicate(data, timeout=seconds)
        except subprocess.TimeoutExpired:
            process.kill()
            return None
        except BaseException:
            process.kill()
            raise
    return out if process.returncode == 0 else None
