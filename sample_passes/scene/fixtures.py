"""The lamps: their bodies and their luminous parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import outdoors
import terrain
from furniture import SHELF_BAYS, SHELF_FACE, SHELF_HEIGHTS, SHELF_Y, TABLE
from geometry import Mesh, box, joined, lathe, quad, tube
from house import roof_height
from parts import Parts

STRIP_X, STRIP_GAP = (SHELF_FACE + 0.012, SHELF_FACE + 0.028), 0.04
STRIP_HEIGHTS = [z - 0.015 for z in SHELF_HEIGHTS]
PENDANT_HEIGHT, PENDANT_RADIUS, PENDANT_GAP = 1.80, 0.105, 0.82
PATH_LIGHTS = (
    (-6.6, 7.7),
    (-7.4, 10.4),
    (-11.2, 13.6),
    (-12.0, 18.6),
    (-18.6, 26.0),
    (-29.5, 44.0),
)
UPLIGHTS = ((-10.7, 19.5), (-8.0, 27.3), (5.7, 25.2), (-15.0, 16.2))
LANTERNS = ((1.52, 9.35, 0.48), (1.98, 9.55, 0.72), (1.20, 9.75, 0.36))


@dataclass(frozen=True)
class Glow:
    """A luminous part of a light.

    Attributes
    ----------
    light : str
        Name of the light.
    mesh : Mesh
        Its surface.
    material : str
        What it is made of, as seen when the light is off.
    relative : float
        Radiance relative to the light's other parts.
    sampling : float
        How often it is looked for relative to other parts of lights that burn.
    """

    light: str
    mesh: Mesh
    material: str
    relative: float = 1.0
    sampling: float = 1.0

    @property
    def area(self) -> float:
        """Area in square metres."""
        corners = self.mesh.vertices[self.mesh.faces]
        cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        return float(np.linalg.norm(cross, axis=1).sum() / 2)


def build(parts: Parts) -> list[Glow]:
    """Add the lamps' bodies to the parts and return their luminous parts."""
    return [
        *_pendants(parts),
        *_floor_lamp(parts),
        *_shelf_strip(),
        *_table_lamp(parts),
        *_lanterns(parts),
        *_path_lights(parts),
        _uplights(parts),
        _cabin_windows(),
        *_frosted_window(parts),
    ]


def _globe(radius: float, low: float = 0.0, high: float = np.pi) -> Mesh:
    """Return a sphere, or a zone of one between two angles from the bottom."""
    angles = np.linspace(low, high, 28)
    return lathe([(radius * np.sin(a), -radius * np.cos(a)) for a in angles], 48)


def _pendants(parts: Parts) -> list[Glow]:
    x, y0 = TABLE
    glows = []
    for dy in (-PENDANT_GAP, 0.0, PENDANT_GAP):
        y, z = y0 + dy, PENDANT_HEIGHT
        glows.append(_globe(PENDANT_RADIUS, 0.0, 2.72).moved(x, y, z))
        cap = [
            (0.048, -0.012),
            (0.050, 0.0),
            (0.046, 0.032),
            (0.018, 0.05),
            (0.012, 0.11),
            (0, 0.11),
        ]
        parts.add("lamps", "brass", lathe(cap, 36).moved(x, y, z + PENDANT_RADIUS * 0.93))
        top = roof_height(x)
        parts.add("lamps", "black", tube((x, y, z + 0.2), (x, y, top), 0.0035))
        rose = lathe([(0, -0.03), (0.045, -0.03), (0.05, 0.03), (0, 0.03)], 32)
        parts.add("lamps", "brass", rose.moved(x, y, top - 0.02))
    return [Glow("pendants", joined(glows), "opal")]


def _floor_lamp(parts: Parts) -> list[Glow]:
    x, y = 2.38, 7.08
    parts.add("lamps", "bronze", lathe([(0, 0), (0.14, 0), (0.145, 0.012), (0, 0.018)]).moved(x, y))
    parts.add("lamps", "bronze", tube((x, y, 0.01), (x, y, 1.42), 0.011))
    low, high, bottom, top = 0.215, 0.185, 1.38, 1.68
    side = lathe([(low, bottom), (high, top)], 64).moved(x, y)
    ends = [
        lathe([(0.0, bottom + 0.012), (low - 0.004, bottom + 0.012)], 48),
        lathe([(high - 0.004, top - 0.012), (0.0, top - 0.012)], 48),
    ]
    return [
        Glow("floor_lamp", side, "shade", 0.55),
        Glow("floor_lamp", joined([e.moved(x, y) for e in ends]), "opal", 2.2),
    ]


def _shelf_strip() -> list[Glow]:
    edges = np.linspace(*SHELF_Y, SHELF_BAYS + 1)
    strips = []
    for z in STRIP_HEIGHTS:
        for y0, y1 in zip(edges[:-1], edges[1:], strict=True):
            corner = (STRIP_X[0], y0 + STRIP_GAP, z)
            across = (STRIP_X[1] - STRIP_X[0], 0, 0)
            strips.append(quad(corner, across, (0, y1 - y0 - 2 * STRIP_GAP, 0)))
    return [Glow("shelf_strip", _facing(joined(strips), np.array([0.0, 0.0, -1.0])), "opal")]


