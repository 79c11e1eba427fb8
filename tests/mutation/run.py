"""Puts small faults into a copy of the program, one at a time, and tells which no test sees.

    python tests/mutation/run.py                      all faults
    python tests/mutation/run.py light/ deliver/png   those of files that begin so

A fault is a piece of source and what takes its place: a constant by a percent or two, a comparison
turned, a line dropped, a flush or a rename removed (`faults_*.py`). Each is tried against the tests
that are named for its file. It takes some seconds a fault, and is no part of the suite. Exit code
1: a fault was not seen, or its piece of source is not there any more.
"""

from __future__ import annotations

import contextlib
import importlib
import itertools
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
LIBRARIES = (
    *("numpy", "scipy.ndimage", "scipy.fft", "scipy.signal", "PIL.Image", "PIL.ImageCms"),
    *("pydantic", "OpenEXR", "OpenImageIO", "PyOpenColorIO", "tifffile", "imagecodecs"),
)
_SECONDS = itertools.count(10**9)
COPIED = ("src", "tests", "docs", "pyproject.toml")


@dataclass(frozen=True)
class Fault:
    """A fault in a file of the program, and the tests that should see it."""

    file: str
    right: str
    wrong: str
    tests: tuple[str, ...]
    negligible: str = ""  # the reason, where no test need see it

    def __str__(self) -> str:
        return f"{self.file}: {_short(self.right)} -> {_short(self.wrong)}"


def _short(text: str) -> str:
    line = " ".join(text.split())
    return repr(line if len(line) <= 60 else line[:57] + "...")


def all_faults() -> Iterator[Fault]:
    """Read the lists beside this file."""
    sys.path.insert(0, str(HERE))
    for path in sorted(HERE.glob("faults_*.py")):
        module = importlib.import_module(path.stem)
        for file, faults in module.FAULTS.items():
            for right, wrong, *reason in faults:
                yield Fault(file, right, wrong, module.TESTS[file], *reason)


def try_fault(copy: Path, fault: Fault) -> str:
    """Say what became of a fault: seen, NOT SEEN, or NOT THERE."""
    path = copy / "src" / "evenfall" / fault.file
    sound = path.read_text(encoding="utf-8")
    if fault.right not in sound:
        return "NOT THERE"
    when = path.stat().st_mtime_ns
    path.write_text(sound.replace(fault.right, fault.wrong, 1), encoding="utf-8")
    _tell_apart(path)
    try:
        code = _run_tests(copy, fault.tests)
    finally:
        path.write_text(sound, encoding="utf-8")
        os.utime(path, ns=(when, when))
    if code == 0:
        return "negligible" if fault.negligible else "NOT SEEN"
    return "seen"


def _tell_apart(path: Path) -> None:
    """Give a file a time of its own: bytecode passes for its where size and second are the same."""
    second = next(_SECONDS) * 10**9
    os.utime(path, ns=(second, second))


def _run_tests(copy: Path, tests: Sequence[str]) -> int:
    """Run tests in a process forked from this one, which has the libraries loaded already."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.chdir(copy)
            sys.path.insert(0, str(copy / "src"))
            silence = os.open(os.devnull, os.O_WRONLY)
            os.dup2(silence, 1)
            os.dup2(silence, 2)
            options = ("-x", "-q", "-n", "0", "-p", "no:cacheprovider")
            code = int(pytest.main([*options, *tests]))
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status)


def _load_libraries() -> None:
    """Load what nearly every test needs, so that no test waits for it."""
    for name in LIBRARIES:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)


def main(beginnings: Sequence[str]) -> int:
    """Try all faults of files that begin so; give the exit code."""
    chosen = [
        fault
        for fault in all_faults()
        if not beginnings or any(fault.file.startswith(each) for each in beginnings)
    ]
    counts: dict[str, int] = {}
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for name in COPIED:
            source = ROOT / name
            if source.is_dir():
                ignored = shutil.ignore_patterns("__pycache__", "mutation")
                shutil.copytree(source, copy / name, ignore=ignored)
            else:
                shutil.copy(source, copy / name)
        if (ROOT / "sample_passes").is_dir():
            (copy / "sample_passes").symlink_to(ROOT / "sample_passes")
        os.environ |= {"PYTHONPATH": str(copy / "src")}
        _load_libraries()
        for number, fault in enumerate(chosen, 1):
            found = try_fault(copy, fault)
            counts[found] = counts.get(found, 0) + 1
            print(f"{number}/{len(chosen)} {found}: {fault}", flush=True)
    print(", ".join(f"{count} {found}" for found, count in sorted(counts.items())))
    return int("NOT SEEN" in counts or "NOT THERE" in counts)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
