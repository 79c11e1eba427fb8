"""The shell of the house: floor, walls, pitched roof, glazing, curtains, terrace.

The room spans x from -3 to 3 m and y from -3 to 8 m; the camera looks along +y at the glazed gable.
"""

from __future__ import annotations

import numpy as np
from geometry import Mesh, box, quad, sheet, tube
from parts import Parts
from sources import Rect

HALF_WIDTH = 3.0
REAR, FRONT = -3.0, 8.0
EAVES, RIDGE = 2.55, 4.40
SLOPE_DEGREES = float(np.degrees(np.arctan2(RIDGE - EAVES, HALF_WIDTH)))
WINDOW_Y, WINDOW_Z = (3.0, 6.4), (0.45, 2.30)
MULLIONS = (-1.0, 1.0)
TRANSOM = 2.47

PANES = [
    Rect(1, FRONT + 0.03, (-HALF_WIDTH, 0.0), (MULLIONS[0], TRANSOM)),
    Rect(1, FRONT + 0.03, (MULLIONS[1], 0.0), (HALF_WIDTH, TRANSOM)),
    Rect(1, FRONT + 0.11, (MULLIONS[1] + 0.05, 0.05), (HALF_WIDTH - 0.05, TRANSOM - 0.05)),
    Rect(1, FRONT + 0.03, (-HALF_WIDTH, TRANSOM), (HALF_WIDTH, RIDGE)),
    Rect(0, -HALF_WIDTH - 0.10, (WINDOW_Y[0], WINDOW_Z[0]), (WINDOW_Y[1], WINDOW_Z[1])),
]
PORTALS = [
    Rect(1, FRONT, (-HALF_WIDTH, 0.0), (HALF_WIDTH, TRANSOM)),
    Rect(1, FRONT, (-1.9, TRANSOM), (1.9, RIDGE - 0.1)),
    Rect(0, -HALF_WIDTH, (WINDOW_Y[0], WINDOW_Z[0]), (WINDOW_Y[1], WINDOW_Z[1])),
]
ROOM = ([-HALF_WIDTH, REAR, 0.0], [HALF_WIDTH, FRONT, RIDGE])


def roof_height(x: float) -> float:
    """Return the height of the roof's underside at x, in metres."""
    return RIDGE - (RIDGE - EAVES) * abs(x) / HALF_WIDTH


def build(parts: Parts) -> None:
    """Add the whole shell to the parts."""
    _floor_and_walls(parts)
    _roof(parts)
    _glazing(parts)
    _curtains(parts)
    _terrace(parts)


def _floor_and_walls(parts: Parts) -> None:
    length, middle = FRONT - REAR, (FRONT + REAR) / 2
    floor = box((6.4, length + 0.3, 0.1), (0, middle, -0.05), 0.002)
    parts.add("floor", "floor", floor)
    thick = 0.2
    x = -HALF_WIDTH - thick / 2
    (y0, y1), (z0, z1) = WINDOW_Y, WINDOW_Z
    left = [
        box((thick, y0 - REAR, EAVES), (x, (REAR + y0) / 2, EAVES / 2), 0.006),
        box((thick, FRONT - y1, EAVES), (x, (FRONT + y1) / 2, EAVES / 2), 0.006),
        box((thick, y1 - y0 + 0.02, z0), (x, (y0 + y1) / 2, z0 / 2), 0.006),
        box((thick, y1 - y0 + 0.02, EAVES - z1), (x, (y0 + y1) / 2, (EAVES + z1) / 2), 0.006),
    ]
    right = box((thick, length, EAVES), (-x, middle, EAVES / 2), 0.006)
    rear = box((6.4, thick, RIDGE + 0.2), (0, REAR - thick / 2, RIDGE / 2), 0.006)
    parts.add("wall", "plaster", *left, right, rear)
    parts.add(
        "wall",
        "oak",
        box((0.26, y1 - y0 + 0.06, 0.03), (x + 0.05, (y0 + y1) / 2, z0 + 0.015), 0.006),
        box((0.015, y0 - REAR, 0.08), (-HALF_WIDTH + 0.008, (REAR + y0) / 2, 0.04)),
        box((0.015, FRONT - y0, 0.08), (-HALF_WIDTH + 0.008, (FRONT + y0) / 2, 0.04)),
    )


