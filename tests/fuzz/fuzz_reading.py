"""Reads broken files by the ten thousand and says what became of them.

    python tests/fuzz/fuzz_reading.py --mutants 20000 --run-seed 1

Every mutant is made of a sound file of the corpus (tests/passes/reading_corpus) and read by
`evenfall.passes` in a worker process that has a limit of memory and is watched. A mutant fails if

- the worker crashes, or raises anything but PassError,
- it takes more than 2 seconds of processor time, or the worker says nothing for 20 seconds,
- the worker's memory grows beyond the limit,
- the decoder's chatter reaches standard output or standard error,
- pixels were removed and the reading gives other pixels than the whole file without an error
  (silent loss).

Changed bytes that give other pixels are counted, not failed: an EXR file holds no checksum, and
most of its codecs let a changed byte through; neither can a header that was changed into another
sensible header be told from one that was meant so. Fingerprints of passes in a run's report are
the proof against both. README.md beside this file has the results.
"""

from __future__ import annotations

import argparse
import os
import pickle
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from mutants import KINDS, Mutant, mutate

SECONDS = 2.0
SILENCE_SECONDS = 20.0
MEMORY_BYTES = 1536 << 20
ADDRESS_SPACE_BYTES = 6 << 30
BATCH = 500

Pictures = dict[tuple[str, str, str], bytes]


@dataclass
class Tally:
    """What became of the mutants."""

    outcomes: Counter[tuple[str, str]] = field(default_factory=Counter)
    rot: Counter[str] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)
    slowest: float = 0.0
    peak_bytes: int = 0


def read_all(path: Path) -> Pictures:
    """Read every picture of a file; its pixels as bytes by its names."""
    from evenfall.passes import Selector, inspect, read

    headers = inspect(path)
    selectors = [
        Selector(header.layer, header.part or None, header.view or None) for header in headers
    ]
    found: Pictures = {}
    for header, image in zip(headers, read(path, selectors), strict=True):
        alpha = b"" if image.alpha is None else np.asarray(image.alpha, np.float32).tobytes()
        pixels = image.rgb().tobytes()
        key = (header.part, header.layer, header.view)
        found[key] = repr((header.width, header.height)).encode() + pixels + alpha
    return found


def outcome_of(mutant: Mutant, path: Path, sound: Pictures) -> str:
    """Read one mutant and name what became of it; what fails begins with 'FAIL'."""
    from evenfall.errors import PassError

    path.write_bytes(mutant.data)
    try:
        found = read_all(path)
    except PassError as error:
        named = all(fault.file.startswith(str(path)) for fault in error.faults)
        return "refused" if named else f"FAIL error without the file's name: {error}"
    except Exception as error:  # whatever else comes out is what we look for
        return f"FAIL {type(error).__name__}: {error}"
    if found == sound:
        return "same pixels"
    if sorted(found.values()) == sorted(sound.values()):
        return "same pixels, other names"
    if mutant.removing:
        return "FAIL silent loss"
    return "other pixels"


def work(seeds_file: Path, run_seed: int, start: int, stop: int) -> None:
    """Worker: read mutants [start, stop) and write a line about each to descriptor 3."""
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE_BYTES, ADDRESS_SPACE_BYTES))
    seeds, sound = pickle.loads(seeds_file.read_bytes())
    with os.fdopen(3, "w", buffering=1) as report, tempfile.TemporaryDirectory() as folder:
        for number in range(start, stop):
            report.write(f"begin {number}\n")
            mutant = mutate(number, run_seed, seeds)
            path = Path(folder) / f"mutant{Path(mutant.seed).suffix}"
            started = time.process_time()
            outcome = outcome_of(mutant, path, sound[mutant.seed])
            seconds = time.process_time() - started
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
            line = "\t".join([mutant.seed, mutant.kind, outcome.replace("\n", " ")])
            report.write(f"end {number} {seconds:.3f} {peak} {line}\n")


class Watched:
    """One worker process on a range of mutants, and what it reports."""

    def __init__(self, seeds_file: Path, run_seed: int, start: int, stop: int) -> None:
        self.start, self.stop = start, stop
        reading, writing = os.pipe()
        command = [sys.executable, __file__, "--worker", str(seeds_file), str(run_seed)]
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
        self.heard = time.monotonic()
        self.rest = b""
        self.begun: int | None = None
        self.ended = start

    def lines(self) -> list[str]:
        """Lines that have come since the last call."""
        try:
            data = os.read(self.reading, 1 << 20)
        except BlockingIOError:
            return []
        if data:
            self.heard = time.monotonic()
        *lines, self.rest = (self.rest + data).split(b"\n")
        return [line.decode("utf-8", "replace") for line in lines]

    def silent(self) -> bool:
        return time.monotonic() - self.heard > SILENCE_SECONDS

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


