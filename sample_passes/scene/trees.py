"""Trees: spruce, pine and birch with every spray in place, and simple ones for far slopes."""

from __future__ import annotations

import numpy as np
from geometry import Mesh, joined, leaves, smooth_normals, tube


def _unit(vectors: np.ndarray) -> np.ndarray:
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-9)


def sprays(
    roots: np.ndarray, ways: np.ndarray, lengths: np.ndarray, slim: float, droop: float, seed: int
) -> Mesh:
    """Return flat twigs or leaves, four triangles each, pointed at both ends.

    Parameters
    ----------
    roots, ways : ndarray, shape (N, 3)
        Where each starts and the way it grows.
    lengths : ndarray, shape (N,)
        Length of each.
    slim : float
        Width as a share of the length.
    droop : float
        How far the tip sinks, as a share of the length.
    seed : int
        How the flat sides are turned.
    """
    rng = np.random.default_rng(seed)
    way = _unit(ways)
    side = _unit(np.cross(way, _unit(rng.normal(0, 0.5, way.shape) + [0, 0, 1.0])))
    length = lengths[:, None]
    middle = roots + way * length * 0.5 - [0, 0, 1] * length * droop * 0.25
    tip = roots + way * length - [0, 0, 1] * length * droop
    half = side * length * slim / 2
    points = np.stack([roots, middle - half, middle + half, tip], 1)
    one = np.array([[0, 1, 2], [1, 3, 2]])
    faces = (np.arange(len(roots))[:, None, None] * 4 + one).reshape(-1, 3)
    vertices = points.reshape(-1, 3)
    return Mesh(vertices, smooth_normals(vertices, faces), np.zeros((len(vertices), 2)), faces)


def _round(normals_of: Mesh, middle: np.ndarray, share: float) -> Mesh:
    """Turn normals partly outwards, so that a crown is shaded as one round body."""
    out = _unit(normals_of.vertices - middle)
    normals = normals_of.normals * np.sign((normals_of.normals * out).sum(1, keepdims=True) + 1e-9)
    return Mesh(
        normals_of.vertices,
        _unit(normals * (1 - share) + out * share),
        normals_of.uv,
        normals_of.faces,
    )


def spruce(tall: float, spread: float, seed: int, coarse: float = 1.0) -> dict[str, Mesh]:
    """Return bark and needles of a spruce that stands at the origin, its branches hanging.

    ``coarse`` says how many times larger its sprays are than life, to save some far away.
    """
    rng = np.random.default_rng(seed)
    levels = np.cumsum(rng.uniform(0.16, 0.30, int(tall / 0.2)) * coarse**0.5)
    levels = levels[levels < 0.93 * tall - 0.5] + 0.06 * tall
    per_level = 6
    z = np.repeat(levels, per_level) + rng.uniform(-0.1, 0.1, len(levels) * per_level)
    turn = rng.uniform(0, 2 * np.pi, len(z))
    reach = spread * (1 - z / tall) ** 0.8 * rng.uniform(0.62, 1.12, len(z)) + 0.12
    out = np.stack([np.cos(turn), np.sin(turn), np.zeros(len(z))], 1)
    steps = np.maximum((reach / 0.085 / coarse).astype(int), 2)
    branch = np.repeat(np.arange(len(z)), steps * 2)
    t = rng.uniform(0.10, 1.0, len(branch)) ** 0.8
    sag = (0.10 * t - 0.62 * t**2 + 0.30 * t**3.5) * (0.55 + 0.45 * (1 - z / tall))[branch]
    roots = out[branch] * (reach[branch] * t)[:, None]
    roots[:, 2] += z[branch] + reach[branch] * sag
    left = np.where(rng.random(len(branch)) < 0.5, -1.0, 1.0)[:, None]
    across = np.stack([-out[branch][:, 1], out[branch][:, 0], np.zeros(len(branch))], 1)
    ways = out[branch] * 0.75 + across * left * rng.uniform(0.2, 1.0, (len(branch), 1))
    ways[:, 2] -= rng.uniform(0.0, 0.75, len(branch)) + 0.25 * t
    lengths = rng.uniform(0.18, 0.42, len(branch)) * (1.15 - 0.5 * t) * coarse**0.75
    needles = sprays(roots, ways, lengths, 0.26, 0.18, seed + 1)
    top = leaves(np.array([[0, 0, tall - 0.6]]), np.array([[0.02, 0, 1.0]]), 0.65, 0.06, 0.0)
    trunk = tube((0, 0, -0.6), (0, 0, tall - 0.3), 0.014 * tall, 0.006)
    axis = needles.vertices * [0, 0, 1] - [0, 0, 0.8]
    return {"bark": trunk, "needles": joined([_round(needles, axis, 0.35), top])}


