"""One command for all of docs/performance.md: measure, write the tables, draw the plot.

    python tests/benchmarks/run.py [--folder DIR] [--large] [--quick] [--tables]

Needs the extra `benchmark`. Passes are made once in the folder (2 GB; 3 GB more with --large,
which measures 15360x8640). --quick leaves out what takes long; --tables only writes the page
anew from the numbers of the last time. Nothing else should run on the machine.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from measure import Measured, best, measure

from page import write_page
from passes import MOODS, join_passes, make_passes, make_recipe

HERE = Path(__file__).parent
RESULTS = HERE / "results.json"
FULL, HALF, QUARTER, DOUBLE = (3840, 2160), (1920, 1080), (960, 540), (7680, 4320)
LARGE = (15360, 8640)
PYTHON = sys.executable
EVENFALL = [PYTHON, "-c", "from evenfall.cli.process import program; program()"]
NO_SHEET = "\n[sheet]\nmake = false\n"


class Bench:
    """A folder of passes and recipes, and what was measured."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        # Compiled modules are kept, as they are where a package is installed.
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "bytecode")
        self.environment = {"EVENFALL_CACHE": str(folder / "cache")}
        self.results: dict[str, Any] = {}

    def recipe(
        self, size: tuple[int, int], lights: int, moods: int = 3, change: str = NO_SHEET
    ) -> Path:
        """Make passes and a recipe of so many lights and moods."""
        passes = self.folder / f"{size[0]}x{size[1]}"
        names = apart(make_passes, passes, size, max(lights, 1))[:lights]
        named = [*MOODS, "late", "blue", "storm", "fair", "dawn"][:moods]
        path = self.folder / f"view_{size[0]}_{lights}_{moods}.toml"
        return make_recipe(path, passes, names, named, change=change)

    def layered(self, size: tuple[int, int], lights: int) -> Path:
        """Make a recipe whose lights are layers of one file."""
        passes = self.folder / f"{size[0]}x{size[1]}"
        names = apart(make_passes, passes, size, lights)
        file = self.folder / "layered" / f"{size[0]}_{lights}.exr"
        file.parent.mkdir(exist_ok=True)
        apart(join_passes, passes, names, file)
        path = self.folder / f"layered_{size[0]}_{lights}.toml"
        return make_recipe(path, file.parent, names, change=NO_SHEET, layers_of=file.name)

    def run(self, recipe: Path, *options: str, fresh: bool = True, times: int = 1) -> Measured:
        """Run evenfall, into an empty folder if `fresh`."""
        runs = []
        for _ in range(times):
            if fresh:
                shutil.rmtree(self.folder / "pictures", ignore_errors=True)
            if fresh and "--draft" not in options:
                shutil.rmtree(self.folder / "cache" / "fingerprints", ignore_errors=True)
            runs.append(
                measure(
                    [*EVENFALL, "run", str(recipe), "-q", *options], environment=self.environment
                )
            )
        return best(runs)

    def note(self, name: str, measured: Measured) -> None:
        """Keep a measurement, and say it."""
        self.results[name] = asdict(measured)
        print(
            f"{name}: {measured.seconds:.2f} s, {measured.cpu_seconds:.2f} s of processors, "
            f"{measured.peak_mb:.0f} MB",
            flush=True,
        )


def codes_of_pictures(pictures: Path, folder: Path) -> None:
    """Whole codes of the pictures that the last run made, for the floor to encode."""
    import imageio.v3 as imageio

    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for path in sorted(pictures.glob("*.png")):
        np.save(folder / f"{path.stem}.npy", imageio.imread(path))


def apart(function: Callable[..., Any], *arguments: Any) -> Any:
    """Call a function in a process of its own.

    What a process takes at the most counts what its parent had when it began: this one stays small.
    """
    with ProcessPoolExecutor(1, get_context("spawn")) as pool:
        return pool.submit(function, *arguments).result()


def measure_targets(bench: Bench) -> None:
    """Time: the whole command against the floor and the straightforward script."""
    recipe = bench.recipe(FULL, 12)
    passes = bench.folder / f"twelve_{FULL[0]}"
    passes.mkdir(exist_ok=True)
    for source in sorted((bench.folder / f"{FULL[0]}x{FULL[1]}").glob("*.exr"))[:12]:
        target = passes / source.name
        if not target.exists():
            os.link(source, target)
    bench.run(recipe)
    codes = bench.folder / "codes"
    apart(codes_of_pictures, bench.folder / "pictures", codes)
    floor = [PYTHON, str(HERE / "floor.py"), str(passes), str(codes)]
    bench.run(recipe, "--draft")  # keeps reduced passes for further ones
    runs: dict[str, list[Measured]] = {
        "floor": [], "floor plain": [], "run": [], "further draft": []
    }  # fmt: skip
    for _ in range(8):  # alternating, so that all meet the same machine
        runs["floor"].append(measure(floor))
        runs["run"].append(bench.run(recipe))
        runs["further draft"].append(bench.run(recipe, "--draft"))
        runs["floor plain"].append(measure([*floor, "plain"]))
    for name, some in runs.items():
        bench.note(name, best(some))
    bench.note("run with contact sheet", bench.run(bench.recipe(FULL, 12, change=""), times=2))
    measure_second_runs(bench)
    measure_survey(bench, recipe, passes)
    script = [PYTHON, str(HERE / "straightforward.py"), str(passes), str(bench.folder / "plain")]
    bench.note("straightforward script", best([measure(script) for _ in range(2)]))
    bench.results["stages"] = measure_stages(recipe)


