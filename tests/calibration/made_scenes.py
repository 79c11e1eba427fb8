"""Rooms and exteriors of other make: boxes, lamps, sun and sky, cast by rays on a small picture.

Light is exact where it comes straight from a lamp, a sun or the sky through what stands before it,
and roughly even where it comes from walls: enough to have edges, shadows, texture, bright bulbs and
dim corners, which is what a proof has to cope with. Nothing here is a picture of the product's own.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

__all__ = ["KINDS", "MadeScene", "make_scene"]

Array = npt.NDArray[np.float64]

KINDS = (
    "room with a window",
    "room at night",
    "exterior by day",
    "exterior at night",
    "one strong and ten weak",
    "table set",
)


@dataclass(frozen=True, eq=False)
class MadeScene:
    """Clean light by name, each of shape (H, W, 3), and the coverage where there is any."""

    kind: str
    lights: dict[str, Array] = field(repr=False)
    alpha: Array | None = field(default=None, repr=False)


@dataclass(frozen=True, eq=False)
class _Seen:
    """What each pixel sees: where, how it is turned, how it reflects, and whether it sees out."""

    point: Array
    normal: Array
    albedo: Array
    outside: npt.NDArray[np.bool_]
    direction: Array


def make_scene(kind: str, seed: int, width: int = 320, height: int = 200) -> MadeScene:
    """Make a scene of a kind; equal seeds give equal scenes."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    inside = kind.startswith("room") or kind == "one strong and ten weak"
    boxes = _boxes(rng, inside)
    seen = _cast(rng, boxes, inside, width, height)
    lights: dict[str, Array] = {}
    if kind in ("room with a window", "exterior by day", "one strong and ten weak"):
        toward = _unit(
            np.array([rng.uniform(-0.8, 0.8), rng.uniform(0.3, 1.0), -rng.uniform(0.4, 1)])
        )
        lights["sun"] = _sun(seen, boxes, toward) * rng.uniform(2, 8) * _tint(rng, 5200)
        lights["sky"] = _sky(rng, seen, boxes, inside) * rng.uniform(0.3, 1) * _tint(rng, 9000)
    lamps = {
        "room with a window": rng.integers(1, 6),
        "room at night": rng.integers(2, 9),
        "exterior by day": rng.integers(0, 3),
        "exterior at night": rng.integers(3, 10),
        "one strong and ten weak": 10,
        "table set": rng.integers(2, 5),
    }[kind]
    level = 0.03 if kind == "one strong and ten weak" else 1.0
    for number in range(int(lamps)):
        power = level * rng.uniform(0.15, 1.5)
        lights[f"lamp_{number + 1}"] = power * _lamp(rng, seen, boxes, inside) * _tint(rng, 2900)
    if len(lights) < 2:
        lights["fill"] = 0.1 * seen.albedo * np.ones_like(seen.albedo)
    alpha = None
    if not inside and rng.random() < 0.5:
        alpha = _softened(1.0 - seen.outside)
    return MadeScene(kind, lights, alpha)


def _unit(vector: Array) -> Array:
    return np.asarray(vector / np.linalg.norm(vector, axis=-1, keepdims=True))


def _tint(rng: np.random.Generator, kelvin: float) -> Array:
    warm = np.clip((6500 - kelvin * rng.uniform(0.85, 1.15)) / 6500, -0.5, 0.7)
    return np.array([1 + 0.6 * warm, 1 - 0.1 * abs(warm), 1 - 1.1 * warm])


def _boxes(rng: np.random.Generator, inside: bool) -> list[tuple[Array, Array]]:
    """Furniture on a floor at height 0, or houses on a ground; low and high corners."""
    found = []
    for _ in range(int(rng.integers(3, 8))):
        size = rng.uniform([0.3, 0.3, 0.3], [1.6, 1.4, 1.6]) * (1 if inside else 2.5)
        x, z = rng.uniform(-2.6, 2.6), rng.uniform(2.0, 6.0)
        scale = 1 if inside else 2
        low = np.array([x * scale, 0.0, z * scale])
        found.append((low, low + size))
    return found


