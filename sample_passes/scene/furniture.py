"""Furniture and the things that lie on it."""

from __future__ import annotations

import numpy as np
from geometry import Mesh, bent, box, joined, lathe, leaves, subdivided_bar, tube
from materials import BOOK_COLOURS
from parts import Parts

TABLE = (-1.50, 4.1)
RUG = (0.95, 5.35)
SHELF_FACE, SHELF_BACK = 2.66, 3.0
SHELF_Y = (1.0, 7.3)
SHELF_BAYS = 7
SHELF_HEIGHTS = (0.86, 1.27, 1.68, 2.09, 2.46)


def build(parts: Parts) -> None:
    """Add everything that stands in the room, except the lamps."""
    _dining(parts)
    _sofa(parts)
    _lounge(parts)
    _shelves(parts)
    _books(parts)
    _sideboard(parts)
    _olive_tree(parts)


def _placed(meshes: list[Mesh], x: float, y: float, degrees: float, z: float = 0.0) -> Mesh:
    """Turn meshes about z as one, then move them."""
    return joined(meshes).turned("z", degrees).moved(x, y, z)


def vase(height: float, belly: float, neck: float) -> Mesh:
    """Return a thrown vase."""
    t = np.linspace(0, 1, 24)
    outline = neck + (belly - neck) * np.sin(np.pi * np.clip(t * 1.15, 0, 1)) ** 0.9
    outline[0] = belly * 0.55
    rim = [(neck - 0.006, height), (neck - 0.008, height * 0.9)]
    return lathe([(0.0, 0.0), *zip(outline, t * height, strict=True), *rim], 40)


def bowl(radius: float, height: float) -> Mesh:
    """Return a bowl with a wall of 5 mm."""
    t = np.linspace(0, 1, 14)
    outer = [(radius * (0.35 + 0.65 * np.sqrt(s)), height * s) for s in t]
    inner = [(r - 0.005, max(h, 0.008)) for r, h in reversed(outer)]
    return lathe([(0, 0), *outer, *inner, (0, 0.008)], 48)


def _dining(parts: Parts) -> None:
    x, y = TABLE
    parts.add("table", "oak", box((0.98, 2.35, 0.038), (x, y, 0.731), 0.010, 3))
    for dy in (-0.80, 0.80):
        parts.add(
            "table",
            "oak",
            box((0.78, 0.07, 0.06), (x, y + dy, 0.685), 0.008),
            *(
                tube((x + dx * 1.12, y + dy * 1.08, 0.0), (x + dx, y + dy, 0.69), 0.022, 0.034)
                for dx in (-0.34, 0.34)
            ),
        )
    rng = np.random.default_rng(8)
    for side in (-1, 1):
        for n, dy in enumerate((-0.76, 0.0, 0.76)):
            away = 0.66 + (0.10 if (side, n) == (1, 0) else rng.uniform(-0.02, 0.04))
            _chair(parts, x + side * away, y + dy, side * 90 + rng.uniform(-5, 5), 0.5 * n)
    parts.add("table", "linen", box((0.36, 1.7, 0.003), (x, y, 0.7515), 0.0014))
    parts.add("objects", "ceramic_sand", bowl(0.17, 0.085).moved(x + 0.02, y - 0.42, 0.753))
    for dx, dy, z in (
        (0, 0, 0.06),
        (0.07, 0.04, 0.055),
        (-0.06, 0.05, 0.055),
        (0.01, -0.07, 0.055),
    ):
        fruit = lathe(
            [(0.036 * np.sin(a), -0.036 * np.cos(a)) for a in np.linspace(0, np.pi, 16)], 24
        )
        parts.add("objects", "fruit", fruit.moved(x + 0.02 + dx, y - 0.42 + dy, 0.753 + z))
    parts.add("objects", "ceramic_dark", vase(0.30, 0.085, 0.03).moved(x - 0.02, y + 0.30, 0.753))
    _branches(parts, (x - 0.02, y + 0.30, 1.04), 9, 0.55)
    for dy in (-0.76, 0.76):
        for side in (-1, 1):
            plate = lathe(
                [(0, 0), (0.08, 0), (0.13, 0.014), (0.128, 0.018), (0.08, 0.007), (0, 0.006)]
            )
            parts.add("objects", "ceramic_white", plate.moved(x + side * 0.31, y + dy, 0.7515))