def note(tally: Tally, worker: Watched, line: str) -> None:
    """Take one line of a worker's report into the tally."""
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
    if seconds > SECONDS:
        tally.failures.append(f"{where}: took {seconds:.1f} s")
    if peak > MEMORY_BYTES:
        tally.failures.append(f"{where}: memory grew to {peak / 2**20:.0f} MB")
    tally.outcomes[kind, outcome] += 1
    if outcome == "other pixels":
        tally.rot[seed] += 1


def watch(worker: Watched, tally: Tally) -> bool:
    """Look at a worker; return False when it has ended, having noted how."""
    ended = worker.process.poll() is not None
    for line in worker.lines():
        note(tally, worker, line)
    if not ended and not worker.silent():
        return True
    said = worker.close()
    if said.strip():
        tally.failures.append(f"mutants up to {worker.ended}: the decoder said {said[:300]!r}")
    if worker.begun is not None:
        how = f"code {worker.process.returncode}" if ended else "it hung"
        tally.failures.append(f"mutant {worker.begun}: the worker crashed ({how})")
        tally.outcomes["any", "crashed"] += 1
        worker.ended = worker.begun + 1
    elif worker.process.returncode != 0:
        tally.failures.append(f"a worker ended with code {worker.process.returncode}")
        worker.ended = worker.stop
    return False


def run(mutants: int, run_seed: int, workers: int, seeds_file: Path) -> Tally:
    """Read all mutants in `workers` processes at a time."""
    tally = Tally()
    waiting = [
        (start, min(start + BATCH, mutants)) for start in range(mutants - 1, -1, -1)
        if start % BATCH == 0
    ]  # fmt: skip
    running: list[Watched] = []
    while waiting or running:
        while waiting and len(running) < workers:
            running.append(Watched(seeds_file, run_seed, *waiting.pop()))
        time.sleep(0.02)
        for worker in list(running):
            if not watch(worker, tally):
                running.remove(worker)
                if worker.ended < worker.stop:
                    waiting.append((worker.ended, worker.stop))
    return tally


def make_seeds(folder: Path) -> tuple[dict[str, bytes], dict[str, Pictures]]:
    """Bytes and pixels of every sound file of the corpus."""
    from reading_corpus import SOUND

    seeds, sound = {}, {}
    for case in SOUND:
        path = folder / case.file
        case.write(path)
        seeds[case.file] = path.read_bytes()
        sound[case.file] = read_all(path)
    return seeds, sound


def show(tally: Tally, mutants: int) -> None:
    """Print the results."""
    outcomes = ("refused", "same pixels", "same pixels, other names", "other pixels", "failed")
    print(f"{'mutation':<22}" + "".join(f"{word.split(',')[-1]:>14}" for word in outcomes))
    for kind in (*KINDS, "any"):
        counts = [tally.outcomes[kind, outcome] for outcome in outcomes]
        if any(counts):
            print(f"{kind:<22}" + "".join(f"{count:>14,}" for count in counts))
    totals = [sum(tally.outcomes[kind, word] for kind in (*KINDS, "any")) for word in outcomes]
    print(f"{'all':<22}" + "".join(f"{count:>14,}" for count in totals))
    print(f"{mutants:,} mutants; slowest {tally.slowest:.2f} s of processor time; "
          f"largest worker {tally.peak_bytes / 2**20:.0f} MB")  # fmt: skip
    print("other pixels by seed: " + ", ".join(f"{k} {n}" for k, n in tally.rot.most_common(12)))
    print(f"{len(tally.failures)} failures")
    for failure in tally.failures[:50]:
        print(f"  {failure}")


def main() -> int:
    """Run from the command line; 1 if anything failed."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--mutants", type=int, default=20_000)
    parser.add_argument("--run-seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--write", type=int, help="write this one mutant beside you and stop")
    parser.add_argument("--worker", nargs=4, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.worker:
        seeds_file, run_seed, start, stop = options.worker
        work(Path(seeds_file), int(run_seed), int(start), int(stop))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        made: tuple[dict[str, bytes], Any] = make_seeds(Path(folder))
        if options.write is not None:
            mutant = mutate(options.write, options.run_seed, made[0])
            Path(f"mutant_{options.write}{Path(mutant.seed).suffix}").write_bytes(mutant.data)
            print(f"{mutant.seed}, {mutant.kind}")
            return 0
        seeds_file = Path(folder) / "seeds.pickle"
        seeds_file.write_bytes(pickle.dumps(made))
        tally = run(options.mutants, options.run_seed, options.workers, seeds_file)
    show(tally, options.mutants)
    return 1 if tally.failures else 0


if __name__ == "__main__":
    sys.exit(main())
