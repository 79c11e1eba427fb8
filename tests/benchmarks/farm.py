"""Two workers of one thread against one: how much sooner a job of many moods is done.

    python tests/benchmarks/farm.py

Both workers are on this machine and each makes one mood at a time with one thread, so that a ratio
of two is the most that two processors can give. Workers have been started and have made a picture
before the clock runs.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "several_views"))
from farming import Farm, farm

from evenfall.view import farm_out_views
from passes import make_passes

SIZE = (1920, 1080)
LIGHTS, MOODS = 6, 16


def main() -> None:
    folder = Path(tempfile.mkdtemp(prefix="evenfall-farm-"))
    names = make_passes(folder, SIZE, LIGHTS)
    text = "format = 1\nsheet.make = false\n"
    text += "".join(f'[lights.{name}]\nfile = "{name}.exr"\n' for name in names)
    for number in range(MOODS):
        text += f"[moods.m{number:02d}]\nlights = {{ {names[0]} = {-number / 10} }}\n"
    recipe = folder / "view.toml"
    recipe.write_text(text, encoding="utf-8")
    seconds = {}
    with farm(folder / "farm") as machines:
        for workers in (1, 2):
            machines.start_worker()
            _make(recipe, machines, f"warm_{workers}")
            seconds[workers] = min(_make(recipe, machines, f"{workers}_{n}") for n in range(2))
            print(f"{workers} worker{'s' if workers > 1 else ''}: {seconds[workers]:.2f} s")
    print(f"one over two: {seconds[1] / seconds[2]:.2f}")


def _make(recipe: Path, machines: Farm, name: str) -> float:
    begun = time.perf_counter()
    done = list(farm_out_views([recipe], machines.address, out=recipe.parent / name))
    assert all(one.is_whole for one in done)
    return time.perf_counter() - begun


if __name__ == "__main__":
    main()