def _chair(parts: Parts, x: float, y: float, degrees: float, slide: float) -> None:
    """Add a chair that faces +y before it is turned."""
    seat = box((0.45, 0.44, 0.055), (0, 0, 0.455), 0.024, 3, puff=0.012)
    legs = [
        tube((sx * 0.225, sy * 0.215, 0), (sx * 0.185, sy * 0.175, 0.44), 0.011, 0.017)
        for sx in (-1, 1)
        for sy in (-1, 1)
    ]
    rest = bent(subdivided_bar((0.66, 0.026, 0.15)), 0.29).moved(0, -0.235, 0.745)
    posts = [
        tube((dx, -0.19, 0.44), (dx * 1.15, -0.225 + abs(dx) * 0.28, 0.70), 0.010)
        for dx in (-0.15, 0.15)
    ]
    parts.add("chairs", "wool_green", _placed([seat], x, y, degrees))
    parts.add("chairs", "walnut", _placed([*legs, *posts, rest], x, y, degrees).slid(slide, 0))


def _branches(parts: Parts, root: tuple[float, float, float], count: int, reach: float) -> None:
    """Add leafy twigs that fan out of a vase."""
    rng = np.random.default_rng(15)
    for n in range(count):
        turn = 2 * np.pi * n / count + rng.uniform(-0.3, 0.3)
        lean = rng.uniform(0.15, 0.55)
        direction = np.array([np.cos(turn) * lean, np.sin(turn) * lean, 1.0])
        tip = np.array(root) + direction / np.linalg.norm(direction) * reach * rng.uniform(0.6, 1)
        parts.add("plants", "bark", tube(root, tuple(tip), 0.0035, 0.0015))
        share = rng.uniform(0.25, 1.0, 22)[:, None]
        roots = np.array(root) * (1 - share) + tip * share
        ways = rng.normal(0, 1, (22, 3)) + direction * 0.8
        parts.add("plants", "olive_leaf", leaves(roots, ways, 0.075, 0.022, 0.25))


def _sofa(parts: Parts) -> None:
    """Build the sofa facing +y, then turn it to face the room with its back to the shelves."""
    cloth = [
        box((2.30, 0.92, 0.17), (0, 0, 0.235), 0.03, 3),
        box((2.30, 0.17, 0.52), (0, -0.375, 0.42), 0.05, 3),
        *(box((0.17, 0.92, 0.42), (sx * 1.065, 0, 0.36), 0.05, 3) for sx in (-1, 1)),
    ]
    for n in range(3):
        x = -0.655 + 0.655 * n
        cloth.append(box((0.645, 0.72, 0.17), (x, 0.10, 0.405), 0.05, 3, puff=0.03))
        back = box((0.63, 0.18, 0.46), (0, 0, 0), 0.07, 3, puff=0.05)
        cloth.append(back.turned("x", 12).moved(x, -0.22, 0.66))
    legs = [
        tube((sx * 1.0, sy * 0.36, 0), (sx * 1.0, sy * 0.36, 0.15), 0.016, 0.02)
        for sx in (-1, 1)
        for sy in (-1, 1)
    ]
    where = (2.02, 5.15, 90.0)
    parts.add("sofa", "linen", _placed(cloth, *where))
    parts.add("sofa", "walnut", _placed(legs, *where))
    pillow = box((0.48, 0.13, 0.48), (0, 0, 0), 0.05, 3, puff=0.07)
    leaning = pillow.turned("x", 20)
    for material, x, turn in (
        ("wool_rust", -0.72, 16),
        ("wool_cream", 0.45, -8),
        ("wool_green", 0.83, -20),
    ):
        placed = leaning.turned("z", turn).moved(x, 0.02, 0.72)
        parts.add("sofa", material, _placed([placed], *where))


def _lounge(parts: Parts) -> None:
    """Add rug, coffee tables and armchair."""
    x, y = RUG
    parts.add("rug", "rug", box((2.0, 2.9, 0.014), (x, y, 0.007), 0.006))
    top = [
        (0, 0),
        (0.42, 0),
        (0.435, 0.010),
        (0.44, 0.022),
        (0.435, 0.034),
        (0.42, 0.04),
        (0, 0.04),
    ]
    stone = [(0, 0), (0.06, 0.0), (0.07, 0.02), (0.065, 0.28), (0.10, 0.32), (0, 0.33)]
    parts.add("coffee_table", "stone", lathe(top, 72).moved(0.62, 5.15, 0.36))
    for turn in (90, 210, 330):
        dx, dy = 0.27 * np.cos(np.radians(turn)), 0.27 * np.sin(np.radians(turn))
        leg = lathe(stone, 32).moved(0.62 + dx, 5.15 + dy, 0.014)
        parts.add("coffee_table", "stone", leg)
    for n, (size, colour, turn) in enumerate(
        (((0.30, 0.23, 0.028), 2, 20), ((0.27, 0.21, 0.022), 0, 8), ((0.22, 0.17, 0.025), 5, 31))
    ):
        book = box(size, (0, 0, 0.415 + 0.026 * n), 0.002).turned("z", turn)
        parts.add("objects", f"book_{colour}", book.moved(0.52, 5.02))
    parts.add("objects", "ceramic_white", bowl(0.10, 0.06).moved(0.77, 5.30, 0.40))
    _armchair(parts, -0.55, 6.55, -158)


