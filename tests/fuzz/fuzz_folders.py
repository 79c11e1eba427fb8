"""Surveys odd, hostile and damaged folders by the thousand and says what became of them.

    python tests/fuzz/fuzz_folders.py --mutants 1000 --run-seed 1

Every folder holds one to five pictures of one to four layers. Names of files and layers are put
together from words of the trade in several scripts, signs that mean something to recipes, shells
and terminals, control characters and bytes that are no UTF-8; pixels are light, data or broken;
files may be cut or changed. `evenfall survey --write` is called as a person does, and what it wrote
is checked, proven and made at a small size. A folder fails if

- anything but one of the project's own errors is raised, warnings of libraries included,
- a recipe that was written has a fault, or its draft is not made (but for pixels brighter than any
  light, which no exposure can be set by, and which are told of),
- a control character reaches what is printed,
- it takes more than 20 seconds of processor time, or the worker's memory grows beyond 1.5 GB.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import sys
import tempfile
import unicodedata
import warnings
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from watching import Limits, Outcome, show, watch_all, work

LIMITS = Limits(seconds=20.0, silence_seconds=120.0, batch=50)
OUTCOMES = ("no passes", "no light", "no such name", "unreadable", "too bright", "made")
KINDS = ("names", "pixels", "damaged")

_PLAIN = (
    *(
        "sun",
        "sky",
        "lamp",
        "Pendant",
        "beauty",
        "combined",
        "rgba",
        "RGBA",
        "depth",
        "N",
        "albedo",
    ),
    *("diffuse", "specular", "light", "LG", "crypto", "00", "0001", "0002", "1", "left", "right"),
)
_ODD = (
    *("view01", "cam", "sun.exr", "[lights.sun]", "{view}", "#", "##", "~", "*", "?"),
    *("é", "ü", "ß", "İ", "日光", "лампа", "😀"),
)
_SIGNS = (
    *("{", "}", "[", "]", "'", '"', "\\", "`", "$", "%", "=", ",", ";", "_", "-", ".", ".."),
    *('"""', "'''", " ", "  ", "\t", "\n", "\x01", "\x1b[31m", "\x7f", "a" * 60),
    *("\N{COMBINING ACUTE ACCENT}", "\N{ZERO WIDTH SPACE}", "\N{RIGHT-TO-LEFT OVERRIDE}"),
)
_NO_TEXT = (b"\xff", b"\xe9", b"\x80", b"\xc3")
_ENDINGS = (b".exr", b".exr", b".exr", b".EXR")


def name_of(rng: random.Random, most: int, *, odd: bool) -> str:
    """A name of up to so many pieces."""
    pieces = [*_PLAIN, *_ODD, *_SIGNS] if odd else _PLAIN
    joints = ["", "_", ".", "-", " "] if odd else ["_", "."]
    count = rng.randint(1, most)
    return "".join(rng.choice(pieces) + rng.choice(joints) for _ in range(count)).strip("_.-")


def pixels_of(rng: random.Random, shape: tuple[int, int], *, odd: bool) -> np.ndarray:
    """A picture: a light, or something else."""
    seeded = np.random.default_rng(rng.randrange(1 << 30))
    y, x = np.mgrid[: shape[0], : shape[1]]
    at_x, at_y = rng.random() * shape[1], rng.random() * shape[0]
    glow = np.exp(-((x - at_x) ** 2 + (y - at_y) ** 2) / 200) + 0.05 * rng.random()
    colour = [1.0, rng.uniform(0.6, 1), rng.uniform(0.3, 1)]
    grain = seeded.uniform(0.9, 1.1, (*shape, 3))
    light = (rng.uniform(0.1, 5) * glow[..., None] * colour * grain).astype(np.float32)
    if not odd:
        return light
    what = rng.randrange(8)
    if what < 4:
        worth = rng.choice([np.nan, np.inf, -np.inf, -1.0, 3e38, 65504.0, 1e-42])
        light.reshape(-1)[seeded.integers(0, light.size, rng.choice([1, 9, light.size]))] = worth
    elif what == 4:
        light[...] = rng.choice([0.0, 1.0, 3e38, np.nan, -1.0])
    elif what == 5:
        light = np.round(light * 10)
    elif what == 6:
        light = seeded.normal(size=light.shape).astype(np.float32)
    else:
        light[..., 0] = y * 1e10
    return light


