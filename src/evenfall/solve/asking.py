"""What lights a spot of the picture: each light's share, and what a stop more of it would do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.develop.developed import DevelopedMood
from evenfall.light.primaries import luminance_weights
from evenfall.light.units import MIDDLE_GREY, READ_FROM_PICTURE
from evenfall.mix.averaging import mean_of
from evenfall.passes.source import PassSource

__all__ = ["LightAt", "Spot", "ask_spot", "light_luminances"]

Floats = npt.NDArray[np.float32]
Vector = npt.NDArray[np.float64]
Box = tuple[slice, ...]

_TOP = 1 - 0.5 / 255  # of an 8-bit display
_UNEXPLAINED = 0.005


@dataclass(frozen=True)
class LightAt:
    """One light at a spot.

    Parameters
    ----------
    light, title : str
        From the recipe.
    share : float
        Of the spot's luminance, 0 to 1.
    stops : float
        Where this light alone would put the spot, from middle grey.
    cd_m2 : float or None
        Luminance that it gives to the spot, when the passes' scale is known.
    spot_stops, picture_stops : float
        By how many stops the spot, and the mean of the whole picture, would go up with a stop more
        of this light.
    """

    light: str
    title: str
    share: float
    stops: float
    cd_m2: float | None
    spot_stops: float
    picture_stops: float


@dataclass(frozen=True)
class Spot:
    """What a spot of a mood comes to.

    Parameters
    ----------
    mood, title : str
        Key and title.
    stops : float
        From middle grey, after exposure and white balance, before the look.
    cd_m2 : float or None
        Its luminance in the scene, when the passes' scale is known.
    clipped_share : float
        Share of the spot with a channel at the top of the display.
    lights : tuple of LightAt
        Lights that give anything there, the strongest first.
    notes : tuple of str
        What a person should know.
    caution : str
        What figures in cd/m2 are, and what they are not.
    """

    mood: str
    title: str
    stops: float
    cd_m2: float | None
    clipped_share: float
    lights: tuple[LightAt, ...]
    notes: tuple[str, ...] = ()
    caution: str = READ_FROM_PICTURE


def light_luminances(
    developed: DevelopedMood, source: PassSource, lights: Sequence[str]
) -> dict[str, Floats]:
    """Luminance that each light gives to a mood, after exposure and white balance.

    Parameters
    ----------
    developed : DevelopedMood
        Its balance and camera count.
    source : PassSource
        The passes that it was developed from.
    lights : sequence of str
        Which lights.

    Returns
    -------
    dict of str to ndarray, shape (H, W), float32
        0.18 is middle grey.
    """
    weights = luminance_weights(developed.space) @ developed.camera.matrix
    found: dict[str, Floats] = {}
    for batch in source.batches(lights):
        for light, image in source.read(batch).items():
            factors = weights * np.array(developed.balance.lights[light].factors)
            total = np.zeros(image.planes[0].shape, np.float32)
            for factor, plane in zip(factors, image.planes, strict=True):
                total += np.float32(factor) * plane
            found[light] = total
    return {light: found[light] for light in lights}


def ask_spot(
    developed: DevelopedMood, source: PassSource, titles: dict[str, str], area: Floats
) -> Spot:
    """Say what lights an area of a mood.

    Parameters
    ----------
    developed : DevelopedMood
        The mood.
    source : PassSource
        The passes that it was developed from.
    titles : dict of str to str
        Titles of the lights.
    area : ndarray, shape (H, W)
        Weights, 0 to 1.

    Raises
    ------
    ValueError
        When the area is empty.

    Examples
    --------
    >>> from evenfall.camera.meter import spot_weights
    >>> from evenfall.develop.engine import develop_mood
    >>> from evenfall.develop.example import example_recipe
    >>> from evenfall.develop.opening import open_passes
    >>> recipe = example_recipe()
    >>> lamp = ask_spot(develop_mood(recipe, "dusk"), open_passes(recipe), {},
    ...                 spot_weights((0.3, 0.4), 0.02, 48, 32)).lights[0]
    >>> lamp.light, lamp.share > 0.8
    ('lamp', True)
    """
    if not area.max() > 0:
        raise ValueError("the area is empty")
    box = _box(area)
    weights = area[box].astype(np.float64)
    share = weights / weights.sum()
    on = developed.balance.on
    there, whole, broken = _lights(developed, source, on, box, share)
    mixed, mean = _mixed(developed, box, share)
    scale = developed.luminance_scale
    to_scene = None if scale is None else scale / _exposure(developed)
    lights = [
        LightAt(
            light=light,
            title=titles.get(light, light),
            share=there[light] / mixed if mixed > 0 else 0.0,
            stops=_stops(there[light]),
            cd_m2=None if to_scene is None else there[light] * to_scene,
            spot_stops=_rise(there[light], mixed),
            picture_stops=_rise(whole[light], mean),
        )
        for light in sorted(on, key=lambda each: -there[each])
        if there[light] > 0
    ]
    return Spot(
        mood=developed.name,
        title=developed.mood.title,
        stops=_stops(mixed),
        cd_m2=None if to_scene is None else mixed * to_scene,
        clipped_share=_clipped(developed, box, share),
        lights=tuple(lights),
        notes=(
            *_notes(developed, sum(there.values()), mixed),
            *(_on_broken(titles.get(light, light), count) for light, count in broken.items()),
        ),
    )


def _box(area: Floats) -> Box:
    """Give the rows and columns in which an area lies."""
    return tuple(
        slice(int(found[0]), int(found[-1]) + 1)
        for found in (np.flatnonzero(area.any(axis=1)), np.flatnonzero(area.any(axis=0)))
    )


def _lights(
    developed: DevelopedMood, source: PassSource, lights: Sequence[str], box: Box, share: Vector
) -> tuple[dict[str, float], dict[str, float], dict[str, int]]:
    """Luminance of each light in an area, and over the whole; its pixels that are no numbers."""
    weights = luminance_weights(developed.space) @ developed.camera.matrix
    there, whole, broken = {}, {}, {}
    for batch in source.batches(lights):
        for light, image in source.read(batch).items():
            factors = weights * np.array(developed.balance.lights[light].factors)
            inside = [float((share * plane[box]).sum()) for plane in image.planes]
            there[light] = float(factors @ inside)
            whole[light] = float(factors @ [mean_of(plane) for plane in image.planes])
            if image.census.nan or image.census.infinite:
                broken[light] = image.census.nan + image.census.infinite
    return there, whole, broken


def _mixed(developed: DevelopedMood, box: Box, share: Vector) -> tuple[float, float]:
    """Luminance of the mix in an area, and over the whole picture."""
    weights = luminance_weights(developed.space) @ developed.camera.matrix
    there = [float((share * plane[box]).sum()) for plane in developed.mix.planes]
    whole = developed.mix.planes.mean(axis=(1, 2), dtype=np.float64)
    return float(weights @ there), float(weights @ whole)


def _exposure(developed: DevelopedMood) -> float:
    """Factor of the camera on the luminance of white in the passes' primaries."""
    weights = luminance_weights(developed.space)
    return float(weights @ developed.camera.matrix @ np.ones(3) / weights.sum())