def _roof(parts: Parts) -> None:
    length, middle = FRONT - REAR + 1.1, (FRONT + REAR + 0.6) / 2
    run = (HALF_WIDTH + 0.25) / np.cos(np.radians(SLOPE_DEGREES))
    boards, rafters = [], []
    for side in (-1, 1):
        slab = box((run, length, 0.2), (side * run / 2, middle, 0.1), 0.004)
        boards.append(slab.turned("y", side * SLOPE_DEGREES).moved(z=RIDGE))
        for n, y in enumerate(np.arange(REAR + 0.5, FRONT + 0.5, 1.25)):
            rafter = box((run - 0.1, 0.07, 0.13), (side * (run - 0.1) / 2, y, -0.065), 0.006)
            rafters.append(rafter.turned("y", side * SLOPE_DEGREES).moved(z=RIDGE).slid(0.7 * n, n))
    parts.add("roof", "roof_boards", *boards)
    parts.add("roof", "beam", *rafters)
    parts.add("roof", "beam", box((0.14, length, 0.30), (0, middle, RIDGE - 0.20), 0.006))


def _glazing(parts: Parts) -> None:
    """Add the frames: bronze posts and rails; the panes themselves are in PANES."""
    y, deep, face = FRONT + 0.03, 0.10, 0.06
    bars: list[Mesh] = []
    for x in (-HALF_WIDTH + 0.03, *MULLIONS, HALF_WIDTH - 0.03):
        top = roof_height(x) + 0.05
        bars.append(box((face, deep, top), (x, y, top / 2), 0.004))
    bars.append(box((6.0, deep + 0.02, 0.12), (0, y, TRANSOM + 0.06), 0.004))
    for x in (-2.0, 2.0):
        bars.append(box((2.0, deep, 0.05), (x, y, 0.0), 0.004))
    for x in (MULLIONS[1] + 0.07, HALF_WIDTH - 0.09):
        bars.append(box((0.08, 0.05, TRANSOM - 0.02), (x, FRONT + 0.11, TRANSOM / 2), 0.004))
    for z in (0.06, TRANSOM - 0.04):
        bars.append(box((1.9, 0.05, 0.08), (2.0, FRONT + 0.11, z), 0.004))
    handle = tube((1.07, FRONT + 0.06, 0.95), (1.07, FRONT + 0.06, 1.25), 0.012)
    (y0, y1), (z0, z1) = WINDOW_Y, WINDOW_Z
    x = -HALF_WIDTH - 0.10
    for at in (y0 + 0.03, (y0 + y1) / 2, y1 - 0.03):
        bars.append(box((0.08, 0.06, z1 - z0), (x, at, (z0 + z1) / 2), 0.004))
    for at in (z0 + 0.05, z1 - 0.03):
        bars.append(box((0.08, y1 - y0, 0.06), (x, (y0 + y1) / 2, at), 0.004))
    parts.add("frames", "bronze", *bars, handle)


def _curtains(parts: Parts) -> None:
    for x0, x1, seed in ((-2.97, -2.50, 1), (2.62, 2.97, 2)):
        rng = np.random.default_rng(seed)
        s = np.linspace(0, 1, 120)
        folds = 0.045 * np.sin(2 * np.pi * s * (9 if x0 < 0 else 7) + rng.uniform(0, 6))
        z = np.linspace(0.015, TRANSOM - 0.02, 24)
        flare = 1.0 + 0.35 * (1 - z / TRANSOM)
        points = np.empty((len(z), len(s), 3))
        points[..., 0] = x0 + (x1 - x0) * s
        points[..., 1] = FRONT - 0.13 + folds * flare[:, None]
        points[..., 2] = z[:, None]
        parts.add("curtain", "sheer", sheet(points))
    parts.add("curtain", "bronze", tube((-2.98, 7.87, 2.47), (2.98, 7.87, 2.47), 0.011))


def _terrace(parts: Parts) -> None:
    rng = np.random.default_rng(4)
    for n in range(26):
        y = FRONT + 0.24 + 0.142 * n
        plank = box((9.0, 0.134, 0.03), (0.4, y, -0.035), 0.004)
        parts.add("terrace", "deck", plank.slid(rng.uniform(0, 2), rng.uniform(0, 0.5)))
    parts.add("terrace", "clay", box((9.0, 0.3, 0.5), (0.4, 11.75, -0.27), 0.01))
    parts.add("terrace", "bark", quad((-4.2, 8, -0.3), (9.2, 0, 0), (0, 3.7, 0)))
