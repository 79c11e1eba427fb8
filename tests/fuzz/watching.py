"""Workers that are given things to break on, and the process that watches them.

A worker takes a range of numbers, makes a mutant of each, uses it, and writes a line about what
became of it to file descriptor 3. It has a limit of memory. The watcher notes crashes, hangs,
growth, and whatever a worker says on its standard streams.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["Limits", "Outcome", "Tally", "show", "watch_all", "work"]


@dataclass(frozen=True)
class Limits:
    """What a mutant may take.

    Parameters
    ----------
    seconds : float
        Processor time of one mutant.
    silence_seconds : float
        How long a worker may say nothing, by the clock; longer while it gets no processor time, as
        on a machine that is busy.
    memory_bytes : int
        Memory of a worker.
    address_space_bytes : int
        What the system lets it ask for.
    batch : int
        Mutants of one worker process.
    """

    seconds: float = 2.0
    silence_seconds: float = 20.0
    memory_bytes: int = 1536 << 20
    address_space_bytes: int = 6 << 30
    batch: int = 500


_PATIENCE = 30  # times as long by the clock for a worker that gets no processor time


@dataclass(frozen=True)
class Outcome:
    """What became of a mutant: of which seed, by which mutation, in which words.

    Words that begin with "FAIL" are failures.
    """

    seed: str
    kind: str
    words: str


@dataclass
class Tally:
    """What became of the mutants."""

    outcomes: Counter[tuple[str, str]] = field(default_factory=Counter)
    by_seed: Counter[tuple[str, str]] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)
    slowest: float = 0.0
    peak_bytes: int = 0


def work(limits: Limits, start: int, stop: int, use: Callable[[int], Outcome]) -> None:
    """Worker: use mutants [start, stop) and write a line about each to descriptor 3."""
    most = limits.address_space_bytes
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    with os.fdopen(3, "w", buffering=1, errors="backslashreplace") as report:
        for number in range(start, stop):
            report.write(f"begin {number}\n")
            started = time.process_time()
            outcome = use(number)
            seconds = time.process_time() - started
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
            words = outcome.words.replace("\n", " ").replace("\t", " ")
            line = "\t".join([outcome.seed, outcome.kind, words])
            report.write(f"end {number} {seconds:.3f} {peak} {line}\n")


class _Watched:
    """One worker process on a range of mutants, and what it reports."""

    def __init__(self, command: Sequence[str], start: int, stop: int) -> None:
        self.start, self.stop = start, stop
        reading, writing = os.pipe()
        self.noise = tempfile.TemporaryFile()  # noqa: SIM115 - closed by close()
        self.process = subprocess.Popen(
            ["/bin/sh", "-c", f'exec "$@" 3>&{writing} {writing}>&-', "sh", *command,
             str(start), str(stop)],
            pass_fds=[writing],
            stdout=self.noise,
            stderr=self.noise,
        )  # fmt: skip
        os.close(writing)
        os.set_blocking(reading, False)
        self.reading = reading
        self.heard, self.worked = time.monotonic(), 0.0
        self.rest = b""
        self.begun: int | None = None
        self.ended = start
        self.peak_bytes = 0

    def lines(self) -> list[str]:
        """Lines that have come since the last call."""
        try:
            data = os.read(self.reading, 1 << 20)
        except BlockingIOError:
            return []
        if data:
            self.heard, self.worked = time.monotonic(), self._processor_seconds()
        *lines, self.rest = (self.rest + data).split(b"\n")
        return [line.decode("utf-8", "replace") for line in lines]

    def hangs(self, limits: Limits) -> bool:
        """Whether it has said nothing for too long."""
        silent = time.monotonic() - self.heard
        if silent < limits.silence_seconds:
            return False
        starved = self._processor_seconds() - self.worked < 2 * limits.seconds
        return not starved or silent > _PATIENCE * limits.silence_seconds

    def _processor_seconds(self) -> float:
        """Processor time of the process so far, after proc(5); infinite where it cannot be told."""
        try:
            fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            return float("inf")
        return sum(map(int, fields[11:13])) / os.sysconf("SC_CLK_TCK")

    def close(self) -> str:
        """End the process; return what it said on its standard streams."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        os.close(self.reading)
        self.noise.seek(0)
        said = self.noise.read().decode("utf-8", "replace")
        self.noise.close()
        return said