def _clipped(developed: DevelopedMood, box: Box, share: Vector) -> float:
    rows, columns = box
    chain = developed.chain("sRGB")
    shown = developed.scene(chain).encode_rows(chain, rows)
    at_top = shown[:, :, columns].max(axis=0) >= _TOP
    return float(share[at_top].sum())


def _stops(luminance: float) -> float:
    return math.log2(luminance / MIDDLE_GREY) if luminance > 0 else -math.inf


def _rise(part: float, whole: float) -> float:
    """Give the stops that a whole goes up when a part of it doubles."""
    return math.log2(1 + part / whole) if whole > 0 and part > -whole else 0.0


def _notes(developed: DevelopedMood, explained: float, mixed: float) -> tuple[str, ...]:
    if mixed <= 0 or abs(explained / mixed - 1) <= _UNEXPLAINED:
        return ()
    return (
        f"{abs(1 - explained / mixed):.1%} of the spot's light comes from changes that the mood "
        "makes in regions; the shares leave them out",
    )


def _on_broken(title: str, count: int) -> str:
    of_one, of_many = "pixel of its pass is no number and was", "pixels of its pass are no numbers"
    some = f"1 {of_one}" if count == 1 else f"{count:,} {of_many} and were"
    return f"{title}: {some} replaced; what is missing there is missing here"
