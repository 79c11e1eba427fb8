"""Materials of the house: BSDF descriptions with procedural textures, no mirrors, no caustics."""

from __future__ import annotations

from functools import cache
from typing import Any

import mitsuba as mi
import numpy as np
import terrain
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
    deck = textures.wood((0.040, 0.031, 0.025), (0.145, 0.116, 0.091), 31)
    return {
        "floor": _satin(_image(floor, 11.4, 6.4), 0.38, 0.45),
        "roof_boards": _matt(_image(boards, 6.0, 3.9)),
        "beam": _matt(_image(textures.wood((0.30, 0.20, 0.115), (0.56, 0.41, 0.26), 10), 2.0, 0.5)),
        "oak": _satin(_image(_oak(8), 2.0, 0.5), 0.42, 0.4),
        "walnut": _satin(_image(_walnut(9), 2.0, 0.5), 0.40, 0.4),
        "deck": _matt(_image(deck, 2.0, 0.5)),
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
        "bark": _matt(_flat((0.10, 0.072, 0.052))),
        **outdoor_materials(),
        **{f"book_{n}": _matt(_flat(c)) for n, c in enumerate(BOOK_COLOURS)},
    }


def _leafy(colour: tuple[float, ...], through: float) -> Description:
    """Return a thin leaf that lets a share of the light through (0: none, 2: all of it)."""
    return {
        "type": "principledthin",
        "base_color": _flat(colour),
        "roughness": 0.9,
        "diff_trans": through,
        "spec_trans": 0.0,
    }


def _aired(colour: tuple[float, ...], distance: float) -> Description:
    """Return a matt colour as it looks through that many metres of air."""
    share = float(terrain.veil_share(np.array(distance), np.array(25.0)))
    return _matt(_flat(tuple(np.array(colour) * (1 - share) + terrain.VEIL * share)))


def _water() -> Description:
    """Return still water with lanes of ripples; it gives back a part of what a mirror would."""
    rough = textures.ripples(90)
    water = {
        "type": "principled",
        "base_color": _flat((0.010, 0.020, 0.024)),
        "roughness": _image(rough, 1500.0, 1500.0),
        "specular": 0.3,
    }
    dim = {"type": "diffuse", "reflectance": _flat((0.006, 0.011, 0.013))}
    return {
        "type": "twosided",
        "bsdf": {"type": "blendbsdf", "weight": WATER_DIMMED, "a": water, "b": dim},
    }


WATER_DIMMED = 0.74  # by day no camera holds room and lake; a studio would grade the window down
FOREST_BANDS = (290.0, 540.0, 880.0, 1700.0)  # metres of air before each belt of trees


def outdoor_materials() -> dict[str, Description]:
    """Return the materials of garden, water and far shores."""
    meadow = textures.plaster((0.050, 0.055, 0.024), 41, 0.35)
    belts = {}
    for band, distance in enumerate(FOREST_BANDS):
        belts[f"forest_{band}"] = _aired((0.020, 0.030, 0.017), distance)
        belts[f"birchwood_{band}"] = _aired((0.050, 0.060, 0.022), distance)
    return {
        "needles": _leafy((0.040, 0.060, 0.032), 0.5),
        "pine_needles": _leafy((0.052, 0.074, 0.038), 0.5),
        "pine_bark": _matt(_flat((0.16, 0.085, 0.050))),
        "birch_bark": _matt(_image(textures.birch_bark(46), 1.0, 1.0)),
        "birch_leaf": _leafy((0.115, 0.145, 0.045), 0.9),
        "grass": _leafy((0.080, 0.096, 0.034), 0.8),
        "straw": _leafy((0.150, 0.118, 0.062), 0.8),
        "soil": _matt(_flat((0.035, 0.028, 0.022))),
        "meadow": _matt(_image(meadow, 9.0, 9.0)),
        "path_stone": _matt(_flat((0.125, 0.120, 0.112))),
        "boulder": _matt(_flat((0.085, 0.082, 0.078))),
        "boat": _matt(_flat((0.20, 0.045, 0.030))),
        "cabin": _aired((0.095, 0.030, 0.022), 290.0),
        "roofing": _aired((0.045, 0.045, 0.047), 290.0),
        "land": _matt(
            {
                "type": "bitmap",
                "bitmap": mi.Bitmap(np.ascontiguousarray(terrain.land_albedo())),
                "raw": True,
                "wrap_mode": "clamp",
            }
        ),
        "water": _water(),
        **belts,
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
