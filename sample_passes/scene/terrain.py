"""The land round the fjord as one function of place: garden, shores, forests and mountains.

The land is a heap of long mounds (:data:`MOUNDS`), each a crest that rises and falls along a line,
roughened by ridged noise. Distant land is a grid in azimuth and distance round the camera, so that
it is as fine in the picture far away as it is near. Air is drawn as what it does: with distance,
albedo and surface normals turn towards those of a pale, even veil.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from geometry import Mesh, grid_faces, smooth_normals
from scipy.ndimage import gaussian_filter, map_coordinates
from viewpoint import EYE

WATER_LEVEL = -9.0
AZIMUTHS, DISTANCES = (-46.0, 44.0), (120.0, 14000.0)
COLUMNS, ROWS = 1200, 600
TREE_LINE = 430.0  # metres above the water
VEIL = np.array([0.098, 0.118, 0.150])  # albedo of the air over many kilometres
VEIL_LENGTH = 10500.0  # metres in which the air hides 63 % of what is behind
VEIL_NORMAL = np.array([0.0, -0.45, 0.89])


@dataclass(frozen=True)
class Mound:
    """A long hill.

    Attributes
    ----------
    crest : list of (x, y, height)
        Points of its crest line in metres, heights above the water.
    reach : float
        Half width of its foot, in metres.
    rough : float
        How much ridged noise there is in it, as a share of its height.
    grain : float
        Length of the largest ridges in metres.
    """

    crest: list[tuple[float, float, float]]
    reach: float
    rough: float
    grain: float


MOUNDS = [
    # a wooded point that reaches into the water from the left, and an islet before it
    Mound([(-330, 210, 22), (-150, 262, 12), (-74, 285, 3.2)], 46, 0.5, 40),
    Mound([(-33, 196, 3.0), (-17, 199, 4.2)], 15, 0.35, 14),
    # near slopes on both sides
    Mound([(1150, 250, 230), (520, 640, 120), (215, 860, 34), (120, 930, 6)], 260, 0.45, 190),
    Mound([(-1700, 900, 330), (-850, 1350, 230), (-330, 1640, 40), (-215, 1720, 4)], 420, 0.5, 260),
    # the mountains behind them
    Mound(
        [(3300, 1900, 800), (1500, 2900, 560), (640, 3500, 230), (340, 3800, 30)], 950, 0.36, 800
    ),
    Mound(
        [(-3900, 2700, 900), (-2000, 3900, 690), (-1150, 4500, 380), (-620, 5000, 40)],
        1200,
        0.5,
        760,
    ),
    # the head of the fjord
    Mound([(-4200, 9200, 1150), (-1500, 9600, 800), (-200, 10200, 380)], 2300, 0.34, 1700),
    Mound([(4600, 7600, 1000), (1700, 8600, 720), (500, 9000, 280)], 2000, 0.34, 1500),
    Mound([(-1500, 12800, 1000), (900, 12900, 860), (3200, 12500, 1150)], 2700, 0.34, 1900),
]


@cache
def _tile() -> np.ndarray:
    """Return smooth noise of zero mean and unit deviation that repeats; 32 bumps a side."""
    field = np.random.default_rng(404).standard_normal((1024, 1024))
    field = gaussian_filter(field, 13.0, mode="wrap")
    return (field / field.std()).astype(np.float32)


def bumps(x: np.ndarray, y: np.ndarray, length: float, seed: int) -> np.ndarray:
    """Return smooth noise of unit deviation at places in metres, its bumps ``length`` apart."""
    turn = 0.7 + 1.3 * seed
    along = (x * np.cos(turn) - y * np.sin(turn)) * (32 / length) + 137.7 * seed
    across = (x * np.sin(turn) + y * np.cos(turn)) * (32 / length) + 59.3 * seed
    places = np.stack([np.ravel(along), np.ravel(across)])
    return map_coordinates(_tile(), places, order=1, mode="grid-wrap").reshape(np.shape(along))


def ridges(x: np.ndarray, y: np.ndarray, length: float, octaves: int, seed: int) -> np.ndarray:
    """Return ridged noise, about -1 to 1: sharp crests, gullies between, finer ones on crests."""
    total, weight, strength, sum_of_strengths = np.zeros(x.shape), 1.0, 1.0, 0.0
    for octave in range(octaves):
        crest = (
            1 - np.minimum(np.abs(bumps(x, y, length / 2**octave, seed + octave)), 1.6) / 1.6
        ) ** 2
        total = total + strength * weight * crest
        sum_of_strengths += strength
        weight = np.clip(1.5 * crest, 0.15, 1)
        strength *= 0.45
    return 2.6 * total / sum_of_strengths - 0.8


def _from_crest(mound: Mound, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return distance to the crest line and the crest's height at the nearest point of it."""
    nearest, height = np.full(x.shape, np.inf), np.zeros(x.shape)
    for (x0, y0, h0), (x1, y1, h1) in zip(mound.crest[:-1], mound.crest[1:], strict=True):
        dx, dy = x1 - x0, y1 - y0
        share = np.clip(((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy), 0, 1)
        apart = np.hypot(x - x0 - share * dx, y - y0 - share * dy)
        closer = apart < nearest
        nearest = np.where(closer, apart, nearest)
        height = np.where(closer, h0 + share * (h1 - h0), height)
    return nearest, height


def height(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the height of distant land above the water in metres; negative under water."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    land = np.full(x.shape, -6.0)
    for number, mound in enumerate(MOUNDS):
        apart, _ = _from_crest(mound, x, y)
        near = apart < 1.3 * mound.reach + 0.8 * mound.grain
        land[near] = np.maximum(land[near], _rise(mound, x[near], y[near], 20 * number))
    return land


def _rise(mound: Mound, x: np.ndarray, y: np.ndarray, seed: int) -> np.ndarray:
    """Return the height of one mound above the water at places of shape (N,)."""
    grain = mound.grain
    bent_x = x + 0.3 * grain * bumps(x, y, 1.6 * grain, seed + 15)
    bent_y = y + 0.3 * grain * bumps(x, y, 1.6 * grain, seed + 16)
    apart, crest = _from_crest(mound, bent_x, bent_y)
    share = 1 - apart / (mound.reach * (0.35 + 0.65 * np.sqrt(crest / mound.crest[0][2])))
    rise = np.clip(share, 0, 1) ** 1.25
    rough = ridges(x, y, grain, 5, seed)
    shape = crest * (rise + mound.rough * rough * np.minimum(rise * 1.6, 0.8))
    return np.where(share > 0, shape, np.maximum(25 * share, -6.0))


def veil_share(distance: np.ndarray, above_water: np.ndarray) -> np.ndarray:
    """Return how much of what is seen is air, 0 to 1; the air is thicker low over the water."""
    thick = 0.55 + 0.45 * np.exp(-np.maximum(above_water, 0) / 260)
    return 1 - np.exp(-distance * thick / VEIL_LENGTH)


def _wedge(rows: int, columns: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return x, y and distance of a grid round the camera, each of shape (rows, columns)."""
    azimuth = np.radians(np.linspace(*AZIMUTHS, columns))
    distance = np.geomspace(*DISTANCES, rows)[:, None]
    x = EYE[0] + distance * np.sin(azimuth)
    y = EYE[1] + distance * np.cos(azimuth)
    return x, y, np.broadcast_to(distance, x.shape)


@cache
def _distant() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return x, y, distance and height above the water on the grid of the distant land."""
    x, y, distance = _wedge(ROWS, COLUMNS)
    return x, y, distance, height(x, y)


def distant_land() -> Mesh:
    """Return all land beyond the water; texture coordinates run over the grid from 0 to 1."""
    x, y, distance, above = _distant()
    vertices = np.stack([x, y, WATER_LEVEL + above], -1).reshape(-1, 3)
    faces = grid_faces(ROWS, COLUMNS)[:, ::-1]
    normals = smooth_normals(vertices, faces)
    normals *= np.where(normals[:, 2:] < 0, -1, 1)
    share = veil_share(distance, above).reshape(-1, 1)
    normals = normals * (1 - share) + VEIL_NORMAL * share
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    v, u = np.meshgrid(np.linspace(0, 1, ROWS), np.linspace(0, 1, COLUMNS), indexing="ij")
    dry = above.ravel() > -5.9
    faces = faces[dry[faces].any(1)]
    return Mesh(vertices, normals, np.stack([u, v], -1).reshape(-1, 2), faces)


@cache
def land_albedo() -> np.ndarray:
    """Return the reflectance of the distant land on its grid, shape (rows, columns, 3)."""
    x, y, distance, above = _distant()
    spot = bumps(x, y, 9.0, 301)[..., None]
    cloud = bumps(x, y, 260.0, 302)
    patch = bumps(x, y, 75.0, 303)
    forest = np.array([0.020, 0.030, 0.017]) * (1 + 0.28 * spot + 0.2 * cloud[..., None])
    birch = np.array([0.050, 0.060, 0.022]) * (1 + 0.2 * spot)
    rock = np.array([0.088, 0.084, 0.080]) * (1 + 0.22 * bumps(x, y, 35.0, 304)[..., None])
    snow = np.array([0.25, 0.26, 0.27])
    colour = _blend(forest, birch, np.clip(patch - 0.7 - above / 220, 0, 1) * 0.8)
    colour = _blend(colour, rock, np.clip((above - TREE_LINE - 90 * cloud) / 120, 0, 1))
    gully = ridges(x, y, 300.0, 5, 330)
    colour = _blend(colour, snow, np.clip((above - 620 - 160 * gully) / 160, 0, 1))
    shingle = np.array([0.105, 0.100, 0.090]) * (1 + 0.2 * spot)
    colour = _blend(colour, shingle, np.clip(1.3 - above / 0.9, 0, 1))
    colour = _blend(colour, np.broadcast_to(VEIL, colour.shape), veil_share(distance, above))
    return np.clip(colour, 0.004, 0.5).astype(np.float32)


def _blend(under: np.ndarray, over: np.ndarray, share: np.ndarray) -> np.ndarray:
    return under * (1 - share[..., None]) + over * share[..., None]


def garden(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the height (z, in metres) of the ground between the house and the water.

    A lawn beside the house, a bank below it, and flat meadow down to a shore with small bays.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    lawn = -0.36 + 0.05 * np.maximum(-x - 7, 0) ** 0.9 + 0.05 * bumps(x, y, 7.0, 350)
    down = np.clip((y - 8.5 - 0.10 * np.maximum(-x - 4, 0)) / 72, 0, None)
    bank = 8.1 * (1 - np.exp(-down * 3.4))
    shore = 1.2 * np.clip((y - 66 + 5 * bumps(x, y, 34.0, 351)) / 9, 0, 3)
    swell = 0.22 * bumps(x, y, 13.0, 352) * np.clip(down * 6, 0, 1)
    return lawn * np.exp(-down * 2) - bank - shore + swell
