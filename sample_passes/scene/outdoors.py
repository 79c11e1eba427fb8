"""What lies beyond the glass: terrace furniture, meadow, pines, water and hills."""

from __future__ import annotations

import numpy as np
from geometry import Mesh, box, joined, leaves, quad, sheet, tube
from parts import Parts
from scipy.ndimage import gaussian_filter

WATER_LEVEL = -9.0


def build(parts: Parts) -> None:
    """Add the terrace's planters and bench and the whole landscape."""
    _planters(parts)
    _bench(parts)
    _meadow(parts)
    _pines(parts)
    parts.add("water", "water", quad((-4000, 20, WATER_LEVEL), (8000, 0, 0), (0, 5000, 0)))
    parts.add("hills", "shore", ridge(330, 11, 700, 71, trees=2.6))
    parts.add("hills", "ridge", ridge(800, 36, 1700, 72, trees=2.0))
    parts.add("hills", "far_ridge", ridge(1900, 140, 4200, 78, trees=0.0))


def fractal_line(count: int, seed: int, first: int = 2, octaves: int = 6) -> np.ndarray:
    """Return a rough line of zero mean and unit deviation made of halving octaves."""
    rng = np.random.default_rng(seed)
    at = np.linspace(0, 1, count)
    line = np.zeros(count)
    for octave in range(octaves):
        knots = first * 2**octave + 1
        line += np.interp(at, np.linspace(0, 1, knots), rng.standard_normal(knots)) / 2**octave
    return (line - line.mean()) / line.std()


def ridge(distance: float, height: float, width: float, seed: int, trees: float) -> Mesh:
    """Return a chain of hills across the view.

    Parameters
    ----------
    distance, height, width : float
        Where its foot stands, its mean height above the water, and its extent, in metres.
    seed : int
        Shape of the skyline.
    trees : float
        Height of the ragged tree tops along the skyline, in metres.
    """
    columns, rows = 900, 40
    x = np.linspace(-width, width, columns)
    share = np.linspace(0, 1, rows)[:, None]
    skyline = np.maximum(1 + 0.42 * fractal_line(columns, seed), 0.12)
    spurs = 0.6 * fractal_line(columns, seed + 1, first=24, octaves=4)
    folds = np.clip(share * (1 - share) * 4, 0, 1) * (spurs + 0.25 * _relief(rows, columns, seed))
    rng = np.random.default_rng(seed)
    points = np.empty((rows, columns, 3))
    points[..., 0] = x
    points[..., 1] = distance + height * (2.2 * share - 0.35 * folds)
    points[..., 2] = WATER_LEVEL - 1 + height * skyline * share**0.8
    points[-1, :, 2] += trees * np.abs(rng.standard_normal(columns))
    return sheet(points)


def _relief(rows: int, columns: int, seed: int) -> np.ndarray:
    """Return smooth bumps of unit deviation on a grid."""
    bumps = np.random.default_rng(seed).standard_normal((rows, columns))
    bumps = gaussian_filter(bumps, (2.5, 4.0))
    return bumps / bumps.std()


def _planters(parts: Parts) -> None:
    rng = np.random.default_rng(61)
    for x, y, wide in ((-2.2, 11.05, 1.5), (3.3, 10.9, 1.1)):
        parts.add("terrace", "bronze", box((wide, 0.42, 0.44), (x, y, 0.20), 0.006))
        count = int(wide * 320)
        roots = np.stack(
            [
                x + rng.uniform(-wide / 2 + 0.05, wide / 2 - 0.05, count),
                y + rng.uniform(-0.16, 0.16, count),
                np.full(count, 0.40),
            ],
            1,
        )
        ways = rng.normal(0, 0.24, (count, 3)) + [0, 0, 1]
        parts.add("plants", "grass", leaves(roots, ways, 0.58, 0.012, 0.25))


def _bench(parts: Parts) -> None:
    slats = [box((1.5, 0.085, 0.028), (0, 0.10 * n, 0.43), 0.005).slid(n, n) for n in range(4)]
    legs = [box((0.05, 0.36, 0.42), (sx * 0.6, 0.15, 0.21), 0.006) for sx in (-1, 1)]
    bench = joined(slats).turned("z", 0).moved(-0.35, 10.5)
    parts.add("terrace", "deck", bench)
    parts.add("terrace", "bronze", joined(legs).moved(-0.35, 10.5))


def _meadow(parts: Parts) -> None:
    """Add the slope that falls from the house to the water."""
    rng = np.random.default_rng(63)
    x, y = np.linspace(-70, 70, 120), np.linspace(11.5, 75, 60)
    side = np.linspace(-16, 12, 30)
    fall = -0.35 - 10.2 * np.clip((y - 12) / 58, 0, 1) ** 1.1
    points = np.empty((len(y), len(x), 3))
    points[..., 0], points[..., 1] = x, y[:, None]
    points[..., 2] = fall[:, None] + rng.normal(0, 0.05, (len(y), len(x)))
    points[..., 2] += 0.035 * np.maximum(-x - 5, 0) + 0.015 * np.maximum(x - 8, 0)
    parts.add("meadow", "meadow", sheet(points))
    wide = np.linspace(-70, -3.2, 40)
    points = np.empty((len(side), len(wide), 3))
    points[..., 0], points[..., 1] = wide, side[:, None]
    points[..., 2] = -0.35 + rng.normal(0, 0.03, (len(side), len(wide)))
    points[..., 2] += 0.06 * np.maximum(-wide - 6, 0)
    parts.add("meadow", "meadow", sheet(points))


def pine(height: float, spread: float, seed: int) -> tuple[Mesh, Mesh]:
    """Return trunk and needles of one conifer that stands at the origin."""
    rng = np.random.default_rng(seed)
    count = int(height * 95)
    share = rng.uniform(0.14, 1.0, count) ** 0.85
    turn = rng.uniform(0, 2 * np.pi, count)
    reach = spread * (1.02 - share) * rng.uniform(0.55, 1.1, count)
    blades = []
    for part in np.array_split(np.argsort(reach), 8):
        roots = np.stack([np.zeros(len(part)), np.zeros(len(part)), share[part] * height], 1)
        ways = np.stack(
            [np.cos(turn[part]), np.sin(turn[part]), rng.uniform(-0.15, 0.35, len(part))], 1
        )
        length = float(max(reach[part].mean(), 0.18))
        blades.append(leaves(roots, ways, length, 0.16 + 0.22 * length, 0.35))
    return tube((0, 0, 0), (0, 0, height * 0.97), 0.02 * height, 0.004 * height), joined(blades)


def _pines(parts: Parts) -> None:
    places = [
        (-9.5, 22, 10.5),
        (-7.0, 27, 8.0),
        (-12.5, 30, 12.5),
        (-15.5, 26, 11.0),
        (-4.6, 36, 7.6),
        (9.8, 26, 9.8),
        (12.4, 31, 12.0),
        (7.2, 40, 7.0),
        (15.0, 37, 12.0),
        (-20, 40, 12.0),
        (19.0, 45, 13.0),
        (24.0, 44, 11.0),
        (-26.0, 42, 12.0),
        (-9.5, 3.0, 5.0),
        (-13.5, 7.0, 7.0),
    ]
    for n, (x, y, height) in enumerate(places):
        trunk, needles = pine(height, height * 0.2, 80 + n)
        ground = -0.6 - 10.2 * max((y - 12) / 58, 0) ** 1.1 + 0.035 * max(-x - 5, 0)
        parts.add("trees", "bark", trunk.moved(x, y, ground))
        parts.add("trees", "needles", needles.moved(x, y, ground))
