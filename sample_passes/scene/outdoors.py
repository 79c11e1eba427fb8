"""What lies beyond the glass: terrace, garden, jetty, near trees, water and far shores."""

from __future__ import annotations

import numpy as np
import terrain
import trees
from geometry import Mesh, box, joined, lathe, quad, sheet, tube
from parts import Parts
from terrain import WATER_LEVEL

JETTY, JETTY_TURN, JETTY_LONG = (-43.0, 72.0), 50.0, 18.0
PATH = [(-6.4, 7.4), (-8.6, 11.5), (-12.4, 18.0), (-18.5, 29.0), (-29.0, 47.0), (-43.0, 72.0)]
CABIN = (-163.0, 252.0)
# kind, x, y, height, spread of the trees that are seen as single ones
STANDING = [
    ("spruce", -15.4, 17.0, 9.5, 1.9),
    ("spruce", -21.5, 25.0, 13.5, 2.5),
    ("birch", -11.2, 20.4, 8.0, 1.7),
    ("spruce", -27.0, 31.0, 11.0, 2.2),
    ("pine", -9.9, 25.5, 11.0, 2.0),
    ("birch", -8.3, 28.4, 8.8, 1.7),
    ("pine", -10.6, 34.5, 12.5, 2.3),
    ("spruce", -34.0, 42.0, 14.0, 2.8),
    ("birch", -26.5, 49.0, 9.0, 2.0),
    ("spruce", -46.0, 62.0, 14.0, 2.6),
    ("pine", -23.5, 62.0, 12.0, 2.3),
    ("birch", 6.1, 26.0, 8.6, 1.8),
    ("spruce", 8.6, 36.0, 11.5, 2.3),
    ("birch", 10.4, 42.0, 8.5, 1.8),
    ("pine", 15.0, 48.0, 13.0, 2.4),
    ("birch", 13.0, 23.5, 8.0, 1.7),
    ("spruce", 19.0, 27.0, 10.5, 2.1),
    ("spruce", 24.0, 40.0, 13.0, 2.6),
    ("birch", -11.5, 4.2, 6.0, 1.4),
    ("spruce", -16.5, 6.5, 8.0, 1.7),
]
ISLET = [
    ("pine", -33.5, 196.5, 8.5, 2.2),
    ("pine", -30.0, 197.0, 10.5, 2.5),
    ("spruce", -27.0, 195.5, 7.0, 1.6),
    ("pine", -23.5, 198.0, 11.5, 2.6),
    ("birch", -20.5, 196.0, 5.5, 1.4),
    ("pine", -15.0, 198.5, 7.5, 2.0),
]


def build(parts: Parts) -> None:
    """Add the terrace's planters and bench and the whole landscape."""
    _planters(parts)
    _bench(parts)
    _garden(parts)
    _jetty(parts)
    _boat(parts)
    _standing_trees(parts)
    parts.add("water", "water", quad((-9000, 40, WATER_LEVEL), (18000, 0, 0), (0, 14000, 0)))
    parts.add("hills", "land", terrain.distant_land())
    _forest(parts)
    _cabin(parts)


def _planters(parts: Parts) -> None:
    rng = np.random.default_rng(61)
    for x, y, wide in ((-2.2, 11.05, 1.5), (3.3, 10.9, 1.1)):
        parts.add("terrace", "bronze", box((wide, 0.42, 0.44), (x, y, 0.20), 0.006))
        parts.add("terrace", "soil", box((wide - 0.04, 0.38, 0.02), (x, y, 0.412), 0.004))
        for kind, count, low, high, slim in (
            ("grass", 1500, 0.30, 0.62, 0.012),
            ("straw", 260, 0.45, 0.85, 0.008),
        ):
            tuft = rng.uniform([-wide / 2 + 0.08, -0.14], [wide / 2 - 0.08, 0.14], (26, 2))
            at = tuft[rng.integers(0, 26, count)] + rng.normal(0, 0.022, (count, 2))
            roots = np.column_stack([x + at[:, 0], y + at[:, 1], np.full(count, 0.41)])
            ways = rng.normal(0, 0.30, (count, 3)) * [1, 1, 0] + [0, 0, 1]
            blades = trees.sprays(roots, ways, rng.uniform(low, high, count), slim, 0.22, 62)
            parts.add("plants", kind, blades)