def _armchair(parts: Parts, x: float, y: float, degrees: float) -> None:
    """Add an open-framed armchair that faces +y before it is turned."""
    frame = []
    for sx in (-1, 1):
        a = sx * 0.34
        frame += [
            tube((a, 0.34, 0), (a, 0.30, 0.56), 0.016, 0.020),
            tube((a, -0.42, 0), (a, -0.30, 0.56), 0.016, 0.020),
            box((0.055, 0.74, 0.026), (a, 0.0, 0.575), 0.010, 3),
        ]
    frame.append(tube((-0.34, 0.29, 0.27), (0.34, 0.29, 0.27), 0.016))
    frame.append(tube((-0.34, -0.30, 0.24), (0.34, -0.30, 0.24), 0.016))
    seat = box((0.60, 0.66, 0.13), (0, 0.02, 0.36), 0.05, 3, puff=0.025).turned("x", 4)
    back = box((0.60, 0.13, 0.56), (0, 0, 0), 0.05, 3, puff=0.03).turned("x", 16)
    parts.add("armchair", "walnut", _placed(frame, x, y, degrees))
    parts.add("armchair", "leather", _placed([seat, back.moved(0, -0.30, 0.66)], x, y, degrees))


def _shelves(parts: Parts) -> None:
    y0, y1 = SHELF_Y
    deep, middle = SHELF_BACK - SHELF_FACE, (SHELF_FACE + SHELF_BACK) / 2
    long, centre = y1 - y0, (y0 + y1) / 2
    top = SHELF_HEIGHTS[-1]
    wood = [
        box((0.012, long, top), (SHELF_BACK - 0.008, centre, top / 2), 0.002),
        box((deep + 0.04, long, 0.40), (middle - 0.02, centre, 0.25), 0.004),
    ]
    wood += [box((deep, long, 0.026), (middle, centre, z), 0.003) for z in SHELF_HEIGHTS]
    for y in np.linspace(y0, y1, SHELF_BAYS + 1):
        wood.append(box((deep, 0.026, top - 0.44), (middle, y, (top + 0.45) / 2), 0.003))
    for y in np.linspace(y0, y1, SHELF_BAYS + 1)[1:-1]:
        parts.add(
            "shelves", "black", box((0.004, 0.006, 0.40), (SHELF_FACE - 0.041, y, 0.25), 0.001)
        )
    parts.add("shelves", "walnut", *wood)


def _books(parts: Parts) -> None:
    """Fill the shelves with rows of books, stacks and pots."""
    rng = np.random.default_rng(29)
    edges = np.linspace(*SHELF_Y, SHELF_BAYS + 1)
    floors = (0.45, *SHELF_HEIGHTS[:-1])
    for y0, y1 in zip(edges[:-1], edges[1:], strict=True):
        for z, ceiling in zip(floors, SHELF_HEIGHTS, strict=True):
            base = z + (0.013 if z > 0.45 else 0.0)
            kind = rng.choice(["row", "row", "pots", "stack", "half", "half"])
            if kind in ("row", "half"):
                share = 0.95 if kind == "row" else rng.uniform(0.4, 0.6)
                _book_row(parts, rng, (y0 + 0.03, y0 + share * (y1 - y0)), base, ceiling - base)
            if kind in ("half", "pots"):
                _pot(parts, rng, y0 + 0.78 * (y1 - y0), base)
            if kind == "pots":
                _pot(parts, rng, y0 + 0.35 * (y1 - y0), base)
            if kind == "stack":
                _book_stack(parts, rng, y0 + rng.uniform(0.3, 0.7) * (y1 - y0), base)


