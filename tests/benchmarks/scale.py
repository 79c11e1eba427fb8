"""What one 8K frame costs: bytes and processor time, the figures of docs/scale.md.

    python tests/benchmarks/scale.py

Passes are the rendered sample passes laid side by side, as for the other measurements. Times are of
the processor, on one thread, so that other work on the machine matters little.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from evenfall.cli.memory import keep_freed_memory
from evenfall.cli.process import ENVIRONMENT

SIZE = (7680, 4320)
MADE, TIMES = 3, 2
KINDS = {"twelve": (12, (8,)), "one": (1, (8,)), "both": (1, (8, 16))}
"""Frames by how many lights they have, and bits of their pictures."""


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument(
        "--folder", type=Path, help="where passes are kept for a further measurement"
    )
    parser.add_argument("--only", choices=["passes", "pass", *KINDS], help="make or measure this")
    options = parser.parse_args()
    os.environ.update(ENVIRONMENT)  # before numpy is imported
    keep_freed_memory()
    folder = options.folder or Path(tempfile.mkdtemp())
    paths = _passes(folder)
    if options.only in (None, "pass"):
        size = sum(path.stat().st_size for path in paths) / len(paths) / 1e6
        decode, fingerprint = _reading(paths[0])
        print(f"a half ZIP pass of {SIZE[0]}x{SIZE[1]}: {size:.0f} MB")
        print(f"decoded in {decode:.2f} s, fingerprint in {fingerprint:.2f} s")
    for kind, (lights, depths) in KINDS.items():
        if options.only in (None, kind):
            _run(folder, paths[:lights], depths)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    print(f"peak memory {peak / 1e6:.0f} MB")


def _passes(folder: Path) -> list[Path]:
    """Passes of twelve lights, of which some are others under another name."""
    from passes import make_frames

    made = [folder / f"{name}.0001.exr" for name in make_frames(folder, SIZE, MADE, 1)]
    most = max(lights for lights, _ in KINDS.values())
    paths = [folder / f"light_{number:02d}.0001.exr" for number in range(most)]
    for number, path in enumerate(paths):
        if not path.exists():
            path.hardlink_to(made[number % MADE])
    return paths


def _reading(path: Path) -> tuple[float, float]:
    """Least processor time that a pass takes to be read, and to be fingerprinted."""
    from evenfall.passes.fingerprint import fingerprint
    from evenfall.passes.reading import read

    return _least(lambda: read(path)), _least(lambda: fingerprint(path))


def _run(folder: Path, paths: Sequence[Path], depths: Sequence[int]) -> None:
    """Tell the least processor time of a frame."""
    import evenfall

    names = [path.name.partition(".")[0] for path in paths]
    text = "format = 1\npasses.frame = 1\nsheet.make = false\n"
    text += "".join(f'[[deliverables]]\nbits = {bits}\nsuffix = "_{bits}"\n' for bits in depths)
    text += "".join(
        f'[lights.{name}]\nfile = "{name}.####.exr"\nrole = "{role}"\n'
        for name, role in zip(names, ["key", *["fixture"] * len(names)], strict=False)
    )
    recipe = folder / "frame.toml"
    recipe.write_text(f"{text}[moods.day]\n", encoding="utf-8")
    made: dict[int, int] = {}

    def frame() -> None:
        for path in paths:
            path.touch()  # so that its fingerprint is found anew
        with tempfile.TemporaryDirectory() as out:
            report = evenfall.open(recipe, workers=1).frames("day", frames="1", out=out)
            assert report.is_whole, report.faults
            for bits in depths:
                (file,) = Path(out).glob(f"*_{bits}_*.png")
                made[bits] = file.stat().st_size

    seconds = _least(frame)
    files = ", ".join(f"{bits} bits {size / 1e6:.0f} MB" for bits, size in made.items())
    print(f"a frame of {len(paths)} lights: {seconds:.2f} s, {files}", flush=True)


def _least(work: Callable[[], Any]) -> float:
    """Least processor time of several."""
    times = []
    for _ in range(TIMES):
        begun = time.process_time()
        work()
        times.append(time.process_time() - begun)
    return min(times)


if __name__ == "__main__":
    main()
