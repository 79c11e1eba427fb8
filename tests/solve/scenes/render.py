"""Render the small scenes that first balances are tested on, with the renderer library Mitsuba 3.

    python render.py [SCENE ...]       beside this file; needs mitsuba

Each scene becomes one layered OpenEXR file of half floats, a layer for each light, 160 x 100
pixels, all bounced light included, nothing clamped or denoised. Geometry, materials and lights are
made up.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import mitsuba as mi
import numpy as np
import OpenEXR

mi.set_variant("scalar_rgb")
from mitsuba import ScalarTransform4f as T  # noqa: E402

SIZE = (160, 100)
SAMPLES = 96
Shape = dict[str, Any]
Lights = Mapping[str, dict[str, Shape]]

WARM, NEUTRAL, DAY, COOL = (
    (1.94, 0.80, 0.19),
    (1.41, 0.92, 0.53),
    (1.15, 0.98, 0.76),
    (0.75, 1.0, 1.5),
)
"""Light of luminance 1 in BT.709: 2700 K, 4000 K, 5200 K, and a clear sky, about 12,000 K."""


def matte(*rgb: float) -> Shape:
    return {"type": "twosided", "bsdf": {"type": "diffuse",
            "reflectance": {"type": "rgb", "value": list(rgb)}}}  # fmt: skip


WHITE, GREY, WOOD = matte(0.78, 0.77, 0.74), matte(0.35, 0.35, 0.36), matte(0.36, 0.22, 0.13)
GREEN, BRICK, CLOTH = matte(0.10, 0.17, 0.06), matte(0.38, 0.17, 0.11), matte(0.22, 0.26, 0.32)


def box(low: tuple[float, ...], high: tuple[float, ...], bsdf: Shape) -> Shape:
    low, high = np.array(low), np.array(high)
    to_world = T().translate(list((low + high) / 2)).scale(list((high - low) / 2))
    return {"type": "cube", "to_world": to_world, "bsdf": bsdf}


def emitter(rgb: tuple[float, ...], level: float) -> Shape:
    return {"type": "area", "radiance": {"type": "rgb", "value": [level * c for c in rgb]}}


def globe(at: tuple[float, ...], radius: float, rgb: tuple[float, ...], level: float) -> Shape:
    return {"type": "sphere", "center": list(at), "radius": radius, "bsdf": WHITE,
            "emitter": emitter(rgb, level)}  # fmt: skip


def bar(
    low: tuple[float, ...], high: tuple[float, ...], rgb: tuple[float, ...], level: float
) -> Shape:
    return {**box(low, high, WHITE), "emitter": emitter(rgb, level)}


def sun(direction: tuple[float, ...], rgb: tuple[float, ...], level: float) -> Shape:
    return {"type": "directional", "direction": list(direction),
            "irradiance": {"type": "rgb", "value": [level * c for c in rgb]}}  # fmt: skip


def sky(rgb: tuple[float, ...], level: float) -> Shape:
    return {"type": "constant", "radiance": {"type": "rgb", "value": [level * c for c in rgb]}}


def camera(eye: tuple[float, ...], target: tuple[float, ...], fov: float) -> Shape:
    look = T().look_at(origin=list(eye), target=list(target), up=[0, 0, 1])
    film = {"type": "hdrfilm", "width": SIZE[0], "height": SIZE[1], "rfilter": {"type": "box"},
            "pixel_format": "rgb", "component_format": "float32"}  # fmt: skip
    return {"type": "perspective", "to_world": look, "fov": fov, "film": film,
            "sampler": {"type": "independent", "sample_count": SAMPLES}}  # fmt: skip


def room(*, window: bool, table: bool = True) -> dict[str, Shape]:
    """Six by five metres, three high; a window in the far wall where asked."""
    shapes = {
        "floor": box((-3, -2.5, -0.1), (3, 2.5, 0), WOOD),
        "ceiling": box((-3, -2.5, 3), (3, 2.5, 3.1), WHITE),
        "left": box((-3.1, -2.5, 0), (-3, 2.5, 3), WHITE),
        "right": box((3, -2.5, 0), (3.1, 2.5, 3), WHITE),
        "back": box((-3, -2.6, 0), (3, -2.5, 3), WHITE),
        "sofa": box((-2.6, 0.4, 0), (-0.6, 1.4, 0.75), CLOTH),
        "shelf": box((2.4, 0.2, 0), (3, 2.3, 1.9), WOOD),
    }
    if window:
        shapes |= {
            "below": box((-3, 2.5, 0), (3, 2.6, 0.8), WHITE),
            "above": box((-3, 2.5, 2.5), (3, 2.6, 3), WHITE),
            "beside_l": box((-3, 2.5, 0.8), (-1.0, 2.6, 2.5), WHITE),
            "beside_r": box((1.6, 2.5, 0.8), (3, 2.6, 2.5), WHITE),
            "ground": box((-60, 2.7, -0.6), (60, 80, -0.5), GREEN),
            "hedge": box((-40, 20, -0.5), (40, 22, 1.2), GREEN),
        }
    else:
        shapes["front"] = box((-3, 2.5, 0), (3, 2.6, 3), WHITE)
    if table:
        shapes |= {
            "table": box((0.2, -0.3, 0.70), (1.9, 0.8, 0.75), WOOD),
            "leg": box((1.0, 0.2, 0), (1.1, 0.3, 0.7), WOOD),
            "vase": {"type": "sphere", "center": [0.7, 0.3, 0.9], "radius": 0.14, "bsdf": BRICK},
        }
    return shapes


ROOM_CAMERA = camera((-1.4, -2.3, 1.5), (0.5, 2.0, 1.25), 74)


def sunny_room() -> tuple[Shape, dict[str, Shape], Lights]:
    """A room with a window, low sun on the floor, pendants over the table, a strip on the shelf."""
    lights = {
        "sun": {"sun": sun((0.35, -1.0, -0.55), DAY, 40)},
        "sky": {"sky": sky(COOL, 4)},
        "pendants": {
            "one": globe((0.7, 0.25, 1.75), 0.11, WARM, 30),
            "two": globe((1.4, 0.25, 1.75), 0.11, WARM, 30),
        },
        "shelf_strip": {"strip": bar((2.38, 0.25, 1.86), (2.42, 2.25, 1.89), NEUTRAL, 25)},
    }
    return ROOM_CAMERA, room(window=True), lights


def from_the_window() -> tuple[Shape, dict[str, Shape], Lights]:
    """The same room seen from its window, which is not in view: sun on the floor, strong lamps."""
    lights = {
        "sun": {"sun": sun((-0.3, -1.0, -0.75), DAY, 20)},
        "sky": {"sky": sky(COOL, 0.8)},
        "pendants": {
            "one": globe((0.7, 0.25, 1.75), 0.11, WARM, 30),
            "two": globe((1.4, 0.25, 1.75), 0.11, WARM, 30),
        },
        "picture_light": {"strip": bar((-1.6, -2.48, 2.2), (-0.4, -2.4, 2.23), NEUTRAL, 40)},
    }
    return camera((0.3, 2.3, 1.5), (-0.2, -2.0, 1.2), 76), room(window=True), lights


def overcast_room() -> tuple[Shape, dict[str, Shape], Lights]:
    """The room under an even grey sky, with no sun, and a lamp beside the sofa."""
    lights = {
        "sky": {"sky": sky((1.0, 1.0, 1.05), 900)},
        "floor_lamp": {"lamp": globe((-2.7, 1.9, 1.6), 0.16, WARM, 2500)},
        "pendants": {"one": globe((1.0, 0.25, 1.75), 0.15, NEUTRAL, 3000)},
    }
    return ROOM_CAMERA, room(window=True), lights


def lamp_room() -> tuple[Shape, dict[str, Shape], Lights]:
    """A room without a window: ceiling light, floor lamp, cove and a screen."""
    lights = {
        "ceiling_light": {"panel": bar((-0.5, -0.5, 2.97), (0.9, 0.9, 2.99), NEUTRAL, 6)},
        "floor_lamp": {"lamp": globe((-2.6, 1.9, 1.5), 0.16, WARM, 12)},
        "cove": {"strip": bar((-2.9, 2.42, 2.7), (2.9, 2.46, 2.74), WARM, 10)},
        "screen": {"screen": bar((0.4, 2.42, 1.1), (1.7, 2.44, 1.85), (0.6, 1.0, 1.6), 1.2)},
    }
    return ROOM_CAMERA, room(window=False), lights


def studio() -> tuple[Shape, dict[str, Shape], Lights]:
    """A set whose key is a lamp: an armchair before a backdrop, with key, fill, rim and wash."""
    shapes = {
        "floor": box((-6, -6, -0.1), (6, 4, 0), GREY),
        "backdrop": box((-6, 3.9, 0), (6, 4, 6), GREY),
        "seat": box((-0.5, 0, 0.2), (0.5, 0.9, 0.45), CLOTH),
        "rest": box((-0.5, 0.8, 0.45), (0.5, 0.95, 1.1), CLOTH),
        "arm_l": box((-0.62, 0, 0.2), (-0.5, 0.9, 0.7), WOOD),
        "arm_r": box((0.5, 0, 0.2), (0.62, 0.9, 0.7), WOOD),
        "ball": {"type": "sphere", "center": [1.2, 0.1, 0.25], "radius": 0.25, "bsdf": WHITE},
    }
    lights = {
        "key": {"softbox": bar((-3.0, -2.6, 1.8), (-2.2, -2.5, 2.8), DAY, 90)},
        "fill": {"panel": bar((2.6, -3.0, 0.5), (2.7, -1.0, 2.5), DAY, 4)},
        "rim_spot": {"strip": bar((1.6, 2.6, 2.6), (1.9, 2.7, 2.9), NEUTRAL, 120)},
        "backdrop_wash": {"strip": bar((-1.5, 3.0, 0.02), (1.5, 3.1, 0.06), NEUTRAL, 40)},
    }
    return camera((0, -4.2, 1.2), (0, 0.5, 0.75), 42), shapes, lights


def house() -> dict[str, Shape]:
    """A house of two floors on a lawn, with windows to see through."""
    return {
        "lawn": box((-60, -40, -0.2), (60, 60, 0), GREEN),
        "path": box((-0.8, -12, 0), (0.8, 0, 0.02), GREY),
        "wall_l": box((-6, 0, 0), (-3.6, 0.3, 3), WHITE),
        "wall_m": box((-1.4, 0, 0), (1.0, 0.3, 3), WHITE),
        "wall_r": box((4.4, 0, 0), (6, 0.3, 3), WHITE),
        "sill_l": box((-3.6, 0, 0), (-1.4, 0.3, 0.5), WHITE),
        "sill_r": box((1.0, 0, 0), (4.4, 0.3, 0.3), WHITE),
        "upper": box((-6, 0, 2.6), (6, 0.3, 5.6), BRICK),
        "side_l": box((-6, 0, 0), (-5.8, 8, 5.6), WHITE),
        "side_r": box((5.8, 0, 0), (6, 8, 5.6), WHITE),
        "back": box((-6, 7.8, 0), (6, 8, 5.6), WHITE),
        "roof": box((-6.4, -0.6, 5.6), (6.4, 8.4, 5.9), GREY),
        "slab": box((-6, 0.3, 2.6), (6, 8, 2.8), WHITE),
        "floor": box((-6, 0.3, -0.05), (6, 8, 0.05), WOOD),
        "tree": {"type": "sphere", "center": [-9.5, 3, 4], "radius": 2.6, "bsdf": GREEN},
        "trunk": box((-9.7, 2.9, 0), (-9.3, 3.1, 2), WOOD),
    }


HOUSE_CAMERA = camera((7.5, -13.5, 1.6), (-0.3, 1.0, 2.5), 56)
HOUSE_LAMPS: Lights = {
    "rooms": {
        "one": bar((-3.2, 2.5, 2.5), (-1.8, 3.5, 2.58), WARM, 12),
        "two": bar((1.6, 2.5, 2.5), (3.6, 3.5, 2.58), WARM, 12),
    },
    "porch_lamp": {"lamp": globe((0.0, -0.18, 2.3), 0.13, WARM, 40)},
    "garden_spots": {
        "one": globe((-4.6, -1.0, 0.12), 0.08, NEUTRAL, 60),
        "two": globe((5.0, -1.0, 0.12), 0.08, NEUTRAL, 60),
    },
}


def house_by_day() -> tuple[Shape, dict[str, Shape], Lights]:
    """The house in the sun."""
    lights = {"sun": {"sun": sun((-0.6, 0.75, -0.6), DAY, 25)}, "sky": {"sky": sky(COOL, 2.2)}}
    return HOUSE_CAMERA, house(), {**lights, **HOUSE_LAMPS}


def house_by_night() -> tuple[Shape, dict[str, Shape], Lights]:
    """The house under a moon and a night sky."""
    lights = {
        "moon": {"moon": sun((0.5, 0.75, -0.8), (0.85, 1.0, 1.3), 0.10)},
        "night_sky": {"sky": sky((0.5, 0.95, 2.2), 0.02)},
    }
    return HOUSE_CAMERA, house(), {**lights, **HOUSE_LAMPS}


SCENES: dict[str, Callable[[], tuple[Shape, dict[str, Shape], Lights]]] = {
    each.__name__: each
    for each in (
        *(sunny_room, from_the_window, overcast_room, lamp_room, studio),
        *(house_by_day, house_by_night),
    )
}


def without_light(shape: Shape) -> Shape:
    """Lamps stay where they are when they are off."""
    return {key: part for key, part in shape.items() if key != "emitter"}


def rounded(picture: Any) -> Any:
    """Half floats with 8 bits of significand: far below the noise, and easier to pack."""
    bits = np.ascontiguousarray(picture.astype(np.float16)).view(np.uint16)
    return ((bits + 4) & ~np.uint16(7)).astype(np.uint16).view(np.float16)


def render(name: str) -> None:
    view, shapes, lights = SCENES[name]()
    layers = {}
    for number, (light, own) in enumerate(lights.items()):
        scene: dict[str, Any] = {"type": "scene", "sensor": view,
                                 "integrator": {"type": "path", "max_depth": 10}}  # fmt: skip
        scene |= shapes | {f"{light}_{key}": part for key, part in own.items()}
        for other, parts in lights.items():
            if other != light:
                dark = {f"{other}_{k}": without_light(p) for k, p in parts.items() if "bsdf" in p}
                scene |= dark
        picture = np.array(mi.render(mi.load_dict(scene), seed=number + 1))
        layers[light] = rounded(np.minimum(picture, 6e4))
        print(name, light, picture.mean(), flush=True)
    header = {"compression": OpenEXR.PIZ_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File(header, layers).write(str(Path(__file__).with_name(f"{name}.exr")))


if __name__ == "__main__":
    for chosen in sys.argv[1:] or SCENES:
        render(chosen)