def _bench(parts: Parts) -> None:
    slats = [box((1.5, 0.085, 0.028), (0, 0.10 * n, 0.43), 0.005).slid(n, n) for n in range(4)]
    legs = [box((0.05, 0.36, 0.42), (sx * 0.6, 0.15, 0.21), 0.006) for sx in (-1, 1)]
    parts.add("terrace", "deck", joined(slats).moved(-0.35, 10.5))
    parts.add("terrace", "bronze", joined(legs).moved(-0.35, 10.5))


def _garden(parts: Parts) -> None:
    """Add the ground from the house to the water, its grass, and the path of flat stones."""
    for x0, x1, y0, y1 in ((-95.0, -3.2, -16.0, 11.5), (-95.0, 80.0, 11.5, 104.0)):
        x, y = np.meshgrid(np.linspace(x0, x1, 340), np.linspace(y0, y1, 240))
        points = np.stack([x, y, terrain.garden(x, y)], -1)
        parts.add("meadow", "meadow", sheet(points))
    _grass(parts)
    parts.add("meadow", "path_stone", joined(list(_stones())))
    _reeds(parts)


def _path_distance(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the distance to the path, in metres."""
    nearest = np.full(x.shape, np.inf)
    for (x0, y0), (x1, y1) in zip(PATH[:-1], PATH[1:], strict=True):
        dx, dy = x1 - x0, y1 - y0
        share = np.clip(((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy), 0, 1)
        nearest = np.minimum(nearest, np.hypot(x - x0 - share * dx, y - y0 - share * dy))
    return nearest


def _grass(parts: Parts) -> None:
    """Scatter grass: dense and fine near the window, coarser and in fewer blades far away."""
    rng = np.random.default_rng(63)
    for x0, x1, y0, y1, count, low, high, slim in (
        (-16.0, -3.25, 1.5, 12.0, 210_000, 0.10, 0.34, 0.030),
        (-30.0, -3.5, 11.5, 34.0, 170_000, 0.16, 0.48, 0.045),
        (-3.5, 13.0, 12.2, 34.0, 30_000, 0.20, 0.50, 0.045),
        (-60.0, 20.0, 32.0, 72.0, 120_000, 0.22, 0.60, 0.085),
    ):
        x, y = rng.uniform(x0, x1, count), rng.uniform(y0, y1, count)
        tall = np.clip(
            0.55 + 0.35 * terrain.bumps(x, y, 1.3, 360) + 0.25 * terrain.bumps(x, y, 4.5, 361),
            0.08,
            1.2,
        )
        keep = (rng.random(count) < 0.35 + 0.6 * tall) & (_path_distance(x, y) > 0.42)
        x, y, tall = x[keep], y[keep], tall[keep]
        roots = np.column_stack([x, y, terrain.garden(x, y) - 0.01])
        ways = rng.normal(0, 0.34, (len(x), 3)) * [1, 1, 0] + [0.10, 0.05, 1]
        lengths = (low + (high - low) * tall) * rng.uniform(0.7, 1.15, len(x))
        dry = rng.random(len(x)) < 0.10 + 0.16 * np.clip(terrain.bumps(x, y, 6.0, 362), -0.5, 1.5)
        for kind, chosen in (("grass", ~dry), ("straw", dry)):
            blades = trees.sprays(
                roots[chosen],
                ways[chosen],
                lengths[chosen] * (1.25 if kind == "straw" else 1),
                slim,
                0.2,
                64,
            )
            parts.add("meadow", kind, blades)


def _stones():
    rng = np.random.default_rng(66)
    line = np.array(PATH)
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    for at in np.arange(0.2, along[-1] - 1.0, 0.78):
        x, y = (np.interp(at, along, line[:, k]) + rng.normal(0, 0.07) for k in (0, 1))
        wide = rng.uniform(0.26, 0.36)
        slab = lathe([(0, -0.08), (wide, -0.08), (wide, 0.012), (wide - 0.02, 0.03), (0, 0.03)], 9)
        squeezed = Mesh(
            slab.vertices * [1.25, rng.uniform(0.7, 0.95), 1], slab.normals, slab.uv, slab.faces
        )
        yield squeezed.turned("z", rng.uniform(0, 180)).moved(
            x, y, float(terrain.garden(x, y)) + 0.02
        )


def _reeds(parts: Parts) -> None:
    """Add reeds where the meadow meets the water, and boulders among them."""
    rng = np.random.default_rng(67)
    x, y = rng.uniform(-75, 40, 60_000), rng.uniform(62, 92, 60_000)
    z = terrain.garden(x, y)
    clump = terrain.bumps(x, y, 9.0, 365)
    keep = (np.abs(z - WATER_LEVEL + 0.12) < 0.38) & (clump > 0.1) & (np.abs(x - JETTY[0]) > 2.6)
    x, y, z = x[keep], y[keep], z[keep]
    ways = rng.normal(0, 0.10, (len(x), 3)) * [1, 1, 0] + [0.05, 0, 1]
    lengths = rng.uniform(0.8, 1.9, len(x)) * np.clip(0.5 + 0.4 * clump[keep], 0.4, 1.1)
    parts.add(
        "meadow", "straw", trees.sprays(np.column_stack([x, y, z]), ways, lengths, 0.045, 0.1, 68)
    )
    for _ in range(150):
        x, y = rng.uniform(-75, 40), rng.uniform(66, 88)
        z = float(terrain.garden(x, y))
        if abs(z - WATER_LEVEL) < 0.5:
            parts.add("meadow", "boulder", boulder(rng, rng.gamma(2.2, 0.20) + 0.1).moved(x, y, z))


def boulder(rng: np.random.Generator, radius: float) -> Mesh:
    """Return a rounded stone, its middle on the ground."""
    polar, around = np.meshgrid(np.linspace(0, np.pi, 10), np.linspace(0, 2 * np.pi, 15))
    way = np.stack(
        [np.sin(polar) * np.cos(around), np.sin(polar) * np.sin(around), np.cos(polar)], -1
    )
    shift = rng.uniform(0, 900, 2)
    lump = 1 + 0.22 * terrain.bumps(
        way[..., 0] + way[..., 2] + shift[0], way[..., 1] - way[..., 2] + shift[1], 1.4, 370
    )
    lump[-1] = lump[0]
    return sheet(way * (radius * lump)[..., None] * [1.25, 0.9, 0.62])


def jetty_frame() -> tuple[float, float, float, float]:
    """Return x, y, deck height and the turn about z (in degrees) of the jetty's landward end."""
    return (*JETTY, WATER_LEVEL + 0.55, JETTY_TURN)


def _jetty(parts: Parts) -> None:
    x, y, z, turn = jetty_frame()
    planks = [
        box((1.7, 0.135, 0.04), (0, 0.15 * n, 0), 0.004).slid(0.7 * n, n)
        for n in range(int(JETTY_LONG / 0.15))
    ]
    posts = [
        tube((sx * 0.8, at, -2.5), (sx * 0.8, at, 0.35 if n % 2 else 0.75), 0.075)
        for n, at in enumerate(np.arange(1.5, JETTY_LONG, 2.6))
        for sx in (-1, 1)
    ]
    parts.add("terrace", "deck", joined(planks).turned("z", turn).moved(x, y, z))
    parts.add("terrace", "deck", joined(posts).turned("z", turn).moved(x, y, z))


def _boat(parts: Parts) -> None:
    """Add a rowing boat, moored beside the jetty."""
    x, y, _, turn = jetty_frame()
    t = np.linspace(0, 1, 17)
    half = 0.68 * np.sin(np.pi * np.clip(0.12 + 0.90 * t, 0, 1)) ** 0.75
    sheer = 0.42 + 0.28 * (2 * t - 0.9) ** 2
    angle = np.linspace(-1, 1, 13)[:, None]
    hull = np.empty((13, 17, 3))
    hull[..., 0] = half * np.sign(angle) * np.abs(angle) ** 0.62
    hull[..., 1] = 4.3 * t
    hull[..., 2] = sheer * np.abs(angle) ** 1.7 - 0.08
    inner = hull * [0.95, 1, 1] + [0, 0, 0.03]
    seats = [box((1.2, 0.26, 0.03), (0, at, 0.22), 0.005) for at in (1.2, 2.4)]
    boat = [sheet(hull), sheet(inner[::-1])]
    place = np.array([1.75, JETTY_LONG - 6.5, 0])
    moor = ("z", turn)
    parts.add("terrace", "boat", joined(boat).moved(*place).turned(*moor).moved(x, y, WATER_LEVEL))
    parts.add("terrace", "oak", joined(seats).moved(*place).turned(*moor).moved(x, y, WATER_LEVEL))


def _standing_trees(parts: Parts) -> None:
    grown = {"spruce": trees.spruce, "pine": trees.pine, "birch": trees.birch}
    for n, (kind, x, y, tall, spread) in enumerate(STANDING + ISLET):
        near = n < len(STANDING)
        ground = float(terrain.garden(x, y) if near else WATER_LEVEL + terrain.height(x, y))
        for material, mesh in grown[kind](tall, spread, 800 + 40 * n).items():
            parts.add("trees", material, mesh.turned("z", 47.0 * n).moved(x, y, ground))


def _forest(parts: Parts) -> None:
    """Plant the far shores: the nearer, the finer the trees; air pales them band by band."""
    rng = np.random.default_rng(70)
    bands = ((205, 420, 520), (420, 700, 3200), (700, 1100, 10000), (1100, 2600, 44000))
    for band, (near, far, count) in enumerate(bands):
        azimuth = np.radians(rng.uniform(*terrain.AZIMUTHS, 6 * count))
        distance = np.exp(rng.uniform(np.log(near), np.log(far), 6 * count))
        x, y = distance * np.sin(azimuth), distance * np.cos(azimuth)
        above = terrain.height(x, y)
        leafy = terrain.bumps(x, y, 75.0, 303)
        wanted = (above > 1.0) & (above < terrain.TREE_LINE)
        wanted &= rng.random(len(x)) < 0.85 - 0.25 * leafy
        x, y, above, leafy = (v[wanted][:count] for v in (x, y, above, leafy))
        tall = rng.uniform(6, 16, len(x)) * np.clip(0.5 + above / 14, 0.5, 1)
        places = np.column_stack([x, y, WATER_LEVEL + above - 0.3])
        broad = rng.random(len(x)) < np.clip(0.10 + 0.25 * leafy, 0, 0.6)
        for variant in range(5):
            mine = (np.arange(len(x)) % 5 == variant) & ~broad
            grown = trees.planted(_far_spruce(band, variant), places[mine], tall[mine], variant)
            parts.add("hills", f"forest_{band}", grown)
        leaves = trees.planted(_far_birch(band), places[broad], 0.75 * tall[broad], 9)
        parts.add("hills", f"birchwood_{band}", leaves)


def _far_spruce(band: int, variant: int) -> Mesh:
    """Return a spruce of height 1 as fine as it needs to be in a belt of far trees."""
    if band > 1:
        return trees.small_spruce((6, 4)[band - 2], (6, 5)[band - 2], 71 + variant)
    grown = trees.spruce(12.0, 1.8 + 0.3 * variant, 760 + variant, coarse=(2.6, 4.5)[band])[
        "needles"
    ]
    return Mesh(grown.vertices / 12.0, grown.normals, grown.uv, grown.faces)


def _far_birch(band: int) -> Mesh:
    """Return a birch of height 1 as fine as it needs to be in a belt of far trees."""
    if band > 1:
        return trees.small_crown(3, 75)
    grown = trees.thinned(trees.birch(9.0, 2.3, 775)["birch_leaf"], (6, 16)[band])
    return Mesh(grown.vertices / 9.0, grown.normals, grown.uv, grown.faces)


def cabin_frame() -> tuple[float, float, float]:
    """Return where the cabin across the water stands: x, y and the height of its floor."""
    return (*CABIN, WATER_LEVEL + float(terrain.height(*CABIN)) + 0.4)


def _cabin(parts: Parts) -> None:
    x, y, z = cabin_frame()
    parts.add("hills", "cabin", box((9.0, 6.0, 3.0), (x, y, z + 1.2), 0.02))
    for side in (-1, 1):
        slab = box((9.6, 4.1, 0.2), (0, side * 1.75, 0), 0.02).turned("x", -side * 32)
        parts.add("hills", "roofing", slab.moved(x, y, z + 3.75))