def _facing(mesh: Mesh, way: np.ndarray) -> Mesh:
    """Flip the triangles of a flat mesh so that they face the given way."""
    corners = mesh.vertices[mesh.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    faces = np.where((normals @ way > 0)[:, None], mesh.faces, mesh.faces[:, ::-1])
    flipped = np.where((mesh.normals @ way > 0)[:, None], mesh.normals, -mesh.normals)
    return Mesh(mesh.vertices, flipped, mesh.uv, faces)


def _table_lamp(parts: Parts) -> list[Glow]:
    x, y, z = -2.68, 7.46, 0.698
    foot = [
        (0, 0),
        (0.075, 0),
        (0.08, 0.012),
        (0.03, 0.03),
        (0.022, 0.12),
        (0.045, 0.16),
        (0, 0.16),
    ]
    parts.add("lamps", "ceramic_sand", lathe(foot, 40).moved(x, y, z))
    return [Glow("table_lamp", _globe(0.115).moved(x, y, z + 0.265), "opal")]


def _lanterns(parts: Parts) -> list[Glow]:
    glows = []
    for x, y, height in LANTERNS:
        wide = 0.42 * height + 0.06
        half = wide / 2
        bars = [
            box((0.016, 0.016, height), (x + sx * half, y + sy * half, height / 2 - 0.02), 0.002)
            for sx in (-1, 1)
            for sy in (-1, 1)
        ]
        for z in (0.0, height - 0.02):
            bars.append(box((wide + 0.03, wide + 0.03, 0.02), (x, y, z), 0.003))
        ring = lathe([(0.05, 0), (0.055, 0.004), (0.05, 0.008)], 24).turned("x", 90)
        bars.append(ring.moved(x, y, height + 0.04))
        parts.add("lamps", "black", *bars)
        radius, tall = 0.13 * height, 0.55 * height
        candle = [
            (0, 0.02),
            (radius, 0.02),
            (radius, tall),
            (radius * 0.8, tall + 0.01),
            (0, tall + 0.01),
        ]
        glows.append(lathe(candle, 32, smooth=False).moved(x, y))
    return [Glow("terrace_lantern", joined(glows), "opal")]


def _path_lights(parts: Parts) -> list[Glow]:
    """Add low lights beside the garden path and one at the end of the jetty."""
    x, y, z, turn = outdoors.jetty_frame()
    places = [(px, py, float(terrain.garden(px, py))) for px, py in PATH_LIGHTS]
    along = np.radians(turn)
    reach = outdoors.JETTY_LONG - 0.5
    places.append((x - reach * np.sin(along), y + reach * np.cos(along), z))
    glows = []
    for px, py, pz in places:
        parts.add("lamps", "black", tube((px, py, pz - 0.2), (px, py, pz + 0.52), 0.028))
        hat = lathe([(0, 0.70), (0.10, 0.70), (0.02, 0.76), (0, 0.76)])
        parts.add("lamps", "black", hat.moved(px, py, pz))
        drum = [(0, 0.53), (0.052, 0.53), (0.052, 0.69), (0, 0.69)]
        glows.append(lathe(drum, 24, smooth=False).moved(px, py, pz))
    return [Glow("terrace_lantern", joined(glows), "opal", 1.1, 1.5)]


def _uplights(parts: Parts) -> Glow:
    """Add lights sunk into the ground at the feet of trees, hidden by their collars."""
    glows = []
    for x, y in UPLIGHTS:
        z = float(terrain.garden(x, y))
        collar = [(0.115, -0.1), (0.115, 0.19), (0.10, 0.19), (0.10, -0.1)]
        parts.add("lamps", "black", lathe(collar, 24, smooth=False).moved(x, y, z))
        glows.append(lathe([(0, 0), (0.098, 0)], 24).moved(x, y, z + 0.09))
    lenses = _facing(joined(glows), np.array([0.0, 0.0, 1.0]))
    return Glow("terrace_lantern", lenses, "opal", 18.0, 1.5)


def _cabin_windows() -> Glow:
    """Return the lit windows of the cabin across the water."""
    x, y, z = outdoors.cabin_frame()
    panes = [
        quad((x + at, y - 3.02, z + 0.5), (1.1, 0, 0), (0, 0, 1.2)) for at in (-3.2, -0.6, 1.9)
    ]
    return Glow(
        "terrace_lantern", _facing(joined(panes), np.array([0.0, -1.0, 0.0])), "opal", 0.035, 0.15
    )


def _frosted_window(parts: Parts) -> list[Glow]:
    """Add the fill: a large frosted window in the left wall behind the camera."""
    y0, y1, z0, z1 = -2.7, -0.3, 0.5, 2.3
    for y in np.linspace(y0, y1, 4):
        parts.add("frames", "bronze", box((0.05, 0.06, z1 - z0), (-2.97, y, (z0 + z1) / 2), 0.004))
    for z in (z0, z1):
        parts.add("frames", "bronze", box((0.05, y1 - y0, 0.06), (-2.97, (y0 + y1) / 2, z), 0.004))
    pane = quad((-2.985, y0, z0), (0, y1 - y0, 0), (0, 0, z1 - z0))
    return [Glow("fill", _facing(pane, np.array([1.0, 0.0, 0.0])), "opal")]
