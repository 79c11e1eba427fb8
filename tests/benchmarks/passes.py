"""Passes to measure with: noisy light on textured surfaces, as a path tracer leaves it.

What matters for speed is that the pixels are as hard to compress and as spread out as rendered
ones: four decades of brightness, texture, and grain in every pixel.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

SEED = 20
MOODS = ("day", "dusk", "night")


def make_passes(folder: Path, size: tuple[int, int], lights: int) -> list[str]:
    """Write half ZIP passes that are not there yet; give the lights' names."""
    import OpenEXR

    folder.mkdir(parents=True, exist_ok=True)
    names = [f"light_{number:02d}" for number in range(lights)]
    missing = [name for name in names if not (folder / f"{name}.exr").exists()]
    if missing:
        albedo = _albedo(size)
    for name in missing:
        pixels = _light(size, albedo, int(name[-2:]))
        channels = {"RGB": pixels}
        header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
        partial = folder / f"{name}.partial"
        OpenEXR.File(header, channels).write(str(partial))
        partial.rename(folder / f"{name}.exr")
    return names


def _albedo(size: tuple[int, int]) -> np.ndarray:
    width, height = size
    rng = np.random.default_rng(SEED)
    x = np.linspace(0, 1, width, dtype=np.float32)
    y = np.linspace(0, 1, height, dtype=np.float32)[:, None]
    boards = 0.45 + 0.2 * np.sin(x * 90 + 3 * y) + 0.05 * np.sin(x * 1500 + y * 700)
    boards += rng.normal(0, 0.03, (height, width)).astype(np.float32)
    return np.clip(boards, 0.05, 0.9).astype(np.float32)


def _light(size: tuple[int, int], albedo: np.ndarray, number: int) -> np.ndarray:
    width, height = size
    rng = np.random.default_rng(SEED + 1 + number)
    centre_x, centre_y, radius = rng.uniform(0, 1), rng.uniform(0, 1), rng.uniform(0.1, 0.5)
    x = np.linspace(0, 1, width, dtype=np.float32) - np.float32(centre_x)
    y = (np.linspace(0, 1, height, dtype=np.float32) - np.float32(centre_y))[:, None]
    level = albedo * np.float32(2.0) / (1 + (3 * x * x + y * y) / np.float32(radius**2)) ** 2
    colour = rng.uniform(0.3, 1.0, 3).astype(np.float32)
    pixels = np.empty((height, width, 3), np.float16)
    for channel in range(3):
        grain = rng.standard_normal((height, width), dtype=np.float32)
        grain *= np.float32(0.15)
        grain += np.float32(1.0)
        np.multiply(level * colour[channel], grain, out=grain)
        pixels[..., channel] = np.maximum(grain, 0)
    return pixels


def make_recipe(
    path: Path,
    passes: Path,
    lights: Sequence[str],
    moods: Sequence[str] = MOODS,
    look: str = "",
    change: str = "",
) -> Path:
    """Write a recipe in which every light is on in every mood, each with its own gain and tint."""
    rng = np.random.default_rng(SEED)
    lines = ["format = 1", f'passes = {{ folder = "{passes}" }}', look]
    for index, light in enumerate(lights):
        role = "key" if index == 0 else "fixture"
        lines += [f"[lights.{light}]", f'file = "{light}.exr"', f'role = "{role}"']
        lines += ["rendered = { kelvin = 4000 }"]
    for mood in moods:
        lines += [f"[moods.{mood}.lights]"]
        for light in lights:
            stops, kelvin = rng.uniform(-5, -2), rng.uniform(2500, 8000)
            lines += [f"{light} = {{ stops = {stops:.3f}, kelvin = {kelvin:.0f} }}"]
    path.write_text("\n".join(lines) + "\n" + change)
    return path