def _cast(
    rng: np.random.Generator,
    boxes: list[tuple[Array, Array]],
    inside: bool,
    width: int,
    height: int,
) -> _Seen:
    y, x = np.mgrid[0:height, 0:width]
    across = (x + 0.5) / width * 2 - 1
    down = ((y + 0.5) / height * 2 - 1) * height / width
    direction = _unit(np.stack([across, -down - 0.08, np.full(across.shape, 1.2)], -1))
    origin = np.array([0.0, 1.5, -1.0])
    reach = np.full(across.shape, 60.0)
    normal = np.zeros((*across.shape, 3))
    which = np.full(across.shape, -1)
    planes = [((0.0, 1.0, 0.0), 0.0)]
    if inside:
        planes += [((0, -1, 0), -2.7), ((1, 0, 0), -3.2), ((-1, 0, 0), -3.2), ((0, 0, -1), -7.0)]
    for number, (axis, offset) in enumerate(planes):
        turned = np.array(axis, float)
        slope = direction @ turned
        with np.errstate(divide="ignore", invalid="ignore"):
            hit = (offset - origin @ turned) / slope
        there = (slope < 0) & (hit > 1e-6) & (hit < reach)
        reach[there], which[there] = hit[there], number
        normal[there] = turned
    for number, (low, high) in enumerate(boxes):
        near = _enter(origin, direction, low, high)
        there = (near > 1e-6) & (near < reach)
        reach[there], which[there] = near[there], 10 + number
        faces = np.eye(3)[_face(origin, direction[there], low, high)]
        normal[there] = -np.sign((direction[there] * faces).sum(-1, keepdims=True)) * faces
    point = origin + reach[..., None] * direction
    outside = which < 0
    if inside:  # a window in the far wall
        low_x, high_x = np.sort(rng.uniform(-2.6, 2.6, 2) + np.array([-0.4, 0.4]))
        wall = which == 4
        outside |= (
            wall
            & (point[..., 0] > low_x)
            & (point[..., 0] < high_x)
            & ((point[..., 1] > 0.9) & (point[..., 1] < 2.2))
        )
    return _Seen(point, normal, _albedo(rng, point, which), outside, direction)


def _enter(origin: Array, direction: Array, low: Array, high: Array) -> Array:
    """Distance at which rays enter a box, huge where they miss."""
    enter, leave = np.array(-np.inf), np.array(np.inf)
    for axis in range(3):
        start, way = origin[..., axis], direction[..., axis]
        with np.errstate(divide="ignore", invalid="ignore"):
            first, second = (low[axis] - start) / way, (high[axis] - start) / way
        enter = np.fmax(enter, np.minimum(first, second))
        leave = np.fmin(leave, np.maximum(first, second))
    return np.where((enter < leave) & (enter > 0), enter, np.inf)


def _face(origin: Array, direction: Array, low: Array, high: Array) -> npt.NDArray[np.int_]:
    """Axis of the face through which rays enter a box."""
    with np.errstate(divide="ignore", invalid="ignore"):
        near = np.minimum((low - origin) / direction, (high - origin) / direction)
    return np.asarray(np.nan_to_num(near, nan=-np.inf).argmax(-1))


def _albedo(rng: np.random.Generator, point: Array, which: npt.NDArray[np.int_]) -> Array:
    albedo = np.empty(point.shape)
    for number in np.unique(which):
        there = which == number
        base = rng.uniform(0.12, 0.8) * rng.uniform(0.7, 1.0, 3)
        if rng.random() < 0.25:
            base *= np.array([1.0, 0.35, 0.2])[rng.permutation(3)]
        kind = rng.integers(0, 3)
        u, v = point[there][:, 0] + point[there][:, 2], point[there][:, 1] + point[there][:, 2]
        pattern = np.ones(u.shape)
        if kind == 1:
            pattern = 0.75 + 0.25 * np.sign(np.sin(u * rng.uniform(3, 40)))
        if kind == 2:
            pattern = 1 + 0.25 * np.sin(u * rng.uniform(5, 60)) * np.sin(v * rng.uniform(5, 60))
        albedo[there] = base * pattern[:, None]
    return np.asarray(np.clip(albedo, 0.02, 0.95))


