"""Where clean light comes from: made scenes, and the small renders that are kept with the tests."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import OpenImageIO as oiio  # noqa: N813 - as its own documentation does
from made_scenes import KINDS, MadeScene, make_scene

__all__ = ["scene_for"]

_TESTS = Path(__file__).parents[1]
_SAMPLES = _TESTS.parent / "sample_passes"
_LIGHTS = (
    *("sun", "sky", "fill", "pendants", "floor_lamp", "table_lamp", "shelf_strip"),
    "terrace_lantern",
)
_KEPT = (
    *("sample view", "sunny_room", "house_by_day", "house_by_night", "lamp_room"),
    *("overcast_room", "studio"),
)


def scene_for(seed: int) -> MadeScene:
    """Give a scene: two of three are made, one is a kept render."""
    if seed % 3 == 2:
        return _kept(_KEPT[seed // 3 % len(_KEPT)])
    return make_scene(KINDS[seed % len(KINDS)], seed)


@cache
def _kept(name: str) -> MadeScene:
    if name == "sample view":
        lights = {light: _quarter(_SAMPLES / f"{light}.exr") for light in _LIGHTS}
        alpha = lights["sun"][..., 3]
        return MadeScene(name, {key: rgb[..., :3] for key, rgb in lights.items()}, alpha)
    buffer = oiio.ImageBuf(str(_TESTS / "solve" / "scenes" / f"{name}.exr"))
    pixels = buffer.get_pixels(oiio.FLOAT).astype(float)
    channels = buffer.spec().channelnames
    found: dict[str, np.ndarray] = {}
    for layer in dict.fromkeys(channel.rpartition(".")[0] for channel in channels):
        order = [channels.index(f"{layer}.{letter}") for letter in "RGB"]
        found[layer] = np.maximum(pixels[..., order], 0)
    return MadeScene(name, found)


def _quarter(path: Path) -> np.ndarray:
    """Means of 4 x 4 pixels."""
    pixels = oiio.ImageBuf(str(path)).get_pixels(oiio.FLOAT).astype(float)
    height, width = pixels.shape[0] // 4, pixels.shape[1] // 4
    cells = pixels[: 4 * height, : 4 * width].reshape(height, 4, width, 4, -1)
    return np.asarray(cells.mean(axis=(1, 3)))
