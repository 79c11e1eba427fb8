"""Two hundred pictures on two workers, of which one is killed and begun again, again and again.

    python tests/stress/kill_workers.py --kills 5            # moods of two views
    python tests/stress/kill_workers.py --kills 5 --frames   # frames of a sequence

No picture may be missing, and each must have the bytes that one machine gives it.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "several_views"))
from farming import Farm, farm

from evenfall.develop.example import example_recipe
from evenfall.view import farm_out_views, open_view, run_views

PICTURES = 200


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--frames", action="store_true")
    chosen = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="evenfall-farm-"))
    os.chdir(folder)
    job = _Frames(folder) if chosen.frames else _Moods(folder)
    if not job.make_alone(folder / "alone"):
        sys.exit("one machine does not make all")
    with farm(folder / "farm") as machines:
        machines.start_worker()
        machines.start_worker()
        killer = _Killer(machines, chosen.kills, random.Random(chosen.seed))
        begun = time.monotonic()
        is_whole = job.make_farmed(folder / "farmed", killer)
        seconds = time.monotonic() - begun
    alone, farmed = (
        {path.name: path.read_bytes() for path in (folder / name).glob("*.png")}
        for name in ("alone", "farmed")
    )
    same = sum(alone[name] == farmed.get(name) for name in alone)
    print(
        f"{killer.killed} workers killed in {seconds:.0f} s; {same} of {len(alone)} pictures are "
        "the same bytes"
    )
    sys.exit(0 if same == len(alone) == PICTURES and is_whole else 1)


class _Moods:
    """A hundred moods of each of two views."""

    def __init__(self, folder: Path) -> None:
        self.views = [_view(folder / name) for name in ("living", "kitchen")]

    def make_alone(self, out: Path) -> bool:
        return all(one.is_whole for one in run_views(self.views, out=out))

    def make_farmed(self, out: Path, killer: _Killer) -> bool:
        address = killer.machines.address
        done = list(farm_out_views(self.views, address, out=out, on_event=killer.hear))
        return all(one.is_whole for one in done)


class _Frames:
    """Two hundred frames of a sequence."""

    def __init__(self, folder: Path) -> None:
        (folder / "house").mkdir()
        recipe = example_recipe(folder / "house")
        keys = f'[{{ mood = "day", frame = 1 }}, {{ mood = "dusk", frame = {PICTURES} }}]'
        text = f"{recipe.text}\n[sequence]\nframes = {PICTURES}\nkeys = {keys}\n"
        recipe.path.write_text(text, encoding="utf-8")
        self.path = recipe.path

    def make_alone(self, out: Path) -> bool:
        return open_view(self.path).frames(out=out).is_whole

    def make_farmed(self, out: Path, killer: _Killer) -> bool:
        view, address = open_view(self.path), killer.machines.address
        return view.frames(out=out, scheduler=address, on_event=killer.hear).is_whole


def _view(folder: Path) -> Path:
    folder.mkdir()
    example = example_recipe(folder).path
    head = example.read_text(encoding="utf-8").partition("[moods.day]")[0]
    moods = "".join(
        f"[moods.m{number:03d}]\nlights = {{ sun = {-number / 20} }}\n"
        for number in range(PICTURES // 2)
    )
    recipe = folder / f"{folder.name}.toml"
    recipe.write_text(f"sheet.make = false\n{head}{moods}", encoding="utf-8")
    return recipe


class _Killer:
    """Kills a worker now and then, and starts another."""

    def __init__(self, machines: Farm, kills: int, rng: random.Random) -> None:
        self.machines, self.killed, self.files = machines, 0, 0
        self.at = sorted(rng.sample(range(5, PICTURES - 5), kills))

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
