"""Puts the parts, lights and camera together as a Mitsuba scene."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import drjit as dr
import fixtures
import furniture
import house
import lights
import materials
import mitsuba as mi
import numpy as np
import outdoors
from geometry import Mesh
from integrator import CoverageIntegrator, LightPassIntegrator
from parts import Parts
from sources import Daylight, Strips
from viewpoint import EYE, FILM_MM, FOCAL_MM, HORIZON, YAW_DEGREES

MAX_DEPTH = 6


@dataclass(frozen=True)
class Model:
    """All geometry: solid parts, luminous parts, and the folder that holds their mesh files."""

    parts: dict[tuple[str, str], Mesh]
    glows: list[fixtures.Glow]
    folder: Path


@cache
def model() -> Model:
    """Model the scene once per process."""
    parts = Parts()
    house.build(parts)
    furniture.build(parts)
    outdoors.build(parts)
    glows = fixtures.build(parts)
    return Model(parts.merged(), glows, Path(tempfile.mkdtemp(prefix="meshes-")))


def load(
    burning: dict[str, np.ndarray], width: int, height: int, to_sun: list[float] | None = None
) -> tuple[mi.Scene, LightPassIntegrator]:
    """Return the scene and its integrator.

    Parameters
    ----------
    burning : dict of str to ndarray
        The lights that are on, each with the R, G, B factors on its strength as rendered.
    width, height : int
        Size of the picture in pixels.
    to_sun : list of float, optional
        Unit vector to the sun, if it does not stand where it stands in the sample.
    """
    description = {"type": "scene", "sensor": _camera(width, height), **materials.all_materials()}
    made = model()
    for (thing, material), mesh in made.parts.items():
        description[f"{thing}__{material}"] = _shape(f"{thing}__{material}", mesh, material)
    flux_area = {
        name: sum(g.area * g.relative for g in made.glows if g.light == name) for name in burning
    }
    radiances: dict[str, list[float]] = {}
    for number, glow in enumerate(made.glows):
        key = f"glow_{glow.light}_{number}"
        shape = _shape(key, glow.mesh, glow.material)
        if glow.light in burning:
            light = lights.LIGHTS[glow.light]
            luminance = light.amount / (np.pi * flux_area[glow.light] * lights.CD_PER_M2)
            rgb = np.array(lights.rgb_of_kelvin(light.kelvin)) * burning[glow.light]
            radiance = (rgb * luminance * glow.relative).tolist()
            shape["emitter"] = {
                "type": "area",
                "radiance": {"type": "rgb", "value": radiance},
                "sampling_weight": glow.sampling,
            }
            radiances[key] = radiance
        description[key] = shape
    scene = mi.load_dict(description)
    integrator = _integrator(burning, bool(radiances), to_sun or lights.to_sun())
    for number, glow in enumerate(made.glows):
        if glow.light == "shelf_strip" and glow.light in burning:
            radiance = radiances[f"glow_{glow.light}_{number}"]
            chance = glow.sampling / sum(g.sampling for g in made.glows if g.light in burning)
            integrator.strips = _strips(radiance, chance / glow.area)
    return scene, integrator


def _strips(radiance: list[float], area_pdf: float) -> Strips:
    y = furniture.SHELF_Y
    bay = (y[1] - y[0]) / furniture.SHELF_BAYS
    gap = fixtures.STRIP_GAP
    return Strips(fixtures.STRIP_X, y, fixtures.STRIP_HEIGHTS, bay, gap, radiance, area_pdf)


def _shape(key: str, mesh: Mesh, material: str) -> dict:
    return {
        "type": "ply",
        "filename": str(_mesh_file(key, mesh)),
        "bsdf": {"type": "ref", "id": material},
    }


def _mesh_file(key: str, mesh: Mesh) -> Path:
    """Write the mesh once and return its path."""
    path = model().folder / f"{key}.ply"
    if not path.exists():
        made = mi.Mesh(key, len(mesh.vertices), len(mesh.faces), mi.Properties(), True, True)
        values = mi.traverse(made)
        values["vertex_positions"] = mesh.vertices.astype(np.float32).ravel()
        values["vertex_normals"] = mesh.normals.astype(np.float32).ravel()
        values["vertex_texcoords"] = mesh.uv.astype(np.float32).ravel()
        values["faces"] = mesh.faces.astype(np.uint32).ravel()
        values.update()
        made.write_ply(str(path))
    return path


def _camera(width: int, height: int) -> dict:
    """Return a level camera; the picture is shifted so that the horizon sits where it should."""
    yaw = np.radians(YAW_DEGREES)
    target = np.array(EYE) + [np.sin(yaw), np.cos(yaw), 0.0]
    return {
        "type": "perspective",
        "fov": float(2 * np.degrees(np.arctan(FILM_MM / 2 / FOCAL_MM))),
        "fov_axis": "x",
        "principal_point_offset_y": 0.5 - HORIZON,
        "near_clip": 0.05,
        "far_clip": 20000.0,
        "to_world": mi.ScalarTransform4f().look_at(list(EYE), target.tolist(), [0, 0, 1]),
        "film": {
            "type": "hdrfilm",
            "width": width,
            "height": height,
            "pixel_format": "rgb",
            "component_format": "float32",
            "rfilter": {"type": "box"},
        },
        "sampler": {"type": "independent"},
    }


def _integrator(
    burning: dict[str, np.ndarray], has_fixtures: bool, to_sun: list[float]
) -> LightPassIntegrator:
    integrator = mi.load_dict({"type": "light_pass", "max_depth": MAX_DEPTH})
    integrator.panes, integrator.portals = house.PANES, house.PORTALS
    integrator.room = house.ROOM
    integrator.has_fixtures = has_fixtures
    integrator.has_daylight = bool(set(burning) & {"sun", "sky"})
    cosine = float(np.cos(np.radians(lights.SUN_RADIUS)))
    sun, sky = [0.0] * 3, [0.0] * 3
    if "sun" in burning:
        light = lights.LIGHTS["sun"]
        solid_angle = 2 * np.pi * (1 - cosine)
        rgb = np.array(lights.rgb_of_kelvin(light.kelvin)) * burning["sun"]
        sun = (rgb * light.amount / (solid_angle * lights.CD_PER_M2)).tolist()
    if "sky" in burning:
        light = lights.LIGHTS["sky"]
        rgb = np.array(lights.rgb_of_kelvin(light.kelvin)) * burning["sky"]
        sky = (rgb * light.amount / (_sky_irradiance(to_sun) * lights.CD_PER_M2)).tolist()
    integrator.daylight = Daylight(sun, sky, to_sun, cosine)
    return integrator


def _sky_irradiance(to_sun: list[float]) -> float:
    """Return the luminance-weighted irradiance of the unscaled sky on the ground."""
    azimuth, sine2 = np.meshgrid(
        np.linspace(0, 2 * np.pi, 720, endpoint=False), np.linspace(0, 1, 361)
    )
    flat, up = np.sqrt(sine2), np.sqrt(1 - sine2)
    directions = mi.Vector3f(
        (flat * np.cos(azimuth)).ravel(), (flat * np.sin(azimuth)).ravel(), up.ravel()
    )
    unit = Daylight([0.0] * 3, [1.0] * 3, to_sun, 1.0)
    rgb = np.array(unit.sky(directions))
    rgb = rgb if rgb.shape[0] == 3 else rgb.T
    return float(np.pi * np.mean(np.array([0.2126, 0.7152, 0.0722]) @ rgb))


def coverage_integrator() -> CoverageIntegrator:
    """Return the integrator that renders alpha."""
    integrator = mi.load_dict({"type": "coverage"})
    integrator.panes = house.PANES
    return integrator


def things() -> dict[str, int]:
    """Return the integer that stands for each named object in the id pass; 0 is the open sky."""
    names = dict.fromkeys(thing for thing, _ in model().parts)
    return {"sky": 0, **{name: n for n, name in enumerate(names, start=1)}}


def render_ids(size: tuple[int, int]) -> np.ndarray:
    """Return the object seen at the middle of each pixel, uint32 of shape (H, W)."""
    width, height = size
    built, _ = load({}, width, height)
    y, x = np.mgrid[0:height, 0:width]
    film = mi.Point2f((x.ravel() + 0.5) / width, (y.ravel() + 0.5) / height)
    ray, _ = built.sensors()[0].sample_ray(0.0, 0.5, film, mi.Point2f(0.5))
    shape = np.array(dr.reinterpret_array(mi.UInt32, built.ray_intersect(ray).shape))
    numbers = things()
    number_of_shape = np.zeros(int(shape.max()) + 1, np.uint32)
    for candidate in built.shapes():
        registered = int(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(candidate))[0])
        thing = candidate.id().split("__")[0]
        if registered < len(number_of_shape):
            number_of_shape[registered] = numbers.get(thing, numbers["lamps"])
    return number_of_shape[shape].reshape(height, width)