def _lit(seen: _Seen, boxes: list[tuple[Array, Array]], toward: Array, reach: Array) -> Array:
    """1 where nothing stands between a point and what lies in a direction at a distance."""
    start = seen.point + 1e-3 * seen.normal
    free = np.ones(reach.shape)
    for low, high in boxes:
        free[_enter(start, toward, low, high) < reach] = 0
    return free


def _bounced(seen: _Seen, straight: Array, share: float) -> Array:
    """Light from walls: an even part of what arrives, more of it near the floor."""
    mean = straight[~seen.outside].mean() if (~seen.outside).any() else 0.0
    facing = 0.7 + 0.3 * seen.normal[..., 1]
    return np.asarray(straight + share * mean * facing * ~seen.outside)


def _sun(seen: _Seen, boxes: list[tuple[Array, Array]], toward: Array) -> Array:
    cosine = np.maximum((seen.normal * toward).sum(-1), 0)
    way = np.broadcast_to(toward, seen.point.shape)
    straight = cosine * _lit(seen, boxes, way, np.full(cosine.shape, np.inf)) * ~seen.outside
    return _bounced(seen, straight, 0.15)[..., None] * seen.albedo


def _sky(
    rng: np.random.Generator, seen: _Seen, boxes: list[tuple[Array, Array]], inside: bool
) -> Array:
    ways = _unit(rng.normal(size=(12, 3)) * [1, 0.6, 1] + [0, 0.6, 0.5 if inside else 0])
    straight = np.zeros(seen.outside.shape)
    for way in ways:
        cosine = np.maximum((seen.normal * way).sum(-1), 0)
        every = np.broadcast_to(way, seen.point.shape)
        straight += cosine * _lit(seen, boxes, every, np.full(cosine.shape, np.inf)) / len(ways)
    light = _bounced(seen, straight * ~seen.outside, 0.3)[..., None] * seen.albedo
    even = rng.random() < 0.5  # one radiance all over, as an overcast sky has it
    out = 3.0 if even else 3.0 * (1.3 - np.clip(seen.direction[..., 1], -0.2, 1))
    return np.where(
        seen.outside[..., None], np.broadcast_to(out, seen.outside.shape)[..., None], light
    )


def _lamp(
    rng: np.random.Generator, seen: _Seen, boxes: list[tuple[Array, Array]], inside: bool
) -> Array:
    scale = 1 if inside else 2
    place = rng.uniform([-2.6, 0.6, 2.2], [2.6, 2.4, 6.3]) * [scale, 1, scale]
    way = place - seen.point
    reach = np.linalg.norm(way, axis=-1)
    toward = way / reach[..., None]
    cosine = np.maximum((seen.normal * toward).sum(-1), 0)
    straight = cosine / (reach**2 + 0.05) * _lit(seen, boxes, toward, reach) * ~seen.outside
    light = _bounced(seen, straight, 0.2 if inside else 0.02)[..., None] * seen.albedo
    if rng.random() < 0.6:  # the bulb is in view
        origin = np.array([0.0, 1.5, -1.0])
        to_lamp = place - origin
        off = np.linalg.norm(np.cross(seen.direction, to_lamp), axis=-1)
        near = np.linalg.norm(seen.point - origin, axis=-1) > np.linalg.norm(to_lamp) - 0.1
        light[(off < 0.09) & near] = rng.uniform(8, 40)
    return light


def _softened(mask: Array) -> Array:
    from scipy.ndimage import uniform_filter

    return np.asarray(uniform_filter(mask.astype(float), 2))
