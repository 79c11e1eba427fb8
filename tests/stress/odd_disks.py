"""Run evenfall where disks, folders, inputs and caches misbehave; nothing may be half or lost.

    python tests/stress/odd_disks.py --rounds 20
    python tests/stress/odd_disks.py --only full inputs

Kinds of trouble: a disk that is full at every size (a small tmpfs, for root) and at every system
call that writes (strace); a limit of the size of files; folders that are read-only or vanish;
inputs that are replaced or rewritten while a run reads them; ten runs into one folder; a cache that
is full, read-only, poisoned or full of pipes; HOME and TMPDIR gone. After each, all files are old
or new and whole, nothing unfinished lies about, no traceback was told, and the next sound run makes
the very bytes that it makes in an empty folder.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from kill_runs import files_of, leftovers
from PIL import Image

from evenfall.develop.example import example_recipe

SLOWEST_SECONDS = 120
CALLS = (
    "write",
    "fsync",
    "rename",
    "mkdir",
    "link",
    "unlink",
    "openat",
    "read",
    "pread64",
)
ERRORS = ("ENOSPC", "EIO", "EDQUOT")
_BESIDE = """
[passes]
repair = { fireflies = true }
[moods.day.plate]
file = "plate.png"
[[moods.dusk.regions]]
area = { mask = "mask.png" }
exposure_stops = 0.5
[look.grade]
luts = [{ file = "warm.cube", place = "display", input = "encoded" }]
"""

Made = dict[str, bytes]


class Bench:
    """A tiny view with inputs of every kind, and what it looks like when all goes well."""

    def __init__(self, folder: Path, seed: int, more: str = "") -> None:
        self.folder, self.random = folder, random.Random(seed)
        self.counts: Counter[str] = Counter()
        scene = folder / "scene"
        scene.mkdir()
        self.recipe = example_recipe(scene).path
        with self.recipe.open("a", encoding="utf-8") as stream:
            stream.write(_BESIDE + more)
        self.put("plate.png", 0)
        self.put("mask.png", 0)
        self.put("warm.cube", 0)
        self.sound = self.made_by(["--out", self.new_folder()])
        self.other = self.made_by(["--out", self.new_folder(), *CHANGED])

    def put(self, name: str, version: int) -> None:
        """Write an input in one of two versions, as a program does that saves it anew."""
        path = self.recipe.with_name(name)
        beside = path.with_name(f"saving_{name}")
        if name.endswith(".exr"):
            other = example_recipe(Path(tempfile.mkdtemp(dir=self.folder)), width=48).path
            data = other.with_name(["sun.exr", "sky.exr"][version]).read_bytes()
            beside.write_bytes(data)
        elif name.endswith(".cube"):
            beside.write_text(f"LUT_1D_SIZE 2\n0 0 0\n{1 - version / 10} 1 0.9\n")
        else:
            grey = np.full((32, 48), 60 + 100 * version, np.uint8)
            Image.fromarray(grey).save(beside)
        beside.replace(path)

    def new_folder(self) -> str:
        """Name of a folder that is not there yet."""
        return tempfile.mkdtemp(dir=self.folder) + "/out"

    def start(self, words: list[str], *, before: list[str] | None = None, **more: Any) -> Any:
        """Begin a run."""
        environment = {**os.environ, "EVENFALL_CACHE": str(self.folder / "cache")}
        environment |= more.pop("environment", {})
        return subprocess.Popen(
            [*(before or []), sys.executable, "-m", "evenfall", "run", str(self.recipe),
             "--overwrite", "-q", *words],
            env={name: value for name, value in environment.items() if value is not None},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            **more,
        )  # fmt: skip

    def end(self, process: Any, allowed: tuple[int, ...] = (0, 1)) -> int:
        """Wait for its end, and hold it to its words."""
        _, said = process.communicate(timeout=SLOWEST_SECONDS)
        if process.returncode not in allowed or "Traceback" in said:
            raise AssertionError(f"ended with {process.returncode}: {said}")
        return int(process.returncode)

    def made_by(self, words: list[str], **more: Any) -> Made:
        """Let a run come to its end; what lies in its folder."""
        self.end(self.start(words, **more), (0,))
        return dict(files_of(Path(words[words.index("--out") + 1])))

    def check(self, out: Path, what: str, *known: Made) -> None:
        """Hold the files of a folder against those of whole runs."""
        if out.is_dir():
            for name, data in files_of(out):
                if data not in [made.get(name) for made in known or (self.sound, self.other)]:
                    raise AssertionError(f"{what}: {name} is neither old nor new")
            if left := [path for path in leftovers(out) if path.parent == out]:
                raise AssertionError(f"{what}: {left} is left over")

    def go_on(self, out: Path, what: str, **more: Any) -> None:
        """A sound run comes next."""
        if self.made_by(["--out", str(out)], **more) != self.sound:
            raise AssertionError(f"{what}: the next run makes something else")


CHANGED = ["--set", "moods.dusk.camera.exposure_stops=0.5", "--set", "look.grain.strength=0.1"]


@contextlib.contextmanager
def mounted(folder: Path, kilobytes: int) -> Iterator[None]:
    """A disk of its own that holds so much, for root."""
    folder.mkdir(parents=True, exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "none", folder], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


def full_disk(bench: Bench, rounds: int) -> None:
    """A disk that is full after so many pages, old pictures on it or not."""
    needed = sum(map(len, bench.sound.values())) // 1024 + 40
    for number in range(rounds):
        disk = Path(bench.new_folder())
        with mounted(disk, bench.random.randrange(4, 2 * needed, 4)):
            out = disk / "out"
            if number % 2:
                bench.end(bench.start(["--out", str(out), *CHANGED]))
            code = bench.end(bench.start(["--out", str(out)]))
            bench.counts[f"full disk, ended with {code}"] += 1
            bench.check(out, "full disk")


def full_calls(bench: Bench, rounds: int) -> None:
    """An error of the n-th system call of a kind."""
    if shutil.which("strace") is None:
        bench.counts["no strace"] += 1
        return
    for _ in range(rounds):
        call, error = bench.random.choice(CALLS), bench.random.choice(ERRORS)
        nth = round(2 ** bench.random.uniform(0, 6 if call not in ("openat", "read") else 11))
        out = Path(bench.new_folder())
        bench.made_by(["--out", str(out), *CHANGED])
        inject = f"inject={call}:error={error}:when={nth}"
        strace = ["strace", "-f", "-qq", "-o", "/dev/null", "-e", f"trace={call}", "-e", inject]
        process = bench.start(["--out", str(out)], before=strace)
        _, said = process.communicate(timeout=SLOWEST_SECONDS)
        ours = "evenfall/cli" in said
        if "Traceback" in said and ours:
            raise AssertionError(f"{inject}: {said}")
        bench.counts[f"{call} failing, ended with {process.returncode}"] += 1
        if call != "unlink":  # which is how leftovers go
            bench.check(out, inject)
        bench.go_on(out, inject)


def short_files(bench: Bench, rounds: int) -> None:
    """No file may grow beyond a limit."""
    for _ in range(rounds):
        limit = bench.random.randrange(0, 60_000)
        out = Path(bench.new_folder())
        bench.made_by(["--out", str(out), *CHANGED])

        def limited(limit: int = limit) -> None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

        code = bench.end(bench.start(["--out", str(out)], preexec_fn=limited))
        bench.counts[f"files cut short, ended with {code}"] += 1
        bench.check(out, f"files of {limit} bytes")
        bench.go_on(out, "files cut short")


def read_only(bench: Bench, rounds: int) -> None:
    """A disk that turns read-only before or during a run."""
    for _ in range(rounds):
        disk = Path(bench.new_folder())
        with mounted(disk, 4000):
            out = disk / "out"
            bench.made_by(["--out", str(out), *CHANGED])
            process = bench.start(["--out", str(out)])
            time.sleep(bench.random.uniform(0, 2))
            # Refused while a file is open for writing; then once more, a little later.
            for _ in range(100):
                asked = ["mount", "-o", "remount,ro", str(disk)]
                if subprocess.run(asked, check=False, capture_output=True).returncode == 0:
                    break
                time.sleep(0.01)
            code = bench.end(process)
            bench.counts[f"read-only, ended with {code}"] += 1
            subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)
            bench.go_on(out, "read-only")


def vanishing(bench: Bench, rounds: int) -> None:
    """The folder of pictures, or that of the passes, goes while a run is at work."""
    for _ in range(rounds):
        out = Path(bench.new_folder())
        bench.made_by(["--out", str(out), *CHANGED])
        gone = bench.random.choice([out, bench.recipe.parent])
        process = bench.start(["--out", str(out)])
        time.sleep(bench.random.uniform(0, 2.5))
        aside = gone.with_name(f"{gone.name}_aside")
        gone.rename(aside)
        code = bench.end(process, (0, 1, 2))
        bench.counts[f"folder gone, ended with {code}"] += 1
        if not gone.exists():
            aside.rename(gone)
        else:
            shutil.rmtree(aside)
        bench.go_on(out, "folder gone")


def inputs(bench: Bench, rounds: int) -> None:
    """An input of any kind is saved anew, or written into, while a run is at work."""
    truths = {}
    for name in ("sun.exr", "plate.png", "mask.png", "warm.cube"):
        bench.put(name, 1)
        truths[name] = bench.made_by(["--out", bench.new_folder()])
        bench.put(name, 0)
    for _ in range(rounds):
        name = bench.random.choice(list(truths))
        out = Path(bench.new_folder())
        process = bench.start(["--out", str(out)])
        time.sleep(bench.random.uniform(0, 2.5))
        in_place = bench.random.random() < 0.3
        if in_place:
            path = bench.recipe.with_name(name)
            before = path.read_bytes()
            path.write_bytes(before[: len(before) // 2])
        else:
            bench.put(name, 1)
        code = bench.end(process, (0, 1, 2))
        how = "written into" if in_place else "saved anew"
        bench.counts[f"{name} {how}, ended with {code}"] += 1
        # A set may stand between: some pictures made before, some after; each is whole.
        bench.check(out, f"{name} {how}", bench.sound, truths[name])
        if not in_place and bench.made_by(["--out", str(out)]) != truths[name]:
            raise AssertionError(f"after {name} was saved anew: not what a fresh run makes")
        bench.put(name, 0)
        bench.go_on(out, name)


def ten_at_once(bench: Bench, rounds: int) -> None:
    """Ten runs in two settings into one folder."""
    for _ in range(rounds):
        out = Path(bench.new_folder())
        running = [bench.start(["--out", str(out), *([] if n % 2 else CHANGED)]) for n in range(10)]
        codes = Counter(bench.end(process) for process in running)
        if not codes[0]:
            raise AssertionError("of ten runs none came through")
        bench.counts["of ten at once, came through"] += codes[0]
        bench.counts["of ten at once, turned away"] += codes[1]
        if dict(files_of(out)) not in (bench.sound, bench.other):
            raise AssertionError("ten at once: a mixture")
        bench.check(out, "ten at once")


def caches(bench: Bench, rounds: int) -> None:
    """A cache that is full, read-only, or holds garbage, pipes and folders."""
    for number in range(rounds):
        cache = Path(bench.new_folder())
        environment = {"EVENFALL_CACHE": str(cache)}
        if number % 3 == 0:
            with mounted(cache, bench.random.randrange(4, 80, 4)):
                bench.go_on(Path(bench.new_folder()), "full cache", environment=environment)
                if bench.random.random() < 0.5:
                    subprocess.run(["mount", "-o", "remount,ro", str(cache)], check=True)
                bench.go_on(Path(bench.new_folder()), "read-only cache", environment=environment)
            bench.counts["cache full or read-only"] += 1
            continue
        bench.made_by(["--out", bench.new_folder()], environment=environment)
        for path in [path for path in cache.rglob("*") if path.is_file()]:
            poison(path, bench.random)
        bench.go_on(Path(bench.new_folder()), "poisoned cache", environment=environment)
        bench.counts["cache poisoned"] += 1


def poison(path: Path, rng: random.Random) -> None:
    """Make something else of a file."""
    data = bytearray(path.read_bytes())
    match rng.randrange(6):
        case 0:
            path.write_bytes(data[: rng.randrange(len(data) + 1)])
        case 1 if data:
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
            path.write_bytes(data)
        case 2:
            path.write_bytes(rng.randbytes(len(data)))
        case 3:
            path.unlink()
            os.mkfifo(path)
        case 4:
            path.unlink()
            path.mkdir()
        case _:
            path.write_bytes(b"")


def no_home(bench: Bench, rounds: int) -> None:
    """HOME, TMPDIR and the folder of caches are unset, gone, a file, or empty words."""
    for _ in range(rounds):
        odd = [None, "", "/nowhere/at/all", str(bench.recipe), "/dev/null"]
        environment = {
            name: bench.random.choice(odd)
            for name in ("HOME", "TMPDIR", "EVENFALL_CACHE", "XDG_CACHE_HOME")
        }
        bench.go_on(Path(bench.new_folder()), f"{environment}", environment=environment)
        bench.counts["without HOME or TMPDIR"] += 1


TROUBLES: dict[str, Callable[[Bench, int], None]] = {
    "full": full_disk,
    "calls": full_calls,
    "short": short_files,
    "read-only": read_only,
    "vanishing": vanishing,
    "inputs": inputs,
    "ten": ten_at_once,
    "caches": caches,
    "home": no_home,
}


def main() -> None:
    """Run the campaign and say what was seen."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--rounds", type=int, default=20, help="of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="*", choices=tuple(TROUBLES), default=tuple(TROUBLES))
    chosen = parser.parse_args()
    for name in chosen.only:
        with tempfile.TemporaryDirectory(prefix="evenfall-disks-") as folder:
            bench = Bench(Path(folder), chosen.seed)
            try:
                TROUBLES[name](bench, chosen.rounds)
            except AssertionError as error:
                print(f"{name}: FAILED: {error}", flush=True)
                continue
        seen = ", ".join(f"{what} {count}" for what, count in sorted(bench.counts.items()))
        print(f"{name}: nothing half, nothing lost; {seen}", flush=True)


if __name__ == "__main__":
    main()