def fill_folder(folder: Path, rng: random.Random, kind: str) -> None:
    """Write the pictures of one folder."""
    import OpenEXR

    for number in range(rng.randint(1, 5)):
        name = name_of(rng, 4, odd=kind == "names").replace("/", "").encode()
        if kind == "names" and rng.random() < 0.15:
            name += rng.choice(_NO_TEXT)
        path = folder / os.fsdecode((name[:200] or b"x") + rng.choice(_ENDINGS))
        odd = kind == "pixels"
        shape = rng.choice([(24, 40), (1, 1), (3, 64), (30, 40)]) if odd else (24, 40)
        channels = {}
        for _ in range(rng.randint(1, 4)):
            layer = rng.choice(["", name_of(rng, 3, odd=kind == "names")[:80]])
            picture = pixels_of(rng, shape, odd=odd)
            picture = picture.astype(np.float16) if rng.random() < 0.3 and not odd else picture
            for sign, plane in zip("RGB", np.moveaxis(picture, -1, 0), strict=True):
                channels[f"{layer}.{sign}" if layer else sign] = np.ascontiguousarray(plane)
        kept = folder.parent / f"{number}.exr"
        try:
            OpenEXR.File({}, channels).write(str(kept))
            shutil.move(kept, path)
        except (RuntimeError, ValueError, TypeError, OSError):
            continue  # a name that the format or the disk does not take
        if kind == "damaged" and rng.random() < 0.6:
            _damage(path, rng)


def _damage(path: Path, rng: random.Random) -> None:
    data = bytearray(path.read_bytes())
    if rng.random() < 0.5:
        path.write_bytes(data[: rng.randrange(len(data))])
        return
    for _ in range(rng.randint(1, 9)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    path.write_bytes(data)


def use_folder(root: Path, number: int, run_seed: int) -> Outcome:
    """Survey one folder, use what was written, and say what became of it."""
    rng = random.Random(f"{run_seed}/{number}")
    kind = KINDS[number % len(KINDS)]
    folder = root / rng.choice(["passes", "p é", "p#[x]", "{view}"])
    folder.mkdir(parents=True)
    fill_folder(folder, rng, kind)
    try:
        words = _outcome(folder, root / "view.toml")
    except BaseException as error:  # whatever comes out is what we look for
        words = f"FAIL {type(error).__name__}: {error}"
    return Outcome("folder", kind, words)


def _outcome(folder: Path, recipe: Path) -> str:
    code, said = _call("survey", folder, "--write", recipe)
    unprintable = {sign for sign in said if unicodedata.category(sign) == "Cc"} - {"\n"}
    if unprintable:
        return f"FAIL printed {unprintable!r}"
    if code == 0:
        return _used(recipe)
    for outcome, sign in {
        "no passes": "holds no passes",
        "no light": "no lights found",
        "no such name": "is not UTF-8",
    }.items():
        if code == 2 and sign in said:
            return outcome
    return "unreadable" if code == 1 else f"FAIL survey ended with {code}: {said[-300:]}"


def _used(recipe: Path) -> str:
    for command, allowed in (("check", {0}), ("prove", {0, 1, 2}), ("run", {0})):
        more = ("--draft", "--out", recipe.parent / "out") if command == "run" else ()
        code, said = _call(command, recipe, *more)
        no_beauty = command == "prove" and code == 2 and "beauty" not in said
        if command == "run" and code == 1 and "brighter than any light" in said:
            return "too bright"
        if code not in allowed or no_beauty:
            return f"FAIL {command} ended with {code}: {said[-300:]}"
    return "made"


def _call(*words: object) -> tuple[int, str]:
    """Call a command as a person does; raise what is no message of ours."""
    from click.testing import CliRunner

    from evenfall.cli.main import main

    result = CliRunner().invoke(main, [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.output


def use_folders(run_seed: int, start: int, stop: int) -> None:
    """Worker: use folders [start, stop)."""
    warnings.simplefilter("error")
    with tempfile.TemporaryDirectory() as name:
        os.environ["EVENFALL_CACHE"] = str(Path(name) / "cache")

        def use(number: int) -> Outcome:
            root = Path(name) / str(number)
            outcome = use_folder(root, number, run_seed)
            shutil.rmtree(root)
            return outcome

        work(LIMITS, start, stop, use)


def main() -> int:
    """Run from the command line; 1 if anything failed."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--mutants", type=int, default=1_000)
    parser.add_argument("--run-seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--write", type=int, help="write this one folder to look at it, and stop")
    parser.add_argument("--worker", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.worker:
        use_folders(*(int(word) for word in options.worker))
        return 0
    if options.write is not None:
        root = Path(f"folder_{options.write}")
        print(use_folder(root, options.write, options.run_seed).words, root, sep=": ")
        return 0
    arguments = ["--worker", str(options.run_seed)]
    tally = watch_all(__file__, arguments, options.mutants, options.workers, LIMITS)
    show(tally, options.mutants, OUTCOMES)
    return 1 if tally.failures else 0


if __name__ == "__main__":
    sys.exit(main())