def measure_second_runs(bench: Bench) -> None:
    """Second runs and drafts."""
    recipe = bench.recipe(FULL, 12)
    change = ("--set", "moods.dusk.lights.light_03.stops=-1.5", "--overwrite")
    bench.run(recipe)
    bench.note("second run, nothing changed", bench.run(recipe, fresh=False, times=3))
    runs = []
    for _ in range(3):
        bench.run(recipe)
        runs.append(bench.run(recipe, *change, fresh=False))
    bench.note("second run, one light of one mood", best(runs))
    shutil.rmtree(bench.folder / "cache", ignore_errors=True)
    bench.note("first draft", bench.run(recipe, "--draft"))


def measure_survey(bench: Bench, recipe: Path, passes: Path) -> None:
    """A survey that writes a recipe, and the first draft after it."""
    shutil.rmtree(bench.folder / "cache", ignore_errors=True)
    survey = ("survey", str(passes), "--write", str(bench.folder / "surveyed.toml"), "--overwrite")
    bench.note("survey", measure([*EVENFALL, *survey], environment=bench.environment))
    draft = bench.run(recipe, "--draft", "--passes", str(passes))
    bench.note("first draft after a survey", draft)


def measure_start(bench: Bench) -> None:
    """What it costs to say --help, against importing the library for command lines."""
    runs: dict[str, list[Measured]] = {"help": [], "import click": []}
    for _ in range(9):
        runs["help"].append(measure([*EVENFALL, "--help"]))
        runs["import click"].append(measure([PYTHON, "-c", "import click"]))
    for name, some in runs.items():
        bench.note(name, best(some))


def measure_growth(bench: Bench, *, quick: bool) -> None:
    """Time and memory against pixels, lights and moods."""
    sizes = [QUARTER, HALF, FULL] if quick else [QUARTER, HALF, FULL, DOUBLE]
    for size in sizes:
        name = f"pixels {size[0]}x{size[1]}"
        bench.note(name, bench.run(bench.recipe(size, 6), times=2))
    for lights in (6, 12, 24):
        bench.note(f"lights {lights}", bench.run(bench.recipe(FULL, lights), times=2))
    for lights in (6, 24):
        bench.note(f"layers {lights}", bench.run(bench.layered(FULL, lights), times=2))
    for moods in (1, 3, 6):
        bench.note(f"moods {moods}", bench.run(bench.recipe(FULL, 6, moods), times=2))


def measure_stages(recipe: Path) -> Any:
    """Processor time of the stages, in the environment that the program makes for itself."""
    from evenfall.cli.process import ENVIRONMENT

    command = [PYTHON, str(HERE / "stages.py"), str(recipe)]
    environment = {**ENVIRONMENT, **os.environ}
    found = []
    for _ in range(3):
        done = subprocess.run(command, check=True, capture_output=True, text=True, env=environment)
        found.append(json.loads(done.stdout))
    return min(found, key=lambda stages: sum(stages.values()))


def machine() -> dict[str, Any]:
    """What it was measured on."""
    from importlib.metadata import version

    libraries = ("numpy", "OpenEXR", "imagecodecs", "zlib-ng", "Pillow")
    return {
        "processors": len(os.sched_getaffinity(0)),
        "system": f"{platform.system()} {platform.machine()}",
        "python": platform.python_version(),
        **{library: version(library) for library in libraries},
        "date": time.strftime("%Y-%m-%d"),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, default=Path.home() / ".cache/evenfall-benchmark")
    parser.add_argument("--large", action="store_true")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--tables", action="store_true")
    options = parser.parse_args()
    if not options.tables:
        options.folder.mkdir(parents=True, exist_ok=True)
        bench = Bench(options.folder)
        bench.results["machine"] = machine()
        measure_start(bench)
        measure_targets(bench)
        measure_growth(bench, quick=options.quick)
        if options.large:
            bench.note("large", bench.run(bench.recipe(LARGE, 4)))
        earlier = json.loads(RESULTS.read_text()) if RESULTS.exists() else {}
        RESULTS.write_text(json.dumps({**earlier, **bench.results}, indent=1) + "\n")
    write_page(json.loads(RESULTS.read_text()), HERE.parents[1] / "docs")


if __name__ == "__main__":
    main()