class _Watch:
    """Watches workers, one after the other or several at a time, and keeps the tally."""

    def __init__(self, limits: Limits) -> None:
        self.limits, self.tally = limits, Tally()

    def note(self, worker: _Watched, line: str) -> None:
        """Take one line of a worker's report into the tally."""
        tally, limits = self.tally, self.limits
        word, number, *rest = line.split(" ", 4)
        if word == "begin":
            worker.begun = int(number)
            return
        worker.begun, worker.ended = None, int(number) + 1
        seconds, peak, what = float(rest[0]), int(rest[1]), rest[2]
        seed, kind, outcome = what.split("\t")
        tally.slowest, tally.peak_bytes = max(tally.slowest, seconds), max(tally.peak_bytes, peak)
        where = f"mutant {number} ({seed}, {kind})"
        if outcome.startswith("FAIL"):
            tally.failures.append(f"{where}: {outcome[5:]}")
            outcome = "failed"
        if seconds > limits.seconds:
            tally.failures.append(f"{where}: took {seconds:.1f} s")
        if peak > limits.memory_bytes >= worker.peak_bytes:
            tally.failures.append(f"{where}: memory grew to {peak / 2**20:.0f} MB")
        worker.peak_bytes = peak
        tally.outcomes[kind, outcome] += 1
        tally.by_seed[seed, outcome] += 1

    def look(self, worker: _Watched) -> bool:
        """Look at a worker; return False when it has ended, having noted how."""
        ended = worker.process.poll() is not None
        for line in worker.lines():
            self.note(worker, line)
        if not ended and not worker.hangs(self.limits):
            return True
        tally, said = self.tally, worker.close()
        if said.strip():
            tally.failures.append(f"mutants up to {worker.ended}: something said {said[-400:]!r}")
        if worker.begun is not None:
            how = f"code {worker.process.returncode}" if ended else "it hung"
            tally.failures.append(f"mutant {worker.begun}: the worker crashed ({how})")
            tally.outcomes["any", "crashed"] += 1
            worker.ended = worker.begun + 1
        elif worker.process.returncode != 0:
            tally.failures.append(f"a worker ended with code {worker.process.returncode}")
            worker.ended = worker.stop
        return False


def watch_all(
    script: str, arguments: Sequence[str], count: int, workers: int, limits: Limits
) -> Tally:
    """Use mutants 0 to `count`, so many worker processes at a time.

    A worker is this interpreter on the script with the arguments and the range behind them.
    """
    watch = _Watch(limits)
    waiting = [
        (start, min(start + limits.batch, count))
        for start in reversed(range(0, count, limits.batch))
    ]
    running: list[_Watched] = []
    while waiting or running:
        while waiting and len(running) < workers:
            command = [sys.executable, script, *arguments]
            running.append(_Watched(command, *waiting.pop()))
        time.sleep(0.02)
        for worker in list(running):
            if not watch.look(worker):
                running.remove(worker)
                if worker.ended < worker.stop:
                    waiting.append((worker.ended, worker.stop))
    return watch.tally


def show(tally: Tally, count: int, outcomes: Sequence[str], *, most_failures: int = 50) -> None:
    """Print the results, a line a mutation."""
    kinds = sorted({kind for kind, _ in tally.outcomes})
    headings = [*outcomes, "failed"]
    print(f"{'mutation':<24}" + "".join(f"{word.split(',')[-1]:>16}" for word in headings))
    for kind in kinds:
        counts = [tally.outcomes[kind, outcome] for outcome in headings]
        if any(counts):
            print(f"{kind:<24}" + "".join(f"{count:>16,}" for count in counts))
    totals = [sum(tally.outcomes[kind, word] for kind in kinds) for word in headings]
    print(f"{'all':<24}" + "".join(f"{count:>16,}" for count in totals))
    print(f"{count:,} mutants; slowest {tally.slowest:.2f} s of processor time; "
          f"largest worker {tally.peak_bytes / 2**20:.0f} MB")  # fmt: skip
    print(f"{len(tally.failures)} failures")
    for failure in tally.failures[:most_failures]:
        print(f"  {failure}")
