"""What a round of feedback costs: change and draft, keeping a round, comparing two pictures.

    python tests/benchmarks/rounds.py [--folder DIR] [--times 7]

On 12 passes of 3840x2160 and three moods. Everything is run by turns, and the medians are told, of
wall-clock time and of processor time; where other work is on the machine the second is the one to
look at. The start of Python with numpy is measured among them as a yardstick.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from statistics import median

from measure import Measured, measure

from passes import make_passes, make_recipe

SIZE = (3840, 2160)
LIGHTS = 12
EVENFALL = [sys.executable, "-c", "from evenfall.cli.process import program; program()"]
NO_SHEET = "\n[sheet]\nmake = false\n"


class Table:
    """What was measured, by name."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.environment = {"EVENFALL_CACHE": str(folder / "cache")}
        self.runs: dict[str, list[Measured]] = {}

    def run(self, name: str, *words: str) -> None:
        """Run evenfall, and keep what it took; without a name it is only run."""
        measured = measure([*EVENFALL, *words], environment=self.environment, folder=self.folder)
        if name:
            self.runs.setdefault(name, []).append(measured)

    def yardstick(self) -> None:
        """Start Python with numpy."""
        measured = measure([sys.executable, "-c", "import numpy"], environment=self.environment)
        self.runs.setdefault("import numpy", []).append(measured)

    def compare(self, first: str, second: str) -> None:
        """Compare two pictures; they differ, which is exit code 1."""
        command = [*EVENFALL, "compare", first, second]
        code = (
            "import subprocess, sys; "
            "sys.exit(subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL).returncode != 1)"
        )
        measured = measure(
            [sys.executable, "-S", "-c", code, *command],
            environment=self.environment,
            folder=self.folder,
        )
        self.runs.setdefault("compare two pictures", []).append(measured)

    def tell(self) -> None:
        """Print medians."""
        print(f"{'':26} wall   processors   (medians of {self.times})")
        for name, some in self.runs.items():
            seconds = median(run.seconds for run in some)
            cpu = median(run.cpu_seconds for run in some)
            print(f"{name:24} {seconds:6.2f} s   {cpu:6.2f} s")

    @property
    def times(self) -> int:
        return max(map(len, self.runs.values()), default=0)


def rounds_of(table: Table, recipe: Path, times: int) -> None:
    """Change, draft, run, keep, by turns."""
    word = recipe.name
    for number in range(times):
        table.yardstick()
        step = "up" if number % 2 else "down"
        table.run("change", "change", word, "dusk", f"light_03 {step} 1/3, {3000 + number} K")
        table.run("draft of one mood", "run", word, "--draft", "--mood", "dusk", "-q")
        table.run("run", "run", word, "-q", "--overwrite")
        table.run("run again, all made", "run", word, "-q")
        table.run("round keep", "round", "keep", word, "--asked", "lamps warmer", "-q")


def empty(folder: Path, names: Sequence[str]) -> None:
    for name in names:
        shutil.rmtree(folder / name, ignore_errors=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, default=Path.home() / ".cache/evenfall-benchmark")
    parser.add_argument("--times", type=int, default=7)
    options = parser.parse_args()
    folder = options.folder
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "bytecode")  # as where a package is installed
    passes = folder / f"{SIZE[0]}x{SIZE[1]}"
    names = make_passes(passes, SIZE, LIGHTS)
    place = folder / "rounds"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    recipe = make_recipe(place / "view.toml", passes, names, change=NO_SHEET)
    table = Table(place)
    table.environment["EVENFALL_CACHE"] = str(folder / "cache")
    table.run("", "run", "view.toml", "-q")
    table.run("", "run", "view.toml", "--draft", "-q")
    shutil.copytree(place / "pictures", place / "aside")
    for _ in range(options.times):
        table.compare("aside/view_day.png", "aside/view_dusk.png")
    rounds_of(table, recipe, options.times)
    table.tell()


if __name__ == "__main__":
    main()
