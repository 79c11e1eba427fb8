"""What a round of feedback costs: change and draft, keeping a round, comparing two pictures.

    python tests/benchmarks/rounds.py [--folder DIR] [--times 7] [--write]

With --write the table goes into docs/performance.md.

On 12 passes of 3840x2160 and three moods. Everything is run by turns, and the medians are told, of
wall-clock time and of processor time; where other work is on the machine the second is the one to
look at. The start of Python with numpy is measured among them as a yardstick.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from statistics import median

from measure import Measured, measure
from setting import DOCS, EVENFALL, set_up

from page import fill_blocks, table, target
from passes import make_recipe

GOALS = {
    "change and draft of one mood": 0.6,
    "compare two pictures": 1.5,
    "round keep": 0.5,
}
NO_SHEET = "\n[sheet]\nmake = false\n"


class Table:
    """What was measured, by name."""

    def __init__(self, folder: Path, environment: dict[str, str]) -> None:
        self.folder, self.environment = folder, environment
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

    def told(self) -> str:
        """Write the medians as a table."""
        both = zip(self.runs["change"], self.runs["draft of one mood"], strict=True)
        sums = [
            Measured(
                one.seconds + other.seconds,
                one.cpu_seconds + other.cpu_seconds,
                max(one.peak_mb, other.peak_mb),
            )
            for one, other in both
        ]
        rows = []
        for name, some in {**self.runs, "change and draft of one mood": sums}.items():
            seconds = median(run.seconds for run in some)
            cpu = median(run.cpu_seconds for run in some)
            goal = target(GOALS.get(name), seconds)
            rows.append((name, f"{seconds:.2f} s", f"{cpu:.2f} s", goal))
        head = (f"medians of {self.times}", "wall clock", "processors", "target")
        return table(head, rows)

    @property
    def times(self) -> int:
        return max(map(len, self.runs.values()), default=0)


def rounds_of(taken: Table, recipe: Path, times: int) -> None:
    """Change, draft, run, keep, by turns."""
    word = recipe.name
    for number in range(times):
        taken.yardstick()
        step = "up" if number % 2 else "down"
        taken.run("change", "change", word, "dusk", f"light_03 {step} 1/3, {3000 + number} K")
        taken.run("draft of one mood", "run", word, "--draft", "--mood", "dusk", "-q")
        taken.run("run", "run", word, "-q", "--overwrite")
        taken.run("run again, all made", "run", word, "-q")
        taken.run("round keep", "round", "keep", word, "--asked", "lamps warmer", "-q")


def main() -> None:
    setting = set_up(__doc__, "rounds")
    place = setting.place
    recipe = make_recipe(place / "view.toml", setting.passes, setting.names, change=NO_SHEET)
    taken = Table(place, setting.environment)
    taken.run("", "run", "view.toml", "-q")
    taken.run("", "run", "view.toml", "--draft", "-q")
    shutil.copytree(place / "pictures", place / "aside")
    for _ in range(setting.times):
        taken.compare("aside/view_day.png", "aside/view_dusk.png")
    rounds_of(taken, recipe, setting.times)
    print(taken.told())
    if setting.write:
        fill_blocks({"rounds": taken.told()}, DOCS)


if __name__ == "__main__":
    main()
