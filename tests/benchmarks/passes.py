"""Passes to measure with: the rendered sample passes, laid side by side until the size is filled.

What matters for speed is that pixels are as hard to compress and as spread out as rendered ones:
surfaces, shadows and lamps, and the grain of a path tracer in every pixel. Tiles are mirrored and
rolled, each in its own way, so that none repeats another where a compressor would see it.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

SEED = 20
MOODS = ("day", "dusk", "night")
SAMPLES = Path(__file__).parents[2] / "sample_passes"
RENDERED = (
    "sun",
    "sky",
    "fill",
    "pendants",
    "shelf_strip",
    "floor_lamp",
    "table_lamp",
    "terrace_lantern",
)
STOPS = {
    "day": (0.0, -1.0, 3.0, 0.0, 0.0, 2.0, 2.0, 2.0),
    "dusk": (-8.0, -4.0, 0.0, 0.5, 0.5, 2.0, 2.0, 3.0),
    "night": (-12.0, -8.0, -3.0, -1.0, 1.0, 3.0, 3.0, 3.0),
}
"""Gains in stops at which the rendered lights make a day, a dusk and a night."""
OPENED_STOPS = {"day": -3.0, "dusk": -0.5, "night": 1.0}
"""How far the camera opens from the exposure that is metered on the sun and held."""


def make_passes(folder: Path, size: tuple[int, int], lights: int) -> list[str]:
    """Write half ZIP passes that are not there yet; give the lights' names."""
    folder.mkdir(parents=True, exist_ok=True)
    names = [f"light_{number:02d}" for number in range(lights)]
    for number, name in enumerate(names):
        path = folder / f"{name}.exr"
        if path.exists():
            continue
        pixels = _mosaic(_sample(RENDERED[number % len(RENDERED)]), size, number)
        _write(path, {"RGB": pixels})
    return names


def make_frames(folder: Path, size: tuple[int, int], lights: int, frames: int) -> list[str]:
    """Write half ZIP passes of a walk that are not there yet, ``light_00.0001.exr``.

    Each frame shows the view moved on by some pixels. Gives the lights' names.
    """
    folder.mkdir(parents=True, exist_ok=True)
    names = [f"light_{number:02d}" for number in range(lights)]
    for number, name in enumerate(names):
        pixels = None
        for frame in range(1, frames + 1):
            path = folder / f"{name}.{frame:04d}.exr"
            if path.exists():
                continue
            if pixels is None:
                pixels = _mosaic(_sample(RENDERED[number % len(RENDERED)]), size, number)
            moved = np.ascontiguousarray(np.roll(pixels, 7 * frame, axis=1))
            _write(path, {"RGB": moved})
    return names


def join_passes(folder: Path, names: Sequence[str], path: Path) -> None:
    """Write passes as layers of one part of one file, if it is not there yet."""
    import OpenEXR

    if path.exists():
        return
    channels = {
        f"{name}.{channel}": found.pixels
        for name in names
        for channel, found in OpenEXR.File(str(folder / f"{name}.exr"), separate_channels=True)
        .channels()
        .items()
    }
    _write(path, channels)


def _write(path: Path, channels: dict[str, Any]) -> None:
    """Write half ZIP channels whole; another maker of the same file does not get in the way."""
    import OpenEXR

    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    partial = path.with_suffix(f".{os.getpid()}.partial")
    OpenEXR.File(header, channels).write(str(partial))
    partial.replace(path)


@cache
def _sample(light: str) -> npt.NDArray[Any]:
    import OpenEXR

    path = SAMPLES / f"{light}.exr"
    channels = OpenEXR.File(str(path), separate_channels=True).channels()
    return np.stack([channels[name].pixels for name in "RGB"], axis=-1)


def _mosaic(tile: npt.NDArray[Any], size: tuple[int, int], number: int) -> npt.NDArray[Any]:
    width, height = size
    rng = np.random.default_rng(SEED)  # all lights alike, so that they show one view
    rows, columns = tile.shape[:2]
    pixels = np.empty((height, width, 3), np.float16)
    turn = number // len(RENDERED)  # the second light from one sample is another picture
    for top in range(0, height, rows):
        for left in range(0, width, columns):
            roll = int(rng.integers(rows)) + turn * rows // 3
            part = np.roll(tile, roll, axis=0)
            if (left // columns + top // rows + turn) % 2:
                part = part[:, ::-1]
            bottom, right = min(top + rows, height), min(left + columns, width)
            pixels[top:bottom, left:right] = part[: bottom - top, : right - left]
    return pixels


def make_recipe(
    path: Path,
    passes: Path,
    lights: Sequence[str],
    moods: Sequence[str] = MOODS,
    look: str = "",
    change: str = "",
    layers_of: str | None = None,
) -> Path:
    """Write a recipe in which every light is on in every mood, with its own gain and tint.

    Lights lie in files of their own, or are layers of one file.
    """
    rng = np.random.default_rng(SEED)
    lines = ["format = 1", f'passes = {{ folder = "{passes}" }}', look]
    for index, light in enumerate(lights):
        role = "key" if index == 0 else "fixture"
        file = f'file = "{light}.exr"'
        if layers_of is not None:
            file = f'file = "{layers_of}"\nlayer = "{light}"'
        lines += [f"[lights.{light}]", file, f'role = "{role}"']
        lines += ["rendered = { kelvin = 4000 }"]
    for index, mood in enumerate(moods):
        like = MOODS[index % len(MOODS)]
        gains = STOPS[like]
        lines += [f"[moods.{mood}]", f"camera = {{ exposure_stops = {OPENED_STOPS[like]} }}"]
        lines += [f"[moods.{mood}.lights]"]
        for number, light in enumerate(lights):
            stops = gains[number % len(gains)] + rng.uniform(-0.5, 0.5)
            kelvin = rng.uniform(3500, 5000)
            lines += [f"{light} = {{ stops = {stops:.3f}, kelvin = {kelvin:.0f} }}"]
    path.write_text("\n".join(lines) + "\n" + change)
    return path
