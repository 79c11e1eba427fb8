"""What the frames of a walk cost, against decoding their passes and encoding their pictures.

    python tests/benchmarks/frames.py [--folder DIR] [--times 5]

24 frames of 12 half ZIP passes of 1920x1080, one PNG a frame, on all processors. The *floor* is a
process that reads every pass by the reader of evenfall, encodes every picture by its PNG writer,
writes it, and does nothing between; frames are shared out to as many threads as there are
processors, and freed memory is kept, as the command does. Both are run by turns with an empty
cache, so that fingerprints are taken every time. Memory is that of the command for 6 and for 24
frames.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import median

from measure import Measured, best, measure

from passes import make_frames, make_recipe

SIZE = (1920, 1080)
LIGHTS, FRAMES, FEW = 12, 24, 6
MOOD = "dusk"
TARGET = 1.15
EVENFALL = [sys.executable, "-c", "from evenfall.cli.process import program; program()"]


class Bench:
    """A walk, and what runs of it took."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "frames"
        self.passes = folder / f"frames-{SIZE[0]}x{SIZE[1]}"
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)
        names = make_frames(self.passes, SIZE, LIGHTS, FRAMES)
        self.recipe = make_recipe(self.folder / "walk.toml", self.passes, names, [MOOD])
        text = self.recipe.read_text().replace("passes = { ", "passes = { frame = 1, ")
        for name in names:
            text = text.replace(f'"{name}.exr"', f'"{name}.####.exr"')
        self.recipe.write_text(text + "\n[sheet]\nmake = false\n")

    def command(self, frames: int, *, fresh: bool = True) -> Measured:
        """Make the first frames, from nothing."""
        if fresh:
            for name in ("out", "cache"):
                shutil.rmtree(self.folder / name, ignore_errors=True)
        words = ["run", "walk.toml", "--frames", f"1-{frames}", "--out", "out", "-q"]
        environment = {"EVENFALL_CACHE": str(self.folder / "cache")}
        return measure([*EVENFALL, *words], environment=environment, folder=self.folder)

    def take_codes(self) -> None:
        """Keep the codes of the pictures, for the floor to encode."""
        import imagecodecs
        import numpy as np

        (self.folder / "codes").mkdir()
        for path in (self.folder / "out").glob("*.png"):
            codes = imagecodecs.png_decode(path.read_bytes())
            np.save(self.folder / "codes" / f"{path.stem}.npy", codes)

    def floor(self) -> Measured:
        """Decode and encode, and nothing between."""
        shutil.rmtree(self.folder / "floor", ignore_errors=True)
        (self.folder / "floor").mkdir()
        command = [sys.executable, __file__, "--floor", str(self.passes), "--folder"]
        return measure([*command, str(self.folder)])


def floor(passes: Path, folder: Path) -> None:
    """Do what a run cannot do without."""
    import numpy as np

    from evenfall.cli.memory import keep_freed_memory
    from evenfall.deliver.png import encode_png
    from evenfall.passes.reading import read

    keep_freed_memory()
    sys.setswitchinterval(0.0005)

    def frame(number: int) -> None:
        for path in sorted(passes.glob(f"*.{number:04d}.exr")):
            read(path)
        (codes,) = (folder / "codes").glob(f"*{number:04d}.npy")
        (folder / "floor" / f"{number}.png").write_bytes(encode_png(np.load(codes)))

    with ThreadPoolExecutor(len(os.sched_getaffinity(0))) as pool:
        list(pool.map(frame, range(1, FRAMES + 1)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, default=Path.home() / ".cache/evenfall-benchmark")
    parser.add_argument("--times", type=int, default=5)
    parser.add_argument("--floor", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = str(options.folder / "bytecode")  # as where it is installed
    if options.floor is not None:
        floor(options.floor, options.folder)
        return
    bench = Bench(options.folder)
    few = bench.command(FEW)
    bench.command(FRAMES)
    bench.take_codes()
    runs: dict[str, list[Measured]] = {"floor": [], "command": []}
    for _ in range(options.times):
        runs["floor"].append(bench.floor())
        runs["command"].append(bench.command(FRAMES))
    for name, some in runs.items():
        least = best(some)
        print(
            f"{name:8} {least.seconds:6.2f} s ({median(run.seconds for run in some):.2f} in the "
            f"middle), {least.cpu_seconds:6.2f} s of processors"
        )
    ratio = best(runs["command"]).seconds / best(runs["floor"]).seconds
    print(f"command over floor: {ratio:.2f}, target {TARGET}")
    again = bench.command(FRAMES, fresh=False)
    print(f"again, all frames kept: {again.seconds:.2f} s")
    print(f"memory: {few.peak_mb:.0f} MB for {FEW} frames, ", end="")
    print(f"{best(runs['command']).peak_mb:.0f} MB for {FRAMES}")


if __name__ == "__main__":
    main()
