"""Make each file that a run opens fail to be read, one after the other; no picture may be another.

    python tests/stress/failing_files.py
    python tests/stress/failing_files.py --like fribidi --calls read

A sound run is traced (strace), and each file that it read is then refused to a run of its own: as
it is opened, at its first read, as it is mapped into memory. These are pictures, recipe, cache and
report, fonts and tables, and the libraries, of which some are looked for by other libraries that do
without. After each, all pictures are old or those of a sound run, no traceback was told, and the
next sound run makes the bytes that it makes in an empty folder. Of the modules in Python, of which
there are many, some are chosen by chance.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

from odd_disks import CHANGED, SLOWEST_SECONDS, Bench

_DELIVERED = """
[[deliverables]]
format = "png"
[[deliverables]]
format = "jpeg"
[[deliverables]]
format = "tiff"
[[deliverables]]
format = "exr"
[[deliverables]]
format = "avif"
[[deliverables]]
format = "webp"
"""
_CALLS = {"openat": "EIO", "read": "EIO", "pread64": "EIO", "mmap": "ENOMEM"}
_READ = re.compile(r"^\d+ +(read|pread64|mmap)\([^<]*<(/[^>]+)>")
_OPENED = re.compile(r'^\d+ +openat\([^"]*"(/[^"]+)".* = \d+<')
_OUR_PROGRAM = "evenfall/cli/process.py"  # before it runs, it is Python that tells
_OF_PYTHON = "/lib-dynload/"  # of the many that it cannot do without, the first read is enough
_OUT = "{out}"
_NOT_BEGUN = 127  # of ld.so, which did not find what Python itself is made of
_TRACED = ["strace", "-f", "-qq", "--seccomp-bpf"]


def opened(bench: Bench, *words: str) -> list[tuple[str, str]]:
    """Calls and files of a run that reads; each once."""
    trace = bench.folder / "trace.txt"
    calls = ",".join(_CALLS)
    strace = [*_TRACED, "-y", "-o", str(trace), "-e", f"trace={calls}"]
    bench.end(bench.start(list(words), before=strace), (0,))
    found = dict[tuple[str, str], None]()
    for line in trace.read_text(errors="replace").splitlines():
        if seen := _READ.match(line):
            found[seen[1], seen[2]] = None
        elif seen := _OPENED.match(line):
            found["openat", seen[1]] = None
    return [(call, file.replace(words[-1], _OUT)) for call, file in found]


def chosen(found: list[tuple[str, str]], modules: int, rng: random.Random) -> list[tuple[str, str]]:
    """Leave out folders and what the kernel makes up; of modules in Python take some."""
    files = [
        (call, file)
        for call, file in found
        if not Path(file).is_dir() and not file.startswith(("/proc", "/sys", "/dev"))
    ]
    of_python = [each for each in files if each[1].endswith((".py", ".pyc"))]
    of_its_own = [each for each in files if _OF_PYTHON in each[1]]
    others = [each for each in files if each not in of_python and each not in of_its_own]
    return [
        *others,
        *[each for each in of_its_own if each[0] == "read"],
        *rng.sample(of_python, min(modules, len(of_python))),
    ]


def refuse(bench: Bench, before: Path, call: str, file: str) -> str:
    """Let a run over earlier pictures meet the refusal; say how it ended."""
    out = Path(bench.new_folder())
    shutil.copytree(before, out)
    where = ["-o", os.devnull, "-P", file.replace(_OUT, str(out))]
    inject = f"inject={call}:error={_CALLS[call]}:when=1"
    strace = [*_TRACED, *where, "-e", f"trace={call}", "-e", inject]
    process = bench.start(["--out", str(out)], before=strace)
    what = f"{call} of {file}"
    try:
        _, said = process.communicate(timeout=SLOWEST_SECONDS)
    except subprocess.TimeoutExpired:
        process.kill()
        raise
    if "Traceback" in said and _OUR_PROGRAM in said:
        raise AssertionError(f"{what}: ended with {process.returncode}: {said}")
    bench.check(out, what)
    if process.returncode != _NOT_BEGUN:
        bench.go_on(out, what)
    return f"{process.returncode}\t{said.strip()[:300]}"


def main() -> None:
    """Run the campaign and say what was seen."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--modules", type=int, default=40, help="of Python, chosen by chance")
    parser.add_argument("--like", default="", help="only files whose path holds this")
    parser.add_argument("--calls", nargs="*", choices=tuple(_CALLS), default=tuple(_CALLS))
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="evenfall-files-") as folder:
        bench = Bench(Path(folder), asked.seed, more=_DELIVERED)
        before, traced = Path(bench.new_folder()), bench.new_folder()
        bench.made_by(["--out", str(before), *CHANGED])
        shutil.copytree(before, traced)
        found = chosen(opened(bench, "--out", traced), asked.modules, bench.random)
        found = [each for each in found if each[0] in asked.calls and asked.like in each[1]]
        ends, broken = Counter[str](), 0
        for number, (call, file) in enumerate(found, 1):
            try:
                end = refuse(bench, before, call, file)
            except (AssertionError, subprocess.TimeoutExpired) as error:
                broken += 1
                print(f"FAILED: {error}", flush=True)
                continue
            ends[f"{call} failing, ended with {end.split()[0]}"] += 1
            print(f"{number}/{len(found)}\t{call}\t{file}\t{end!r}", file=sys.stderr, flush=True)
    print(f"{len(found)} refusals, {broken} broken; " + ", ".join(map(str, sorted(ends.items()))))


if __name__ == "__main__":
    main()
