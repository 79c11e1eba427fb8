"""Turn the rendered halves into the EXR passes, the measured noise and the table of lights.

Run it as ``python sample_passes/scene/package.py --work DIR --out sample_passes`` once
``render.py`` has filled the work folder. Needs ``OpenEXR`` besides what ``render.py`` needs.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import lights
import numpy as np

MANTISSA_BITS = 8
BT709 = (0.64, 0.33, 0.30, 0.60, 0.15, 0.06, 0.3127, 0.3290)
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
GRID = (9, 16)
PIXEL_FILTER = np.array([1.0, 6.0, 1.0]) / 8.0
FILES = {"truth_day": "truth/day.exr", "truth_dusk": "truth/dusk.exr"}
PICTURES = [*lights.LIGHTS, *lights.TRUTHS, "beauty"]


def halves(work: Path, name: str) -> tuple[np.ndarray, np.ndarray, int]:
    """Return both half renders of a picture and their paths per pixel together.

    Turns of which only one half exists are left out.
    """
    found = {
        letter: {p.name.split(".", 2)[2]: p for p in work.glob(f"{name}.{letter}.*.npy")}
        for letter in "ab"
    }
    turns = sorted(found["a"].keys() & found["b"].keys())
    if not turns:
        raise SystemExit(f"{work}: no complete turn of {name}; run render.py first")
    counts = [int(turn.split(".")[1]) for turn in turns]
    a, b = (
        np.average([np.load(found[letter][turn]) for turn in turns], axis=0, weights=counts)
        for letter in "ab"
    )
    return filtered(a), filtered(b), 2 * sum(counts)


def filtered(picture: np.ndarray) -> np.ndarray:
    """Return the picture with its pixel filter: the render's box, widened by 1 6 1 down and across.

    The same linear filter for every picture and for alpha, as a renderer applies at its film.
    """
    from scipy.ndimage import correlate1d

    down = correlate1d(np.asarray(picture, float), PIXEL_FILTER, axis=0, mode="nearest")
    return correlate1d(down, PIXEL_FILTER, axis=1, mode="nearest")


def rounded_half(values: np.ndarray) -> np.ndarray:
    """Return half floats whose significand is rounded to nearest, 8 bits instead of 10.

    The relative error is at most 1/512 and as often up as down, well below the noise of a pixel;
    it lets lossless compression do its work.
    """
    exponent = np.floor(np.log2(np.maximum(np.abs(values), 2.0**-14)))
    step = np.exp2(exponent - MANTISSA_BITS)
    return (np.round(values / step) * step).astype(np.float16)


def write_exr(path: Path, rgb: np.ndarray, alpha: np.ndarray | None, comment: str) -> None:
    """Write a half-float EXR with BT.709 chromaticities and the scale to cd/m2."""
    import OpenEXR

    pixels = rounded_half(rgb)
    if alpha is not None:
        pixels = np.concatenate([pixels, alpha.astype(np.float16)[..., None]], -1)
    header = {
        "compression": OpenEXR.PIZ_COMPRESSION,
        "type": OpenEXR.scanlineimage,
        "chromaticities": BT709,
        "whiteLuminance": lights.CD_PER_M2,
        "comments": comment,
    }
    channels = {"RGBA" if alpha is not None else "RGB": np.ascontiguousarray(pixels)}
    _write_then_rename(path, header, channels)


def write_ids(path: Path, ids: np.ndarray) -> None:
    """Write the object numbers as one unsigned integer channel."""
    import OpenEXR

    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    _write_then_rename(path, header, {"id": ids.astype(np.uint32)})


def _write_then_rename(path: Path, header: dict, channels: dict) -> None:
    import OpenEXR

    scratch = path.with_suffix(".part.exr")
    OpenEXR.File(header, channels).write(str(scratch))
    scratch.replace(path)


def noise_of(a: np.ndarray, b: np.ndarray) -> dict[str, object]:
    """Return the standard deviation of a pass's pixels, measured from the halves.

    (a - b) / 2 has the same variance as the noise of (a + b) / 2. Deciles go by the luminance of
    the pass after a 5 x 5 mean; the grid has 9 rows and 16 columns of blocks, top left first.
    """
    from scipy.ndimage import uniform_filter

    noise = (a - b) / 2
    brightness = uniform_filter(((a + b) / 2) @ LUMINANCE, 5)
    edges = np.quantile(brightness, np.linspace(0, 1, 11))
    bands = [
        (brightness >= low) & (brightness <= high)
        for low, high in zip(edges[:-1], edges[1:], strict=True)
    ]
    squared = noise**2
    rows = np.array_split(squared.mean(-1), GRID[0], axis=0)
    grid = [[float(np.sqrt(c.mean())) for c in np.array_split(r, GRID[1], axis=1)] for r in rows]
    return {
        "std_rgb": _short(np.sqrt(squared.mean((0, 1)))),
        "mean_rgb": _short(((a + b) / 2).mean((0, 1))),
        "decile_luminance": _short([float(brightness[band].mean()) for band in bands]),
        "decile_std_rgb": [_short(np.sqrt(squared[band].mean(0))) for band in bands],
        "grid_std": [_short(row) for row in grid],
    }


def _short(values: object) -> list[float]:
    return [float(f"{v:.4g}") for v in np.asarray(values, float)]


def table_of_lights(things: dict[str, int]) -> dict[str, object]:
    """Return everything about the lights that a recipe or a test needs."""
    passes = {
        name: {
            "file": f"{name}.exr",
            "role": light.role,
            "what": light.text,
            "rendered_kelvin": light.kelvin,
            "locus": light.locus,
            light.unit: light.amount,
            "emission_rgb": _exact(lights.rgb_of_kelvin(light.kelvin)),
        }
        for name, light in lights.LIGHTS.items()
    }
    truths = {
        truth: {
            name: {
                "gain_stops": "off" if stops is None else stops,
                "kelvin": kelvin,
                "factors_rgb": _exact(lights.factors(name, truth)),
            }
            for name, (stops, kelvin) in setup.items()
        }
        for truth, setup in lights.TRUTHS.items()
    }
    moods = {
        mood: {
            "plate": f"plates/{mood}.jpg",
            "lights": {
                name: {"gain_stops": stops, "kelvin": kelvin}
                for name, (stops, kelvin) in setup.items()
            },
        }
        for mood, setup in lights.SUGGESTED.items()
    }
    return {
        "unit": {"cd_per_m2_per_1": lights.CD_PER_M2, "primaries": "ITU-R BT.709"},
        "emission_rule": "linear BT.709 of luminance 1: Planck (CIE 1931 2 degree) below 5000 K, "
        "CIE D series from 5000 K; a tint is the ratio of two such colours",
        "passes": passes,
        "truths": truths,
        "suggested_moods": moods,
        "lights_not_named_in_a_mood": "off",
        "ids": things,
    }


def _exact(values: object) -> list[float]:
    return [float(f"{v:.7g}") for v in np.asarray(values, float)]


def main() -> None:
    """Write all files of the sample."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--work", type=Path, required=True, help="folder that render.py filled")
    parser.add_argument("--out", type=Path, required=True, help="folder for the EXR files")
    parser.add_argument("--small", type=Path, help="folder for the small validation renders")
    parser.add_argument("--sun-path", type=Path, help="folder for the sun on its way down")
    arguments = parser.parse_args()
    work, out = arguments.work, arguments.out
    for folder in ("scene", "truth"):
        (out / folder).mkdir(parents=True, exist_ok=True)
    alpha = filtered(np.load(work / "alpha.npy"))
    noise: dict[str, object] = {}
    for name in PICTURES:
        a, b, count = halves(work, name)
        write_exr(
            out / FILES.get(name, f"{name}.exr"),
            (a + b) / 2,
            alpha,
            f"{name}: {count} paths a pixel",
        )
        noise[name] = {"paths_per_pixel": count, **noise_of(a, b)}
    things = json.loads((work / "things.json").read_text())
    write_ids(out / "ids.exr", np.load(work / "ids.npy"))
    _write_json(out / "scene" / "noise.json", noise)
    _write_json(out / "scene" / "lights.json", table_of_lights(things))
    if arguments.small:
        arguments.small.mkdir(parents=True, exist_ok=True)
        for name in ("sky_seed_1", "sky_seed_2", "pendants_3000K", "pendants_2200K"):
            picture = filtered(np.load(work / f"{name}.npy"))
            write_exr(arguments.small / f"{name}.exr", picture, None, name)
    if arguments.sun_path:
        arguments.sun_path.mkdir(parents=True, exist_ok=True)
        for name, (azimuth, altitude) in lights.SUN_PATH.items():
            a, b, count = halves(work, name)
            comment = (
                f"sun {azimuth} degrees left of the view, {altitude} high: {count} paths a pixel"
            )
            write_exr(arguments.sun_path / f"{name}.exr", (a + b) / 2, None, comment)


def _write_json(path: Path, content: dict[str, object]) -> None:
    """Write JSON with short lists on one line each."""
    text = json.dumps(content, indent=1)
    path.write_text(_joined_numbers(text) + "\n")


def _joined_numbers(text: str) -> str:
    """Put every list of plain numbers on one line."""
    import re

    return re.sub(r"\[([\s\d.,eE+-]+)\]", lambda m: "[" + " ".join(m[1].split()) + "]", text)


if __name__ == "__main__":
    main()
