"""What a case of the corpus is, and the pictures that the cases share."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.passes import Selector

Array = npt.NDArray[Any]

WHOLE_FILE = Selector()

WIDTH, HEIGHT = 54, 38
"""Of most pictures: even, no multiple of a tile or a chunk."""


@dataclass(frozen=True, eq=False)
class Sound:
    """A file that must be read.

    `truth` holds the scene-linear pixels, shape (H, W, 3), by (part, layer, view);
    `alpha` the same for alpha, shape (H, W). Where `tolerance` is not 0 the file cannot hold the
    truth exactly. `facts` are fields that every header must have.
    """

    file: str
    covers: str
    write: Callable[[Path], object] = field(repr=False)
    truth: Mapping[tuple[str, str, str], Array] = field(repr=False)
    alpha: Mapping[tuple[str, str, str], Array] = field(default_factory=dict, repr=False)
    tolerance: float = 0.0
    facts: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Broken:
    """A file that must be refused, read by `selector`, with words that match `says`.

    `by_pixels` says that the fault shows only when pixels are read.
    """

    file: str
    covers: str
    write: Callable[[Path], object] = field(repr=False)
    says: str
    selector: Selector = WHOLE_FILE
    by_pixels: bool = False


def light(seed: int, height: int = HEIGHT, width: int = WIDTH, channels: int = 3) -> Array:
    """Smooth light with grain, values of half precision as float32, shape (H, W, channels)."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width]
    tint = rng.uniform(0.2, 2.0, channels)
    glow = np.exp(-(((x - width / 3) / 20) ** 2) - ((y - height / 2) / 15) ** 2)
    grain = rng.gamma(40.0, 1 / 40, (height, width, 1))
    smooth: Array = (0.05 + 6 * glow[..., None]) * tint * grain
    return smooth.astype(np.float16).astype(np.float32)


def planes(rgb: Array, dtype: str = "f2", names: str = "RGBA") -> dict[str, Array]:
    """Channels by name, contiguous, as the writers want them."""
    return {
        name: np.ascontiguousarray(rgb[..., index].astype(dtype))
        for index, name in enumerate(names[: rgb.shape[-1]])
    }
