"""Materials of the house: BSDF descriptions with procedural textures, no mirrors, no caustics."""

from __future__ import annotations

from functools import cache
from typing import Any

import mitsuba as mi
import numpy as np
import textures

Description = dict[str, Any]


def _image(array: np.ndarray, metres_u: float, metres_v: float) -> Description:
    """Return a repeating texture that spans the given metres."""
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.ascontiguousarray(array)),
        "raw": True,
        "to_uv": mi.ScalarTransform3f().scale([1 / metres_u, 1 / metres_v]),
    }


def _flat(colour: tuple[float, ...]) -> Description:
    return {"type": "rgb", "value": list(colour)}


def _matt(reflectance: Description) -> Description:
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": reflectance}}


def _satin(colour: Description, roughness: float, specular: float = 0.5) -> Description:
    """Return an oiled or lacquered dielectric surface."""
    principled = {
        "type": "principled",
        "base_color": colour,
        "roughness": roughness,
        "specular": specular,
    }
    return {"type": "twosided", "bsdf": principled}


def _metal(colour: tuple[float, ...], roughness: float) -> Description:
    principled = {
        "type": "principled",
        "base_color": _flat(colour),
        "roughness": roughness,
        "metallic": 1.0,
    }
    return {"type": "twosided", "bsdf": principled}


@cache
def _oak(seed: int) -> np.ndarray:
    return textures.wood((0.20, 0.115, 0.055), (0.46, 0.30, 0.165), seed)


@cache
def _walnut(seed: int) -> np.ndarray:
    return textures.wood((0.055, 0.030, 0.017), (0.19, 0.105, 0.058), seed)


@cache
def all_materials() -> dict[str, Description]:
    """Return every material by name."""
    floor = textures.planks(
        (6.4, 11.4), 300, (0.20, 2.2), (0.14, 0.085, 0.045), (0.43, 0.29, 0.17), 3, variety=0.10
    )
    boards = textures.planks(
        (3.9, 6.0), 200, (0.13, 3.5), (0.46, 0.37, 0.27), (0.74, 0.65, 0.52), 21, variety=0.06
    )
    deck = textures.wood((0.13, 0.105, 0.085), (0.33, 0.28, 0.235), 31)
    return {
        "floor": _satin(_image(floor, 11.4, 6.4), 0.38, 0.45),
        "roof_boards": _matt(_image(boards, 6.0, 3.9)),
        "beam": _matt(_image(textures.wood((0.30, 0.20, 0.115), (0.56, 0.41, 0.26), 10), 2.0, 0.5)),
        "oak": _satin(_image(_oak(8), 2.0, 0.5), 0.42, 0.4),
        "walnut": _satin(_image(_walnut(9), 2.0, 0.5), 0.40, 0.4),
        "deck": _satin(_image(deck, 2.0, 0.5), 0.6, 0.3),
        "plaster": _matt(_image(textures.plaster((0.70, 0.675, 0.63), 5), 2.0, 2.0)),
        "clay": _matt(_image(textures.plaster((0.36, 0.31, 0.26), 6, 0.09), 2.0, 2.0)),
        "stone": _satin(
            _image(textures.stone((0.20, 0.19, 0.18), (0.50, 0.48, 0.45), 7), 1.0, 1.0), 0.4
        ),
        "rug": _matt(_image(textures.rug((0.60, 0.55, 0.47), (0.13, 0.12, 0.12), 11), 2.9, 2.0)),
        "linen": _matt(_image(textures.woven((0.46, 0.44, 0.40), 12), 0.3, 0.3)),
        "wool_green": _matt(_image(textures.woven((0.105, 0.155, 0.125), 13), 0.3, 0.3)),
        "wool_rust": _matt(_image(textures.woven((0.44, 0.155, 0.065), 14), 0.3, 0.3)),
        "wool_cream": _matt(_image(textures.woven((0.66, 0.61, 0.52), 15), 0.3, 0.3)),
        "leather": _satin(_flat((0.20, 0.095, 0.045)), 0.5, 0.4),
        "painting": _matt(
            {
                "type": "bitmap",
                "bitmap": mi.Bitmap(textures.painting(17)),
                "raw": True,
                "to_uv": mi.ScalarTransform3f().scale([1 / 0.8, 1 / 1.0]),
            }
        ),
        "bronze": _metal((0.10, 0.085, 0.07), 0.45),
        "brass": _metal((0.62, 0.43, 0.20), 0.38),
        "black": _satin(_flat((0.025, 0.024, 0.023)), 0.5, 0.4),
        "opal": _matt(_flat((0.74, 0.73, 0.70))),
        "shade": _matt(_flat((0.70, 0.64, 0.54))),
        "sheer": {
            "type": "principledthin",
            "base_color": _flat((0.74, 0.72, 0.68)),
            "roughness": 0.9,
            "diff_trans": 1.0,
            "spec_trans": 0.0,
        },
        "ceramic_white": _satin(_flat((0.70, 0.67, 0.62)), 0.45),
        "ceramic_dark": _satin(_flat((0.055, 0.06, 0.065)), 0.5),
        "ceramic_sand": _satin(_flat((0.47, 0.36, 0.25)), 0.55),
        "fruit": _satin(_flat((0.62, 0.40, 0.06)), 0.5),
        "leaf": _satin(_flat((0.055, 0.115, 0.035)), 0.5, 0.4),
        "olive_leaf": _matt(_flat((0.15, 0.19, 0.105))),
        "bark": _matt(_flat((0.12, 0.085, 0.06))),
        "needles": _matt(_flat((0.030, 0.050, 0.028))),
        "grass": _matt(_flat((0.17, 0.19, 0.08))),
        "meadow": _matt(_image(textures.plaster((0.095, 0.12, 0.05), 41, 0.35), 9.0, 9.0)),
        "shore": _matt(_image(textures.plaster((0.050, 0.066, 0.048), 42, 0.35), 120.0, 60.0)),
        "ridge": _matt(_image(textures.plaster((0.075, 0.100, 0.115), 43, 0.2), 400.0, 200.0)),
        "far_ridge": _matt(_image(textures.plaster((0.155, 0.195, 0.24), 44, 0.1), 900.0, 500.0)),
        "water": _satin(_flat((0.028, 0.045, 0.055)), 0.25, 0.6),
        **{f"book_{n}": _matt(_flat(c)) for n, c in enumerate(BOOK_COLOURS)},
    }


BOOK_COLOURS = [
    (0.62, 0.58, 0.50),
    (0.42, 0.36, 0.28),
    (0.10, 0.13, 0.16),
    (0.30, 0.10, 0.06),
    (0.16, 0.20, 0.15),
    (0.50, 0.34, 0.12),
    (0.68, 0.66, 0.62),
    (0.06, 0.06, 0.06),
    (0.22, 0.27, 0.31),
]
