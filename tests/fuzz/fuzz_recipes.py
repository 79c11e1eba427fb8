"""Tries broken, odd and extreme recipes by the thousand and says what became of them.

    python tests/fuzz/fuzz_recipes.py --mutants 3000 --run-seed 1

Every mutant is made of one of two sound recipes, which between them say nearly everything that can
be said; it is checked, and made at 24 x 16 pixels if it is sound. A mutant fails if

- the worker crashes or hangs, or anything but one of the project's own errors is raised, warnings
  of libraries included,
- a fault of the recipe does not say where it is, or neither what is allowed nor what to do,
- it takes more than 5 seconds of processor time, or the worker's memory grows beyond a gigabyte,
- a control character of the recipe reaches what would be printed,
- a mood comes out as a black picture without a word, though it has light that its own tone curve
  does not send to black.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from recipe_mutants import mutate_recipe
from watching import Limits, Outcome, show, watch_all, work

LIMITS = Limits(seconds=5.0, silence_seconds=60.0, memory_bytes=1 << 30, batch=100)
OUTCOMES = ("refused", "refused by files", "refused by run", "made")
_MARGIN = (
    1.5  # between where a curve ends in black and the mean that has to show: a vignette, a tint
)

SEEDS = [
    """\
format = 1
silence = ["no-key"]
[project]
title = "Corner"
view = "Bench"
scene = "interior"
author = "A. Maker"
copyright = "2026 A. Maker"
[passes]
folder = "."
colour_space = "ACEScg"
luminance_scale = 100.0
[lights.sun]
file = "sun.exr"
role = "key"
rendered = { kelvin = 5200, sun_altitude_degrees = 45.0 }
[lights.sky]
file = "sky.exr"
role = "sky"
rendered = { xy = [0.31, 0.32], sun_altitude_degrees = 45.0 }
[lights.lamp]
file = "lamp.exr"
role = "fixture"
rendered = { kelvin = 4000, lumens = 800.0 }
[groups]
daylight = ["sun", "sky"]
[camera]
exposure_stops = 0.5
meter = { of = "key", mood = "day", method = "spot", at = [0.4, 0.6], grey_percent = 18.0 }
white_balance = { kelvin = 5600, duv = 0.001 }
[look]
gamut = { method = "compress" }
glare = { strength = 0.05, radius = 0.01 }
vignette = { natural = 0.5, focal_length_mm = 24.0, creative_stops = 0.3, centre = [0.5, 0.5] }
sharpen = { strength = 0.3, radius = 0.001 }
grain = { strength = 0.2, size = 0.001, seed = 7 }
fringe = { strength = 0.3 }
[look.tone]
curve = "evenfall"
contrast = 1.3
highlight_stops = 5.0
shadow_stops = 9.0
soft_highlights = 0.5
soft_shadows = 0.7
to_white = 0.4
[look.grade]
contrast = 1.1
saturation = 0.9
split_tint = { shadows = "#405080", highlights = "#ffd2a0", balance_stops = 0.5, strength = 0.3 }
luts = [{ file = "warm.cube", place = "display", input = "encoded", strength = 0.5 }]
[look.grade.cdl]
slope = [1.1, 1.0, 0.9]
offset = [0.0, 0.01, 0.0]
power = [1.0, 1.1, 1.0]
saturation = 0.9
[moods.day]
title = "Late morning"
[moods.dusk]
based_on = "day"
time_of_day = "dusk"
[moods.dusk.lights]
sun = "off"
sky = { stops = -2, kelvin = 12000, duv = 0.0 }
lamp = { lumens = 1200.0, lamp_class = "2700" }
[[moods.dusk.regions]]
area = { rectangle = [0.1, 0.1, 0.5, 0.6], feather = 0.05 }
lights = { lamp = -1 }
exposure_stops = 0.5
saturation = 0.8
white_balance = { kelvin = 4000 }
[moods.night]
lights = { daylight = "off", lamp = { factor = 2.0, rgb = [1.0, 0.8, 0.6] } }
camera = { meter = "off", exposure_stops = 1.0 }
[[deliverables]]
format = "png"
bits = 16
crop = "4:5"
crop_position = [0.3, 0.5]
[[deliverables]]
format = "jpeg"
name = "{mood}_{width}"
width = 20
quality = 80
moods = ["day"]
[[deliverables]]
format = "exr"
camera = false
[sheet]
picture_width = 160
[draft]
width = 64
""",
    """\
