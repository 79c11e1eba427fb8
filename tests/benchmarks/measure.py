"""Running a command and noting its time, processor time and peak memory."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Measured:
    """What one process took.

    Parameters
    ----------
    seconds : float
        Wall-clock time.
    cpu_seconds : float
        Processor time of all its threads, system time included.
    peak_mb : float
        Largest resident memory, in units of 10^6 bytes.
    """

    seconds: float
    cpu_seconds: float
    peak_mb: float


def measure(
    command: Sequence[str], *, environment: dict[str, str] | None = None, folder: Path | None = None
) -> Measured:
    """Run a command once; it must succeed."""
    start = time.perf_counter()
    process = subprocess.Popen(
        list(command),
        env={**os.environ, **(environment or {})},
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    assert process.stderr is not None
    errors = process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{' '.join(command)} failed:\n{errors.decode(errors='replace')}")
    return Measured(seconds, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1e3 * 1.024)


def best(runs: Sequence[Measured]) -> Measured:
    """Least time and processor time, and the largest memory, of several runs."""
    return Measured(
        min(run.seconds for run in runs),
        min(run.cpu_seconds for run in runs),
        max(run.peak_mb for run in runs),
    )
