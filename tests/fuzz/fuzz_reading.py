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
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from mutants import Mutant, mutate
from watching import Limits, Outcome, Tally, show, watch_all, work

LIMITS = Limits()
OUTCOMES = ("refused", "same pixels", "same pixels, other names", "other pixels")

Pictures = dict[tuple[str, str, str], bytes]


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


def read_mutants(seeds_file: Path, run_seed: int, start: int, stop: int) -> None:
    """Worker: read mutants [start, stop)."""
    seeds, sound = pickle.loads(seeds_file.read_bytes())
    with tempfile.TemporaryDirectory() as folder:

        def use(number: int) -> Outcome:
            mutant = mutate(number, run_seed, seeds)
            path = Path(folder) / f"mutant{Path(mutant.seed).suffix}"
            outcome = outcome_of(mutant, path, sound[mutant.seed])
            return Outcome(mutant.seed, mutant.kind, outcome)

        work(LIMITS, start, stop, use)


def make_seeds(folder: Path, words: str) -> tuple[dict[str, bytes], dict[str, Pictures]]:
    """Bytes and pixels of the sound files of the corpus; of all, or of some by their names."""
    from reading_corpus import SOUND

    seeds, sound = {}, {}
    for case in SOUND:
        if words and not any(word in case.file for word in words.split(",")):
            continue
        path = folder / case.file
        case.write(path)
        seeds[case.file] = path.read_bytes()
        sound[case.file] = read_all(path)
    return seeds, sound


def main() -> int:
    """Run from the command line; 1 if anything failed."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--mutants", type=int, default=20_000)
    parser.add_argument("--run-seed", type=int, default=1)
    parser.add_argument(
        "--seeds", default="", help="only files whose names hold one of these words"
    )
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--write", type=int, help="write this one mutant beside you and stop")
    parser.add_argument("--worker", nargs=4, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.worker:
        seeds_file, run_seed, start, stop = options.worker
        read_mutants(Path(seeds_file), int(run_seed), int(start), int(stop))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        made: tuple[dict[str, bytes], Any] = make_seeds(Path(folder), options.seeds)
        if options.write is not None:
            mutant = mutate(options.write, options.run_seed, made[0])
            Path(f"mutant_{options.write}{Path(mutant.seed).suffix}").write_bytes(mutant.data)
            print(f"{mutant.seed}, {mutant.kind}")
            return 0
        seeds_file = Path(folder) / "seeds.pickle"
        seeds_file.write_bytes(pickle.dumps(made))
        arguments = ["--worker", str(seeds_file), str(options.run_seed)]
        tally: Tally = watch_all(__file__, arguments, options.mutants, options.workers, LIMITS)
    show(tally, options.mutants, OUTCOMES)
    rot = [(n, seed) for (seed, outcome), n in tally.by_seed.items() if outcome == "other pixels"]
    print(
        "other pixels by seed: " + ", ".join(f"{s} {n}" for n, s in sorted(rot, reverse=True)[:12])
    )
    return 1 if tally.failures else 0


if __name__ == "__main__":
    sys.exit(main())
