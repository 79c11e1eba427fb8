"""What light comes from or through, as arithmetic: panes and openings, strips, sun and sky."""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi

PANE_IOR = 1.52
STRIP_REACH = 0.5


@dataclass(frozen=True)
class Rect:
    """An axis-aligned rectangle: a pane, or an opening that the sky is sampled through.

    Attributes
    ----------
    axis : int
        Coordinate that is constant (0: x, 1: y).
    at : float
        Its value in metres.
    low, high : tuple of float
        Bounds of the other horizontal coordinate and of z.
    """

    axis: int
    at: float
    low: tuple[float, float]
    high: tuple[float, float]

    @property
    def area(self) -> float:
        """Area in square metres."""
        return (self.high[0] - self.low[0]) * (self.high[1] - self.low[1])

    def crossing(self, ray: mi.Ray3f, reach: mi.Float) -> tuple[mi.Bool, mi.Float]:
        """Return whether a ray crosses the rectangle before ``reach``, and how far away."""
        distance = (self.at - ray.o[self.axis]) / ray.d[self.axis]
        point = ray(distance)
        a, z = point[1 - self.axis], point.z
        hit = (distance > 1e-4) & (distance < reach)
        hit &= (a > self.low[0]) & (a < self.high[0]) & (z > self.low[1]) & (z < self.high[1])
        return hit, distance


@dataclass(frozen=True)
class Strips:
    """Where the shelves' strips are, so that a point between shelves can sample those near it.

    Attributes
    ----------
    x, y : tuple of float
        Bounds of the strips across and along the shelves.
    heights : list of float
        Height of each level, lowest first.
    bay, gap : float
        Length of a bay, and the unlit length at each of its ends.
    radiance : list of float
        Radiance of a strip.
    area_pdf : float
        Density per area with which the scene's emitter sampling picks a point of the strips.
    """

    x: tuple[float, float]
    y: tuple[float, float]
    heights: list[float]
    bay: float
    gap: float
    radiance: list[float]
    area_pdf: float

    def _level(self, z: mi.Float) -> mi.Float:
        """Return the height of the first strip above z."""
        level = mi.Float(self.heights[-1])
        for height in reversed(self.heights):
            level = dr.select(z < height - 1e-3, height, level)
        return level

    def _zone(self, p: mi.Point3f) -> mi.Bool:
        return (p.x > self.x[0] - 0.05) & (p.z < self.heights[-1] - 1e-3)

    def sample_near(self, si, u: mi.Point2f):
        """Return a point of the nearest strip above si as a direction sample, and its radiance."""
        y = si.p.y + STRIP_REACH * (2 * u.y - 1)
        target = mi.Point3f(dr.lerp(self.x[0], self.x[1], u.x), y, self._level(si.p.z))
        ds = dr.zeros(mi.DirectionSample3f, dr.width(si.t))
        ds.p, ds.n = target, mi.Normal3f(0, 0, -1)
        ds.dist = dr.norm(target - si.p)
        ds.d = (target - si.p) / ds.dist
        ds.pdf = self.area_pdf * dr.square(ds.dist) / dr.maximum(dr.abs(ds.d.z), 1e-6)
        along = (y - self.y[0]) / self.bay
        inside = (along - dr.floor(along)) * self.bay
        lit = (inside > self.gap) & (inside < self.bay - self.gap) & (ds.d.z > 0)
        lit &= (y > self.y[0]) & (y < self.y[1]) & self._zone(si.p)
        return ds, dr.select(lit, mi.Color3f(self.radiance), 0.0)

    def pdf_near(self, si, ds) -> mi.Float:
        """Return the density, per steradian, with which sample_near picks ds.p."""
        near = self._zone(si.p) & (dr.abs(ds.p.y - si.p.y) < STRIP_REACH)
        near &= dr.abs(ds.p.z - self._level(si.p.z)) < 1e-4
        near &= (ds.p.x > self.x[0] - 1e-4) & (ds.p.x < self.x[1] + 1e-4)
        per_area = 1 / (2 * STRIP_REACH * (self.x[1] - self.x[0]))
        cosine = dr.maximum(dr.abs(ds.d.z), 1e-6)
        return dr.select(near, per_area * dr.square(ds.dist) / cosine, 0.0)


@dataclass(frozen=True)
class Daylight:
    """Sun and sky of one render; either may be black.

    Attributes
    ----------
    sun_rgb : list of float
        Radiance of the sun's disc.
    sky_rgb : list of float
        Colour and strength that multiply the sky's shape.
    to_sun : list of float
        Unit vector towards the middle of the sun.
    sun_cosine : float
        Cosine of the disc's angular radius.
    """

    sun_rgb: list[float]
    sky_rgb: list[float]
    to_sun: list[float]
    sun_cosine: float

    def sky(self, d: mi.Vector3f) -> mi.Color3f:
        """Return the sky's radiance from direction d: paler near the horizon and the sun."""
        up = dr.clip(d.z, 0, 1)
        share = dr.power(1 - up, 3.0)
        colour = dr.lerp(mi.Color3f(0.78, 0.98, 1.42), mi.Color3f(1.45, 1.40, 1.32), share)
        toward = dr.clip(dr.dot(d, mi.Vector3f(self.to_sun)), 0, 1)
        colour += mi.Color3f(1.5, 1.3, 1.0) * dr.power(toward, 12.0)
        return dr.select(d.z > -0.02, colour * mi.Color3f(self.sky_rgb), 0.0)

    def in_sun(self, d: mi.Vector3f) -> mi.Bool:
        """Return whether direction d meets the sun's disc."""
        return dr.dot(d, mi.Vector3f(self.to_sun)) > self.sun_cosine

    @property
    def sun_pdf(self) -> float:
        """Density of a direction sampled within the disc, per steradian."""
        return 1.0 / (2 * dr.pi * (1 - self.sun_cosine))


def pane_reflectance(cosine: mi.Float) -> mi.Float:
    """Return the reflectance of a thin plate: both faces, all inner bounces (2R / (1 + R))."""
    surface = mi.fresnel(dr.abs(cosine), PANE_IOR)[0]
    return 2 * surface / (1 + surface)
