"""The planted room: lights in parts that add up, and what a renderer saves beside them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float32]

WIDTH, HEIGHT = 160, 96
LIGHTS = ("sun", "sky", "fill", "pendants", "strip", "lantern", "fire")
PARTS = ("direct diffuse", "direct specular", "indirect diffuse", "indirect specular")

_Y, _X = np.mgrid[0:HEIGHT, 0:WIDTH] / np.array([HEIGHT, WIDTH])[:, None, None]
_COLOURS = {
    "sun": (1.0, 0.92, 0.80),
    "sky": (0.62, 0.80, 1.10),
    "fill": (1.0, 1.0, 1.0),
    "pendants": (1.0, 0.66, 0.34),
    "strip": (1.0, 0.72, 0.42),
    "lantern": (1.0, 0.60, 0.28),
    "fire": (1.0, 0.40, 0.10),
}


def _pool(across: float, down: float, radius: float) -> npt.NDArray[np.float64]:
    return 1 / (1 + ((_X - across) ** 2 * 2.8 + (_Y - down) ** 2) / radius**2) ** 2


def _disc(across: float, down: float, radius: float) -> npt.NDArray[np.float64]:
    return (np.hypot((_X - across) * WIDTH / HEIGHT, _Y - down) < radius).astype(float)


_WINDOW = (_X > 0.62) & (_X < 0.92) & (_Y > 0.15) & (_Y < 0.55)


def _direct(light: str) -> npt.NDArray[np.float64]:
    """Irradiance that comes straight from a light."""
    patch = (_Y > 0.7) & (np.abs(_X - 0.72 + 0.5 * (_Y - 0.7)) < 0.13)
    return {
        "sun": 5.0 * patch,
        "sky": 0.5 * _pool(0.75, 0.45, 0.4) + 1.8 * _WINDOW * (1.2 - _Y),
        "fill": 0.3 * (1 - 0.5 * _X) * ~_WINDOW,
        "pendants": 0.7 * _pool(0.35, 0.6, 0.18)
        + 60 * sum(_disc(across, 0.34, 0.03) for across in (0.27, 0.43)),
        "strip": 0.5 * np.exp(-((_Y - 0.06) ** 2) / 0.008) * (_X < 0.6),
        "lantern": 0.9 * _WINDOW * _pool(0.8, 0.5, 0.08) + 25 * _disc(0.8, 0.45, 0.02),
        "fire": 0.25 * _pool(0.08, 0.8, 0.06) + 12 * _disc(0.08, 0.86, 0.03),
    }[light]


def _indirect(light: str) -> npt.NDArray[np.float64]:
    """Irradiance after the first surface: broad."""
    strength = {"sun": 0.22, "sky": 0.08, "fill": 0.05, "pendants": 0.05, "strip": 0.06,
                "lantern": 0.004, "fire": 0.012}[light]  # fmt: skip
    where = {"sun": (0.7, 0.7), "sky": (0.75, 0.5), "fill": (0.3, 0.5), "pendants": (0.35, 0.5),
             "strip": (0.3, 0.1), "lantern": (0.8, 0.5), "fire": (0.1, 0.8)}[light]  # fmt: skip
    return strength * (0.4 + 0.6 * _pool(*where, 0.5))


@cache
def _albedo() -> Array:
    rng = np.random.default_rng(7)
    wall = 0.7 + 0.02 * rng.standard_normal((HEIGHT, WIDTH))
    boards = 0.4 + 0.15 * np.sin(_X * 90 + 3 * _Y)
    level = np.where(_Y > 0.66, boards, wall)
    tint = np.where(_Y[..., None] > 0.66, (1.0, 0.68, 0.45), (1.0, 0.98, 0.95))
    reflected = np.clip(level[..., None] * tint, 0.03, 0.9).astype(np.float32)
    reflected.flags.writeable = False
    return reflected


@cache
def _part(light: str, part: str, seed: int, grain: float) -> Array:
    came, surface = part.split()
    level = _direct(light) if came == "direct" else _indirect(light)
    gloss = 0.06 + 0.1 * (_Y > 0.66)
    reflects = _albedo() if surface == "diffuse" else gloss[..., None]
    clean = level[..., None] * np.array(_COLOURS[light]) * reflects
    rng = np.random.default_rng([seed, LIGHTS.index(light), PARTS.index(part)])
    shape = 1 / max(grain, 1e-9) ** 2
    grains = rng.gamma(shape, 1 / shape, (HEIGHT, WIDTH, 1)) if grain else 1.0
    made = (clean * grains).astype(np.float16).astype(np.float32)
    made.flags.writeable = False
    return made


@dataclass(frozen=True, eq=False)
class Room:
    """Parts of every light, with grain, as a renderer gives them.

    Parameters
    ----------
    lights : tuple of str
        Those that are on.
    seed : int
        Of the grain.
    grain : float
        Relative noise of a pixel; 0 for none.
    """

    lights: tuple[str, ...] = ("sun", "sky", "pendants", "strip")
    seed: int = 1
    grain: float = 0.06

    @property
    def albedo(self) -> Array:
        """What the surfaces reflect of light; not to be written into."""
        return _albedo()

    def part(self, light: str, part: str) -> Array:
        """One part of a light, as half floats hold it; not to be written into."""
        return _part(light, part, self.seed, self.grain)

    def sum_of(self, light: str, *words: str) -> Array:
        """Sum of the parts of a light whose names hold all of the words."""
        chosen = [part for part in PARTS if all(word in part.split() for word in words)]
        return np.sum([self.part(light, part) for part in chosen], axis=0).astype(np.float32)

    def light(self, light: str) -> Array:
        """All of a light."""
        return self.sum_of(light)

    def all(self, *words: str) -> Array:
        """All lights, or one part of all of them."""
        return np.sum([self.sum_of(light, *words) for light in self.lights], axis=0)

    def again(self) -> Room:
        """The same room, rendered once more: with other grain."""
        return Room(self.lights, self.seed + 1000, self.grain)


def depth() -> Array:
    """Distances, endless behind the window."""
    return np.where(_WINDOW, 1e10, 2 + 6 * (1 - _Y) + 0 * _X).astype(np.float32)


def normals() -> Array:
    """Unit vectors."""
    vectors = np.stack([np.sin(_X * 9), np.cos(_X * 9) * np.cos(_Y * 5), np.sin(_Y * 5)], -1)
    return (vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)).astype(np.float32)


def positions() -> Array:
    """Places in the room, around its middle."""
    return np.stack([8 * (_X - 0.5), 5 * (_Y - 0.4), -9 * (1 - _Y) + 0 * _X], -1).astype(np.float32)


def mattes() -> Array:
    """Three objects, one in each channel."""
    objects = [_WINDOW, _Y > 0.66, (_X < 0.2) & (_Y > 0.5)]
    return np.stack([each.astype(np.float32) for each in objects], -1)


def ranked_ids(rank: int) -> Array:
    """Ids as hashed floats, with their coverage: id, coverage, id, coverage."""
    rng = np.random.default_rng(rank)
    hashes = rng.integers(1, 2**31, 6, dtype=np.uint32).view(np.float32)
    numbers = (np.floor(_X * 3) + 3 * (_Y > 0.66)).astype(int)
    names = np.nan_to_num(hashes, nan=3e33, posinf=3e38)[numbers]
    return np.stack([names, np.full_like(names, 0.8), names[::-1], 0.2 + 0 * names], -1)


def coordinates() -> Array:
    """Texture coordinates; blue is empty."""
    return np.stack([_X * 7 % 1, _Y * 5 % 1, 0 * _X], -1).astype(np.float32)


def motion() -> Array:
    """Vectors of motion in pixels."""
    return np.stack([3 * np.sin(_Y * 6), 2 * np.cos(_X * 6), 0 * _X], -1).astype(np.float32)


def samples() -> Array:
    """How many samples each pixel took."""
    counts = 64 + 16 * np.floor(4 * _pool(0.4, 0.5, 0.3))
    return np.repeat(counts[..., None], 3, -1).astype(np.float32)
