"""A layer over an OpenUSD scene that brings a balance into its lights.

UsdLux says what a light emits: intensity x 2^exposure x colour x, where it is enabled, the colour
of its temperature (UsdLuxLightAPI, "inputs:exposure" and the inputs beside it). The layer leaves
the intensity as it was authored, adds stops to the exposure and multiplies the colour. Where a
light shines by its colour temperature and the mood asks for kelvin, the layer says these kelvin,
and the colour takes the rest, so that the emission comes out exactly as balanced. A light that is
off gets an intensity of 0. Nothing of the scene itself is changed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from evenfall.errors import Fault, RecipeError, UsageError
from evenfall.handback.lamps import Handback, HandbackLight
from evenfall.recipe import Recipe
from evenfall.recipe.words.suggesting import did_you_mean

__all__ = ["as_layer"]

Prim = Any
Stage = Any


_USD_KELVIN = (1000.0, 10000.0)  # what UsdLux knows the colour of
_LEAST = 1e-4  # components of a colour temperature below it cannot be divided by


def as_layer(handback: Handback, recipe: Recipe) -> str:
    """Write a layer of overs, as text (.usda), to be put over the scene as its strongest sublayer.

    Parameters
    ----------
    handback : Handback
        From `hand_back`.
    recipe : Recipe
        Names the scene, and where each light stands in it.

    Raises
    ------
    RecipeError
        When the recipe names no scene, or lights that are not there; with every fault.
    UsageError
        When the OpenUSD library is not installed.
    """
    try:
        from pxr import Sdf
    except ImportError:
        raise UsageError(
            "a layer over a scene needs the OpenUSD library; install the extra 'usd': "
            "pip install 'evenfall[usd]'"
        ) from None
    stage = _stage_of(recipe)
    layer = Sdf.Layer.CreateAnonymous(".usda")
    layer.comment = f"{handback.title}, balanced by evenfall from {handback.recipe}"
    faults: list[Fault] = []
    taken: dict[str, str] = {}
    for light in handback.lights:
        for prim in _prims(stage, recipe, light, faults):
            path = str(prim.GetPath())
            if path in taken:
                place = ("lights", light.name, "prim")
                faults.append(
                    recipe.fault(
                        place,
                        f"{path} is balanced by {taken[path]} already",
                        "each light of the scene under one light of the recipe",
                    )
                )
                continue
            taken[path] = light.name
            _override(layer, prim, light)
    if not taken and not faults:
        faults.append(
            recipe.fault(
                ("lights",),
                "no light says where it stands in the scene",
                'prim = "/House/Lights/Pendants" at each light that the scene holds',
            )
        )
    if faults:
        raise RecipeError(faults)
    text: str = layer.ExportToString()
    return text


def _stage_of(recipe: Recipe) -> Stage:
    from pxr import Tf, Usd

    named = recipe.model.project.stage
    if named is None:
        raise RecipeError(
            [
                recipe.fault(
                    ("project",),
                    "found no scene to hand back to",
                    'project.stage = "house.usda", the scene that the view was rendered from',
                )
            ]
        )
    path = recipe.beside(named)
    if not Path(path).is_file():
        raise RecipeError([recipe.fault(("project", "stage"), f"{path} does not exist")])
    try:
        stage = Usd.Stage.Open(str(path))
    except Tf.ErrorException as error:
        reason = str(error).strip().splitlines()[-1].strip()
        raise RecipeError(
            [
                recipe.fault(
                    ("project", "stage"),
                    f"{path} cannot be opened as an OpenUSD scene: {reason}",
                    "a .usda, .usdc, .usd or .usdz file",
                )
            ]
        ) from None
    return stage


def _prims(
    stage: Stage, recipe: Recipe, light: HandbackLight, faults: list[Fault]
) -> Iterator[Prim]:
    """Lights of the scene that a light of the recipe stands for."""
    from pxr import Sdf, Usd, UsdLux

    for named in light.prims:
        place = ("lights", light.name, "prim")
        if not Sdf.Path.IsValidPathString(named) or not Sdf.Path(named).IsAbsoluteRootOrPrimPath():
            faults.append(
                recipe.fault(place, f'"{named}" is no path of a prim', 'one such as "/House/Lamp"')
            )
            continue
        prim = stage.GetPrimAtPath(named)
        if not prim:
            known = [str(each.GetPath()) for each in stage.Traverse()]
            hint = did_you_mean(named, known)
            faults.append(recipe.fault(place, f"{named} is not in the scene", hint=hint))
            continue
        found = [each for each in Usd.PrimRange(prim) if each.HasAPI(UsdLux.LightAPI)]
        if not found:
            faults.append(recipe.fault(place, f"{named} is no light, and none is under it"))
        yield from found


def _override(layer: Any, prim: Prim, light: HandbackLight) -> None:
    from pxr import Sdf, UsdLux

    over = Sdf.CreatePrimInLayer(layer, prim.GetPath())
    lux = UsdLux.LightAPI(prim)
    if not light.is_on:
        _write(over, lux.GetIntensityAttr(), lambda _: 0.0)
        return
    stops = math.log2(light.power)
    if stops:
        _write(over, lux.GetExposureAttr(), lambda exposure: exposure + stops)
    colour = _with_kelvin(over, lux, light)
    if colour != (1.0, 1.0, 1.0):
        _write(
            over,
            lux.GetColorAttr(),
            lambda was: type(was)(*(a * b for a, b in zip(was, colour, strict=True))),
        )


def _with_kelvin(over: Any, lux: Any, light: HandbackLight) -> tuple[float, float, float]:
    """Say the kelvin that are asked for where the light has such; give what is left for colour."""
    from pxr import UsdLux

    temperature = lux.GetColorTemperatureAttr()
    asked, colour = light.asked_kelvin, light.colour
    shines_by_it = lux.GetEnableColorTemperatureAttr().Get() and not _samples(temperature)
    if not shines_by_it or asked is None or not _USD_KELVIN[0] <= asked <= _USD_KELVIN[1]:
        return colour
    before = UsdLux.BlackbodyTemperatureAsRgb(temperature.Get())
    after = UsdLux.BlackbodyTemperatureAsRgb(asked)
    if min(after) < _LEAST:
        return colour
    _write(over, temperature, lambda _: asked)
    red, green, blue = (
        factor * old / new for factor, old, new in zip(colour, before, after, strict=True)
    )
    return (red, green, blue)


def _samples(attribute: Any) -> bool:
    return bool(attribute.GetNumTimeSamples())


def _write(over: Any, attribute: Any, change: Callable[[Any], Any]) -> None:
    """Override an attribute, at each of its times if it moves."""
    from pxr import Sdf

    spec = Sdf.AttributeSpec(over, attribute.GetName(), attribute.GetTypeName())
    if not _samples(attribute):
        spec.default = change(attribute.Get())
        return
    for time in attribute.GetTimeSamples():
        over.layer.SetTimeSample(spec.path, time, change(attribute.Get(time)))