def pine(tall: float, spread: float, seed: int) -> dict[str, Mesh]:
    """Return bark and needles of an old pine: a bare, leaning trunk under clouds of needles."""
    rng = np.random.default_rng(seed)
    lean = rng.normal(0, 0.05, 2)
    knots = np.linspace(0, 1, 7)
    bend = np.cumsum(rng.normal(0, 0.018, (7, 2)), 0) * tall
    line = np.stack([(lean[0] * tall) * knots, (lean[1] * tall) * knots, tall * 0.96 * knots], 1)
    line[1:, :2] += bend[1:]
    line[0, 2] = -0.6
    thick = 0.019 * tall * (1 - 0.8 * knots)
    wood = [
        tube(tuple(a), tuple(b), r0, r1)
        for a, b, r0, r1 in zip(line[:-1], line[1:], thick[:-1], thick[1:], strict=True)
    ]
    tufts = []
    for n in range(int(15 + 1.6 * tall)):
        share = rng.uniform(0.48, 1.0)
        start = np.array([np.interp(share, knots, line[:, k]) for k in range(3)])
        turn = rng.uniform(0, 2 * np.pi)
        wide = spread * (0.35 + 0.95 * np.sin(np.pi * np.clip((share - 0.36) * 1.35, 0, 1)))
        way = np.array([np.cos(turn), np.sin(turn), rng.uniform(0.05, 0.5)])
        end = start + way * wide * rng.uniform(0.35, 1.0)
        wood.append(tube(tuple(start), tuple(end), 0.05 * (1.3 - share), 0.012))
        flat = rng.uniform(0.55, 0.95) * np.array([1.0, 1.0, 0.42])
        tufts.append(_cloud(rng, end, flat * (0.55 + 0.05 * tall), 420, seed + n))
    return {"pine_bark": joined(wood), "pine_needles": joined(tufts)}


def _cloud(
    rng: np.random.Generator, middle: np.ndarray, half: np.ndarray, count: int, seed: int
) -> Mesh:
    """Return tufts of needles that fill the outside of an ellipsoid."""
    way = _unit(rng.normal(0, 1, (count, 3)))
    way[:, 2] = np.abs(way[:, 2]) * np.where(rng.random(count) < 0.75, 1, -0.6)
    roots = middle + way * half * rng.uniform(0.45, 0.95, (count, 1))
    ways = way + rng.normal(0, 0.45, (count, 3)) + [0, 0, 0.45]
    tuft = sprays(roots, ways, rng.uniform(0.13, 0.26, count), 0.30, -0.05, seed)
    return _round(tuft, middle - [0, 0, half[2]], 0.5)


def birch(tall: float, spread: float, seed: int) -> dict[str, Mesh]:
    """Return white bark and small leaves of a birch, its outer twigs hanging."""
    rng = np.random.default_rng(seed)
    knots = np.linspace(0, 1, 9)
    line = np.stack([np.zeros(9), np.zeros(9), tall * 0.97 * knots], 1)
    line[1:, :2] += np.cumsum(rng.normal(0, 0.014, (8, 2)), 0) * tall
    line[0, 2] = -0.6
    thick = 0.0115 * tall * (1 - 0.9 * knots)
    wood = [
        tube(tuple(a), tuple(b), r0, r1)
        for a, b, r0, r1 in zip(line[:-1], line[1:], thick[:-1], thick[1:], strict=True)
    ]
    foliage_roots, foliage_ways = [], []
    for _ in range(int(16 + 2.6 * tall)):
        share = rng.uniform(0.26, 0.97)
        start = np.array([np.interp(share, knots, line[:, k]) for k in range(3)])
        turn = rng.uniform(0, 2 * np.pi)
        reach = spread * (1.08 - share) ** 0.6 * rng.uniform(0.6, 1.1)
        way = np.array([np.cos(turn), np.sin(turn), rng.uniform(0.55, 1.0)])
        end = start + way * reach
        wood.append(tube(tuple(start), tuple(end), 0.022 * (1.15 - share), 0.006))
        count = int(150 + 60 * reach)
        t = rng.uniform(0.25, 1.05, (count, 1))
        hang = rng.gamma(1.6, 0.16, count) * (0.4 + t[:, 0])
        at = start + (end - start) * t + rng.normal(0, 0.13, (count, 3)) * (0.4 + t)
        at[:, 2] -= hang
        foliage_roots.append(at)
        foliage_ways.append(rng.normal(0, 0.7, (count, 3)) + way * 0.5 - [0, 0, 0.8])
    roots, ways = np.concatenate(foliage_roots), np.concatenate(foliage_ways)
    foliage = sprays(roots, ways, rng.uniform(0.07, 0.13, len(roots)), 0.62, 0.1, seed + 1)
    return {"birch_bark": joined(wood), "birch_leaf": foliage}


