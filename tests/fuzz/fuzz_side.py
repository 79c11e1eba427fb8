"""Reads broken files of those that stand beside the passes, and says what became of them.

    python tests/fuzz/fuzz_side.py --side plates --mutants 5000 --run-seed 1

Sides are plates, masks (and object numbers), profiles (inside plates), luts, cdls and configs.
Every mutant is made of a sound file (`side_seeds.py`) and used as a run uses it. A mutant fails if

- the worker crashes or hangs, or anything but one of the project's own errors is raised, warnings
  of libraries included,
- an error does not name the file, or brings a control character to what is printed,
- it takes more than 8 seconds of processor time, or the worker's memory grows beyond 1.5 GB,
- pieces were taken off a picture or a mask and it is read with other pixels without an error (but
  for pieces from the middle of a JPEG, whose codes find their step again and hold no checksum),
- pixels of a picture, or colours of a look, come out as NaN or Inf.

What OpenColorIO reads is tried by the program in a process of its own. Here that process is forked
from the worker, which has the library loaded already, and otherwise does the same: the same limits,
and the same end.
"""

from __future__ import annotations

import argparse
import os
import re
import select
import signal
import sys
import tempfile
import time
import warnings
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from mutants import KINDS, REMOVING
from side_seeds import SIDES, seeds_of
from watching import Limits, Outcome, show, watch_all, work

LIMITS = Limits(seconds=8.0, silence_seconds=90.0, batch=250)
OUTCOMES = ("refused", "the same", "something else")
BYTES = (
    "bytes changed",
    "first bytes changed",
    "number changed",
    "truncated",
    "piece removed",
    "piece inserted",
    "sector blanked",
    "two files joined",
    "pieces swapped",
)
TEXTS = ("number written", "line removed", "line repeated", "lines swapped", "line cut")
_NUMBER = re.compile(rb"(?<![\w#.])-?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?![\w])")
_ODD_NUMBERS = (
    *(b"nan", b"inf", b"-inf", b"1e39", b"-1e39", b"1e300", b"1e-300", b"1e30", b"-1", b"0"),
    *(b"2147483648", b"65537", b"4096", b"100000000", b"1,5", b"0x10", b"", b"\xff", b"\x1b[31m"),
)
_TABLE = "LUT_1D_SIZE 2\n0 0 0\n1 1 1\n"


def mutate_side(number: int, run_seed: int, side: str, seeds: dict[str, bytes]) -> tuple[str, ...]:
    """Name of the seed and the mutation, and the broken file: the same every time."""
    rng = np.random.default_rng((run_seed, number))
    names = list(seeds)
    name, other = (names[int(index)] for index in rng.integers(0, len(names), 2))
    of_text = side in ("luts", "cdls", "configs") and not name.endswith(".icc")
    kinds = BYTES + 2 * TEXTS if of_text else BYTES
    kind = kinds[int(rng.integers(0, len(kinds)))]
    if kind in TEXTS:
        return name, kind, _mutated_text(seeds[name], kind, rng)
    return name, kind, KINDS[kind](seeds[name], rng, seeds[other])


def _mutated_text(data: bytes, kind: str, rng: np.random.Generator) -> bytes:
    if kind == "number written":
        found = list(_NUMBER.finditer(data))
        for _ in range(int(rng.integers(1, 4))):
            place = found[int(rng.integers(0, len(found)))]
            odd = _ODD_NUMBERS[int(rng.integers(0, len(_ODD_NUMBERS)))]
            data = data[: place.start()] + odd + data[place.end() :]
            found = list(_NUMBER.finditer(data)) or found
        return data
    joint = b"\n" if data.count(b"\n") > 2 else b">"
    lines = data.split(joint)
    first, second = (int(index) for index in rng.integers(0, len(lines), 2))
    if kind == "line removed":
        del lines[first]
    elif kind == "line repeated":
        lines[second:second] = [lines[first]] * int(rng.choice([1, 2, 500]))
    elif kind == "lines swapped":
        lines[first], lines[second] = lines[second], lines[first]
    else:
        lines[first] = lines[first][: int(rng.integers(0, len(lines[first]) + 1))]
    return joint.join(lines)


