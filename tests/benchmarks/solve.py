"""What asking a picture, meeting aims and matching a picture cost, as whole commands.

    python tests/benchmarks/solve.py [--folder DIR] [--times 7] [--write]

With --write the table goes into docs/performance.md.

On 12 passes of 3840x2160 that lie reduced in the cache, as a draft or a survey leaves them. The
picture that is matched is a JPEG of the view's full size, made of a balance drawn at random, with a
spot painted over. Everything is run by turns, and the medians are told beside the goals; the start
of Python with numpy is measured among them as a yardstick.
"""

from __future__ import annotations

import sys
from pathlib import Path
from statistics import median

import numpy as np
from measure import Measured, measure
from PIL import Image
from setting import DOCS, EVENFALL, set_up

from page import fill_blocks, table, target
from passes import make_recipe

SEED = 18
GOALS = {"ask": 0.5, "aim": 1.0, "match": 3.0}
AIMS = """
[moods.dusk.aims]
left = { area = { rectangle = [0.05, 0.3, 0.25, 0.6] }, brighter = "1/2" }
middle = { area = { ellipse = [0.5, 0.5, 0.1, 0.2] }, stops = -1 }
right = { area = { rectangle = [0.7, 0.2, 0.9, 0.5] }, ratio = "2:1", over = "left" }
whole = { clipped_at_most = 0.02 }
"""


def graded(place: Path, names: list[str], environment: dict[str, str]) -> Path:
    """Make the picture that is to be matched."""
    rng = np.random.default_rng(SEED)
    gains = [f"moods.dusk.lights.{name}.stops={rng.uniform(-3, 2):.2f}" for name in names]
    changes = [word for gain in gains for word in ("--set", gain)]
    command = [*EVENFALL, "run", "view.toml", "-q", "--mood", "dusk", "--out", "graded"]
    measure([*command, *changes], environment=environment, folder=place)
    codes = np.array(Image.open(place / "graded" / "view_dusk.png"))
    codes[600:1000, 2400:3200] = (200, 120, 60)
    path = place / "graded.jpg"
    Image.fromarray(codes).save(path, quality=90)
    return path


def main() -> None:
    setting = set_up(__doc__, "solve")
    place, environment = setting.place, setting.environment
    make_recipe(place / "view.toml", setting.passes, setting.names, change=AIMS)
    reference = graded(place, setting.names, environment)
    commands = {
        "ask": ["ask", "view.toml", "dusk", "0.42,0.61"],
        "aim": ["aim", "view.toml", "dusk", "--draft", "--dry-run"],
        "match": ["match", "view.toml", "dusk", "--to", reference.name, "--draft", "--dry-run"],
    }
    yardstick = [sys.executable, "-c", "import numpy"]
    whole = {"import numpy": yardstick} | {name: EVENFALL + said for name, said in commands.items()}
    runs: dict[str, list[Measured]] = {name: [] for name in whole}
    for turn in range(setting.times + 1):
        for name, command in whole.items():
            measured = measure(command, environment=environment, folder=place)
            if turn:  # the first fills the cache
                runs[name].append(measured)
    told = medians(runs, setting.times)
    print(told)
    if setting.write:
        fill_blocks({"solve": told}, DOCS)


def medians(runs: dict[str, list[Measured]], times: int) -> str:
    """Write the medians as a table."""
    rows = []
    for name, some in runs.items():
        seconds = median(run.seconds for run in some)
        cpu = f"{median(run.cpu_seconds for run in some):.2f} s"
        memory = f"{max(run.peak_mb for run in some):.0f} MB"
        rows.append((name, f"{seconds:.2f} s", cpu, memory, target(GOALS.get(name), seconds)))
    return table((f"medians of {times}", "wall clock", "processors", "memory", "target"), rows)


if __name__ == "__main__":
    main()