def thinned(foliage: Mesh, every: int) -> Mesh:
    """Return one in so many sprays, each larger by the root of that, for a tree far away."""
    points = foliage.vertices.reshape(-1, 4, 3)[::every]
    middle = points.mean(1, keepdims=True)
    points = middle + (points - middle) * every**0.5
    normals = foliage.normals.reshape(-1, 4, 3)[::every]
    count = points.shape[0] * 4
    faces = foliage.faces[: points.shape[0] * 2]
    return Mesh(points.reshape(-1, 3), normals.reshape(-1, 3), np.zeros((count, 2)), faces)


def small_spruce(tiers: int, sides: int, seed: int) -> Mesh:
    """Return a simple spruce of height 1: ragged skirts one above the other."""
    rng = np.random.default_rng(seed)
    parts = []
    for tier in range(tiers):
        low, high = 0.06 + 0.90 * tier / tiers, 0.06 + 0.90 * (tier + 1.9) / tiers
        around = np.linspace(0, 2 * np.pi, sides, endpoint=False) + rng.uniform(0, 6)
        reach = (0.19 * (1 - tier / tiers) ** 0.85 + 0.014) * rng.uniform(0.62, 1.22, sides)
        drop = rng.uniform(-0.035, 0.02, sides)
        rim = np.stack([reach * np.cos(around), reach * np.sin(around), low + drop], 1)
        points = np.concatenate([rim, [[0, 0, min(high, 1.0)]]])
        index = np.arange(sides)
        faces = np.stack([index, (index + 1) % sides, np.full(sides, sides)], 1)
        normals = _unit(points * [1, 1, 0] + [0, 0, 0.05])
        parts.append(Mesh(points, normals, np.zeros((sides + 1, 2)), faces))
    return joined(parts)


def small_crown(lumps: int, seed: int) -> Mesh:
    """Return a simple round tree of height 1: a few rough lumps of leaves on a short stem."""
    rng = np.random.default_rng(seed)
    parts = []
    for n in range(lumps):
        polar, around = np.meshgrid(np.linspace(0, np.pi, 5), np.linspace(0, 2 * np.pi, 7)[:-1])
        sphere = np.stack(
            [np.sin(polar) * np.cos(around), np.sin(polar) * np.sin(around), np.cos(polar)], -1
        )
        lump = sphere * (0.17 * rng.uniform(0.75, 1.25, (6, 5, 1)) * [1, 1, 1.25])
        way = rng.normal(0, 0.11, 3) * [1, 1, 0]
        lump = lump + way + [0, 0, 0.30 + 0.52 * n / max(lumps - 1, 1)]
        index = np.arange(30).reshape(6, 5)
        a, b = index[:, :-1], np.roll(index, -1, 0)[:, :-1]
        c, d = np.roll(index, -1, 0)[:, 1:], index[:, 1:]
        faces = np.concatenate(
            [np.stack([a, d, c], -1).reshape(-1, 3), np.stack([a, c, b], -1).reshape(-1, 3)]
        )
        parts.append(
            Mesh(lump.reshape(-1, 3), _unit(sphere.reshape(-1, 3)), np.zeros((30, 2)), faces)
        )
    return joined(parts)


def planted(kind: Mesh, places: np.ndarray, heights: np.ndarray, seed: int) -> Mesh:
    """Return copies of a tree of height 1 at places of shape (N, 3), each turned its own way."""
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, 2 * np.pi, len(places))
    wide = heights * rng.uniform(0.8, 1.25, len(places))
    c, s = np.cos(turn)[:, None], np.sin(turn)[:, None]

    def turned(v: np.ndarray) -> np.ndarray:
        return np.stack(
            [
                v[:, 0] * c - v[:, 1] * s,
                v[:, 0] * s + v[:, 1] * c,
                np.broadcast_to(v[:, 2], (len(turn), len(v))),
            ],
            -1,
        )

    scale = np.stack([wide, wide, heights], -1)[:, None]
    vertices = turned(kind.vertices) * scale + places[:, None]
    normals = _unit(turned(kind.normals))
    faces = np.arange(len(places))[:, None, None] * len(kind.vertices) + kind.faces
    count = len(places) * len(kind.vertices)
    return Mesh(
        vertices.reshape(-1, 3), normals.reshape(-1, 3), np.zeros((count, 2)), faces.reshape(-1, 3)
    )