def run_forked(
    program: Path, arguments: Iterable[str], data: bytes = b"", *, seconds: float
) -> bytes | None:
    """Do what `run_apart` does with a process forked from this one."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.dup2(writing, 1)
        _run_program(program, arguments)
    os.close(writing)
    said, until = b"", time.monotonic() + seconds
    while time.monotonic() < until and select.select([reading], [], [], 1.0)[0]:
        if not (piece := os.read(reading, 1 << 16)):
            break
        said += piece
    else:
        os.kill(child, signal.SIGKILL)
    os.close(reading)
    _, status = os.waitpid(child, 0)
    return said if status == 0 else None


def _run_program(program: Path, arguments: Iterable[str]) -> None:
    import runpy

    code = 1
    try:
        sys.argv = [str(program), *arguments]
        code = int(runpy.run_path(str(program))["main"]())
    finally:
        os._exit(code)


def use_picture(path: Path) -> bytes:
    """Read a plate; its pixels as bytes."""
    from evenfall.passes.side.pictures import look_at, read_picture

    look_at(path, as_picture=True)
    picture = read_picture(path)
    planes = [picture.rgb] if picture.alpha is None else [picture.rgb, picture.alpha]
    if not all(np.isfinite(plane).all() for plane in planes):
        raise ArithmeticError("pixels that are no numbers")
    return repr(picture.rgb.shape).encode() + b"".join(plane.tobytes() for plane in planes)


def use_mask(path: Path) -> bytes:
    """Read weights or object numbers; as bytes."""
    from evenfall.passes.side.pictures import look_at, read_object_ids, read_weights

    is_ids = "ids" in path.name
    channel = "A" if "channel" in path.name else None
    if path.name.endswith("ids.exr"):
        channel = "id"
    look_at(path, channel)
    plane = read_object_ids(path, channel) if is_ids else read_weights(path, channel)
    return repr(plane.shape).encode() + plane.tobytes()


def use_look(step: Any) -> bytes:
    """Apply a step of the look to a few colours; what comes out, as bytes."""
    colours = np.linspace(0, 1, 30, dtype=np.float32).reshape(3, 10) ** 2
    step(colours)
    if not np.isfinite(colours).all():
        raise ArithmeticError("colours that are no numbers")
    return colours.tobytes()


def use_lut(path: Path) -> bytes:
    """Use a LUT at one of its places."""
    from evenfall.look.opencolorio import LutStep
    from evenfall.recipe.look import Lut

    scene = Lut(file=path.name, place="scene", input="log")
    display = Lut(file=path.name, place="display", input="encoded")
    return use_look(LutStep(scene, path)) + use_look(LutStep(display, path))


def use_cdl(path: Path) -> bytes:
    """Use the correction of a file."""
    from evenfall.look.opencolorio import cdl_processor
    from evenfall.recipe.look import Cdl

    return use_look(cdl_processor(Cdl(file=path.name, id="warm"), path.parent))


def use_config(path: Path) -> bytes:
    """Use the view of a config."""
    from evenfall.light.primaries import ACESCG
    from evenfall.look.opencolorio import ViewRendering
    from evenfall.recipe.look import View

    view = View(config=path.name, display="desk", view="plain", source="house linear")
    return use_look(ViewRendering(view, ACESCG, path.parent))


USES = {
    "plates": use_picture,
    "profiles": use_picture,
    "masks": use_mask,
    "luts": use_lut,
    "cdls": use_cdl,
    "configs": use_config,
}


def with_profile(data: bytes, number: int) -> tuple[str, bytes]:
    """Put a profile into a plate, of every kind in turn."""
    import io

    from PIL import Image

    kind, ending = (("PNG", "png"), ("JPEG", "jpg"), ("TIFF", "tif"), ("WEBP", "webp"))[number % 4]
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16)[..., None].repeat(3, -1)
    out = io.BytesIO()
    options = {"quality": 100} if kind == "JPEG" else {"lossless": True} if kind == "WEBP" else {}
    Image.fromarray(codes).save(out, kind, icc_profile=data, **options)
    return ending, out.getvalue()


def outcome_of(side: str, kind: str, path: Path, sound: bytes | None) -> str:
    """Use one mutant and name what became of it."""
    from evenfall.errors import PixelSourceError, RecipeError

    try:
        found = USES[side](path)
    except (PixelSourceError, RecipeError) as error:
        for fault in error.faults:
            line = str(fault)
            if not all(sign.isprintable() for sign in line):
                return f"FAIL unprintable: {line!r}"
            if path.name not in line:
                return f"FAIL error without the file's name: {line}"
        return "refused"
    except BaseException as error:  # whatever else comes out is what we look for
        return f"FAIL {type(error).__name__}: {error}"
    if sound is None or found == sound:
        return "the same"
    may_tell = kind != "piece removed" or path.suffix != ".jpg"
    if side in ("plates", "masks") and kind in REMOVING and may_tell:
        return "FAIL silent loss"
    return "something else"


def use_mutants(side: str, run_seed: int, start: int, stop: int) -> None:
    """Worker: use files [start, stop)."""
    import evenfall.look.trials

    warnings.simplefilter("error")
    evenfall.look.trials.run_apart = run_forked
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["EVENFALL_CACHE"] = str(folder / "cache")
        (folder / "luts").mkdir()
        (folder / "luts" / "desk.cube").write_text(_TABLE)
        seeds = seeds_of(side)
        sounds: dict[tuple[str, int], bytes] = {}

        def written(data: bytes, seed: str, number: int) -> Path:
            seed = seed.replace(" ", "_")
            if side == "profiles":
                ending, data = with_profile(data, number)
                seed = f"profile.{ending}"
            path = folder / seed
            path.write_bytes(data)
            return path

        def use(number: int) -> Outcome:
            seed, kind, data = mutate_side(number, run_seed, side, seeds)
            key = (seed, number % 4 if side == "profiles" else 0)
            if key not in sounds:
                sounds[key] = USES[side](written(seeds[seed], seed, number))
            path = written(data, seed, number)
            return Outcome(seed, kind, outcome_of(side, kind, path, sounds[key]))

        work(LIMITS, start, stop, use)


def main() -> int:
    """Run from the command line; 1 if anything failed."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--side", choices=tuple(SIDES), default="plates")
    parser.add_argument("--mutants", type=int, default=5_000)
    parser.add_argument("--run-seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--write", type=int, help="write this one mutant beside you and stop")
    parser.add_argument("--worker", nargs=4, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.worker:
        side, *numbers = options.worker
        use_mutants(side, *(int(word) for word in numbers))
        return 0
    if options.write is not None:
        seed, kind, data = mutate_side(
            options.write, options.run_seed, options.side, seeds_of(options.side)
        )
        if options.side == "profiles":
            ending, data = with_profile(data, options.write)
            seed = f"profile.{ending}"
        Path(f"mutant_{options.write}_{seed.replace(' ', '_')}").write_bytes(data)
        print(f"{seed}, {kind}")
        return 0
    arguments = ["--worker", options.side, str(options.run_seed)]
    tally = watch_all(__file__, arguments, options.mutants, options.workers, LIMITS)
    show(tally, options.mutants, OUTCOMES)
    return 1 if tally.failures else 0


if __name__ == "__main__":
    sys.exit(main())