def _book_row(
    parts: Parts, rng: np.random.Generator, span: tuple[float, float], z: float, room: float
) -> None:
    y = span[0]
    while y < span[1] - 0.05:
        thick = rng.uniform(0.016, 0.046)
        tall = room * rng.uniform(0.58, 0.86)
        deep = rng.uniform(0.16, 0.23)
        if rng.random() < 0.06:
            y += rng.uniform(0.03, 0.09)
        size = (deep, thick * 0.95, tall)
        front = SHELF_FACE + 0.045 + rng.uniform(0, 0.02)
        book = box(size, (front + deep / 2, y + thick / 2, z + tall / 2), 0.003)
        colour = rng.choice(len(BOOK_COLOURS), p=_BOOK_CHANCE)
        parts.add("books", f"book_{colour}", book)
        y += thick


_BOOK_CHANCE = np.array([5, 3, 3, 1, 2, 1, 4, 2, 3]) / 24


def _book_stack(parts: Parts, rng: np.random.Generator, y: float, z: float) -> None:
    for _ in range(rng.integers(3, 6)):
        thick = rng.uniform(0.018, 0.04)
        size = (0.18, rng.uniform(0.22, 0.30), thick)
        book = box(size, (0, 0, 0), 0.003).turned("z", rng.uniform(-6, 6))
        colour = rng.choice(len(BOOK_COLOURS), p=_BOOK_CHANCE)
        parts.add("books", f"book_{colour}", book.moved(SHELF_FACE + 0.15, y, z + thick / 2))
        z += thick


def _pot(parts: Parts, rng: np.random.Generator, y: float, z: float) -> None:
    material = rng.choice(["ceramic_white", "ceramic_dark", "ceramic_sand"])
    height = rng.uniform(0.12, 0.27)
    belly = rng.uniform(0.05, 0.09)
    shape = vase(height, belly, belly * rng.uniform(0.3, 0.6))
    if rng.random() < 0.3:
        shape = bowl(belly * 1.4, height * 0.4)
    parts.add("objects", material, shape.moved(SHELF_FACE + 0.15, y, z))


def _sideboard(parts: Parts) -> None:
    parts.add("sideboard", "walnut", box((0.42, 1.30, 0.50), (-2.76, 7.12, 0.42), 0.006))
    parts.add("sideboard", "oak", box((0.44, 1.33, 0.028), (-2.76, 7.12, 0.684), 0.006))
    for y in (6.60, 7.64):
        parts.add("sideboard", "black", box((0.34, 0.03, 0.18), (-2.76, y, 0.09), 0.003))
    for y in (6.9, 7.34):
        parts.add("sideboard", "black", box((0.004, 0.006, 0.48), (-2.549, y, 0.42), 0.001))
    picture = box((0.80, 1.0, 0.02), (0.40, 0.50, 0), 0.002).turned("y", 90).turned("x", 90)
    parts.add("painting", "painting", _hung_picture(picture))
    parts.add("objects", "ceramic_dark", vase(0.24, 0.08, 0.03).moved(-2.72, 6.72, 0.698))


def _hung_picture(picture: Mesh) -> Mesh:
    """Centre the canvas on its place on the left wall."""
    low, high = picture.vertices.min(0), picture.vertices.max(0)
    target = np.array([-2.985, 7.12, 1.52])
    return picture.moved(*(target - (low + high) / 2))


def _olive_tree(parts: Parts) -> None:
    """Add a potted olive tree before the near end of the shelves."""
    root = np.array([2.28, 3.42, 0.0])
    pot = lathe(
        [(0, 0), (0.15, 0), (0.20, 0.36), (0.205, 0.40), (0.18, 0.40), (0.17, 0.34), (0, 0.33)]
    )
    parts.add("plants", "ceramic_sand", pot.moved(*root))
    rng = np.random.default_rng(52)
    fork = root + np.array([0.03, 0.02, 0.95])
    parts.add("plants", "bark", tube(tuple(root + [0, 0, 0.3]), tuple(fork), 0.020, 0.014))
    for n in range(15):
        turn = 2 * np.pi * n / 15 + rng.uniform(-0.2, 0.2)
        way = np.array([np.cos(turn) * 0.62, np.sin(turn) * 0.62, rng.uniform(0.35, 1.25)])
        tip = fork + way / np.linalg.norm(way) * rng.uniform(0.35, 0.70)
        tip[0] = min(tip[0], 2.62)
        parts.add("plants", "bark", tube(tuple(fork), tuple(tip), 0.007, 0.002))
        share = rng.uniform(0.2, 1.05, 46)[:, None]
        roots = fork * (1 - share) + tip * share + rng.normal(0, 0.02, (46, 3))
        ways = rng.normal(0, 0.8, (46, 3)) + way
        parts.add("plants", "olive_leaf", leaves(roots, ways, 0.085, 0.020, 0.3))
