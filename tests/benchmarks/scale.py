"""What one 8K frame costs: bytes and processor time, the figures of docs/scale.md.

    python tests/benchmarks/scale.py

Passes are the rendered sample passes laid side by side, as for the other measurements. Times are of
the processor, on one thread, so that other work on the machine matters little.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from passes import make_passes

SIZE = (7680, 4320)
LIGHTS = 2


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument(
        "--folder", type=Path, help="where passes are kept for a further measurement"
    )
    folder = parser.parse_args().folder or Path(tempfile.mkdtemp())
    names = make_passes(folder, SIZE, LIGHTS)
    sizes = [(folder / f"{name}.exr").stat().st_size for name in names]
    print(f"a half ZIP pass of {SIZE[0]}x{SIZE[1]}: {sum(sizes) / len(sizes) / 1e6:.0f} MB")
    for lights in (1, 2):
        seconds, files = _run(folder, names[:lights])
        print(f"a run of {lights} lights, 1 mood: {seconds:.2f} s of processor time, {files}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MB")


def _run(folder: Path, names: list[str]) -> tuple[float, str]:
    import evenfall

    text = (
        "format = 1\nsheet.make = false\n[[deliverables]]\nbits = 8\n[[deliverables]]\nbits = 16\n"
    )
    text += 'suffix = "_16"\n'
    text += "".join(f'[lights.{name}]\nfile = "{name}.exr"\n' for name in names)
    recipe = folder / f"of_{len(names)}.toml"
    recipe.write_text(f"{text}[moods.day]\n", encoding="utf-8")
    with tempfile.TemporaryDirectory() as out:
        report, seconds = _timed(lambda: evenfall.open(recipe, workers=1).run(out=out))
        files = ", ".join(
            f"{one.path.name} {(one.bytes or 0) / 1e6:.0f} MB" for one in report.files
        )
    return seconds, files


def _timed(work: Callable[[], object]) -> tuple[object, float]:
    begun = time.process_time()
    result = work()
    return result, time.process_time() - begun


if __name__ == "__main__":
    main()