format = 1
[lights.sun]
file = "sun.exr"
role = "key"
rendered = { kelvin = 5200, sun_altitude_degrees = 45.0 }
[lights.sky]
file = "sky.exr"
role = "sky"
rendered = { lumens = 900.0, sun_altitude_degrees = 45.0 }
[lights.lamp]
file = "lamp.exr"
role = "outdoor fixture"
rendered = { lumens = 800.0 }
[camera]
settings = { iso = 200.0, aperture = 5.6, shutter = "1/60", anchor = "saturation" }
[passes]
luminance_scale = 50.0
repair = { non_finite = "neighbours", fireflies = true, negatives = true }
[moods.day.daylight]
sun = "sun"
sky = "sky"
latitude = 48.1
longitude = 11.6
time = "2026-06-21T18:30:00+02:00"
[moods.day.plate]
file = "plate.png"
stops = 1.0
rgb = [1.0, 0.9, 0.8]
fit = "cover"
position = [0.5, 0.2]
light_wrap = 0.2
[[moods.day.overlays]]
file = "cutout.png"
position = [0.4, 1.0]
height = 0.4
stops = -0.5
opacity = 0.9
[moods.dusk]
based_on = "day"
daylight = { sun = "sun", sky = "sky", sun_altitude_degrees = 4.0, state = "hazy" }
lights.lamp = { match = { to = "sun", ratio = "3:1", convention = "key:fill" }, mired_shift = 40.0 }
camera.meter = { of = ["sun", "lamp"], method = "highlights", percentile = 99.0 }
look = { tone = "aces2" }
[moods.night]
daylight = "none"
lights.sun = "off"
lights.sky = { watts = 60.0, lumens_per_watt = 90.0 }
lights.lamp = { xy = [0.45, 0.41] }
regions = [{ area = { mask = "mask.png", invert = true }, exposure_stops = -1.0 }]
look = { tone = { curve = "reinhard", white = 4.0 }, grade = { cdl = { file = "a.cc" } } }
camera = { meter = "off", white_balance = { neutral = [0.5, 0.5], neutral_radius = 0.05 } }
[[deliverables]]
format = "gain-map jpeg"
peak_nits = 800.0
moods = ["day"]
[[deliverables]]
format = "avif"
bits = 10
moods = ["dusk"]
[[deliverables]]
format = "tiff"
print = { width_mm = 30.0, dpi = 72.0 }
moods = ["night"]
[[deliverables]]
format = "webp"
lossless = true
name = "web_{mood}"
""",
]  # fmt: skip

_CDL = """<ColorCorrection id="a"><SOPNode><Slope>1.1 1 0.9</Slope><Offset>0 0 0</Offset>
<Power>1 1 1</Power></SOPNode><SatNode><Saturation>0.9</Saturation></SatNode></ColorCorrection>"""


def furnish(folder: Path) -> None:
    """Write the files that the seeds name."""
    import OpenEXR
    from PIL import Image

    rng = np.random.default_rng(3)
    for name, level in (("sun", 0.4), ("sky", 0.15), ("lamp", 0.1)):
        light = (level * rng.gamma(4, 0.25, (16, 24, 4))).astype(np.float16)
        light[..., 3] = 1
        light[:4, :8, 3] = 0.25
        OpenEXR.File({}, {"RGBA": light}).write(str(folder / f"{name}.exr"))
    grey = rng.integers(0, 256, (16, 24, 4), np.uint8)
    Image.fromarray(grey[..., :3]).save(folder / "plate.png")
    Image.fromarray(grey).save(folder / "cutout.png")
    Image.fromarray(grey[..., 0]).save(folder / "mask.png")
    (folder / "warm.cube").write_text("LUT_1D_SIZE 2\n0 0 0\n1 0.95 0.9\n")
    (folder / "a.cc").write_text(_CDL)


def outcome_of(folder: Path, text: str) -> str:
    """Check a recipe, make it if it is sound, and say what became of it."""
    from evenfall.errors import EvenfallError, RecipeError

    path = folder / "view.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    stage = "refused"
    try:
        view = _opened(path)
        stage = "refused by files"
        view.check()
        stage = "refused by run"
        report = view.run(out=folder / "out", overwrite=True)
        return _seen(report, {name: mood.look for name, mood in view.recipe.moods.items()})
    except RecipeError as error:
        return _told(error) or ("refused" if stage != "refused by run" else stage)
    except EvenfallError as error:
        return _told(error) or stage
    except BaseException as error:  # whatever else comes out is what we look for
        return f"FAIL {stage}: {type(error).__name__}: {error}"


def _opened(path: Path) -> Any:
    import evenfall

    return evenfall.open(path, workers=1)


def _told(error: Any) -> str | None:
    """Say what is missing in what an error tells; None when nothing is."""
    for fault in error.faults:
        line = str(fault)
        if not all(sign.isprintable() for sign in line):
            return f"FAIL unprintable: {line!r}"
        if not fault.file or not (fault.allowed or fault.hint or fault.place):
            return f"FAIL says too little: {line}"
        if len(line) > 2000:
            return f"FAIL says too much: {line[:300]}"
    return None


def _seen(report: Any, looks: Mapping[str, Any]) -> str:
    """Say which mood is black though it has light.

    Its brightest pixel is at least as light as the mean. Where that is above the greys that its
    curve sends to black, it shows; curves that a recipe may ask for end up to a stop below grey.
    """
    for name, mood in report.moods.items():
        came_to = mood.statistics
        if came_to is None or came_to.black_share != 1.0 or mood.notes:
            continue
        exposed = max(came_to.mix_mean) * mood.exposure.factor
        if exposed > _MARGIN * _black_below(looks[name]):
            return f"FAIL black: {name}, exposed to {exposed} in the mean"
    return "made"


def _black_below(look: Any) -> float:
    """Lightest grey that the tone curve of a look shows as code 0 of 8 bits in sRGB."""
    from evenfall.light.primaries import BT709
    from evenfall.look.rendering import make_rendering

    greys = np.geomspace(1e-4, 1, 2001).astype(np.float32)
    shown = make_rendering(look, BT709)(np.stack([greys] * 3))
    codes = 255 * 12.92 * np.max(np.asarray(shown).reshape(3, -1), axis=0)  # IEC 61966-2-1
    return float(greys[codes < 0.5].max(initial=0.0))


def use_mutants(run_seed: int, start: int, stop: int) -> None:
    """Worker: use recipes [start, stop)."""
    warnings.simplefilter("error")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["EVENFALL_CACHE"] = str(folder / "cache")
        furnish(folder)

        def use(number: int) -> Outcome:
            kind, seed, text = mutate_recipe(number, run_seed, SEEDS)
            return Outcome(seed, kind, outcome_of(folder, text))

        work(LIMITS, start, stop, use)


def main() -> int:
    """Run from the command line; 1 if anything failed."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--mutants", type=int, default=3_000)
    parser.add_argument("--run-seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--write", type=int, help="print this one mutant and stop")
    parser.add_argument("--worker", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.worker:
        use_mutants(*(int(word) for word in options.worker))
        return 0
    if options.write is not None:
        print(mutate_recipe(options.write, options.run_seed, SEEDS)[2], end="")
        return 0
    arguments = ["--worker", str(options.run_seed)]
    tally = watch_all(__file__, arguments, options.mutants, options.workers, LIMITS)
    show(tally, options.mutants, OUTCOMES)
    return 1 if tally.failures else 0


if __name__ == "__main__":
    sys.exit(main())
