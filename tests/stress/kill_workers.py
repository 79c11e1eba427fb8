"""Two hundred pictures on two workers, of which one is killed and begun again, again and again.

    python tests/stress/kill_workers.py --kills 5

No picture may be missing, and each must have the bytes that one machine gives it.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "several_views"))
from farming import Farm, farm

from evenfall.develop.example import example_recipe
from evenfall.view import farm_out_views, run_views

MOODS = 100


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="evenfall-farm-"))
    os.chdir(folder)
    views = [_view(folder / name) for name in ("living", "kitchen")]
    if not all(one.is_whole for one in run_views(views, out=folder / "alone")):
        sys.exit("one machine does not make all")
    with farm(folder / "farm") as machines:
        machines.start_worker()
        machines.start_worker()
        killer = _Killer(machines, chosen.kills, random.Random(chosen.seed))
        done = list(
            farm_out_views(views, machines.address, out=folder / "farmed", on_event=killer.hear)
        )
    alone, farmed = (
        {path.name: path.read_bytes() for path in (folder / name).glob("*.png")}
        for name in ("alone", "farmed")
    )
    same = sum(alone[name] == farmed.get(name) for name in alone)
    print(f"{killer.killed} workers killed; {same} of {len(alone)} pictures are the same bytes")
    sys.exit(0 if same == len(alone) and all(one.is_whole for one in done) else 1)


def _view(folder: Path) -> Path:
    folder.mkdir()
    example = example_recipe(folder).path
    head = example.read_text(encoding="utf-8").partition("[moods.day]")[0]
    moods = "".join(
        f"[moods.m{number:03d}]\nlights = {{ sun = {-number / 20} }}\n" for number in range(MOODS)
    )
    recipe = folder / f"{folder.name}.toml"
    recipe.write_text(f"sheet.make = false\n{head}{moods}", encoding="utf-8")
    return recipe


class _Killer:
    """Kills a worker now and then, and starts another."""

    def __init__(self, machines: Farm, kills: int, rng: random.Random) -> None:
        self.machines, self.killed, self.files = machines, 0, 0
        self.at = sorted(rng.sample(range(5, 2 * MOODS - 5), kills))

    def hear(self, event: object) -> None:
        if type(event).__name__ != "FileDone":
            return
        self.files += 1
        if self.killed < len(self.at) and self.files >= self.at[self.killed]:
            self.killed += 1
            alive = [worker for worker in self.machines.workers if worker.poll() is None]
            alive[0].kill()
            self.machines.start_worker()


if __name__ == "__main__":
    main()
