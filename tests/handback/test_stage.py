"""The layer over a scene: opened by the OpenUSD library, emission changes as balanced.

What a light emits is worked out here from what UsdLux documents for its LightAPI: intensity x
2^exposure x colour x colour of its temperature, where that is enabled.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import evenfall
from evenfall.errors import RecipeError
from evenfall.view import handback_text

pytest.importorskip("pxr", reason="pip install 'evenfall[usd]'")

from pxr import Sdf, Usd, UsdLux

RECIPE = """\
format = 1
[project]
stage = "house.usda"
[lights.sun]
file = "sun.exr"
role = "key"
prim = "/House/Sun"
[lights.sky]
file = "sky.exr"
role = "sky"
prim = "/House/Dome"
rendered = { kelvin = 6500 }
[lights.lamp]
file = "lamp.exr"
prim = ["/House/Pendants", "/House/Spot"]
rendered = { kelvin = 3000 }
[moods.day]
lights.sun = { stops = 0.5, rgb = [1.2, 1.0, 0.7] }
lights.sky = { stops = -2, kelvin = 9000 }
lights.lamp = { factor = 3.3, kelvin = 2200 }
[moods.night]
lights.sun = "off"
"""


def house(path: Path) -> None:
    """A scene whose lights are authored in every way."""
    stage = Usd.Stage.CreateNew(str(path))
    sun = UsdLux.DistantLight.Define(stage, "/House/Sun")
    sun.CreateIntensityAttr(37.0)
    sun.CreateExposureAttr(4.5)
    sun.CreateColorAttr((1.0, 0.9, 0.8))
    dome = UsdLux.DomeLight.Define(stage, "/House/Dome")
    dome.CreateEnableColorTemperatureAttr(True)
    dome.CreateColorTemperatureAttr(6500)
    one = UsdLux.SphereLight.Define(stage, "/House/Pendants/One")
    one.CreateEnableColorTemperatureAttr(True)
    one.CreateColorTemperatureAttr(3100)
    one.CreateIntensityAttr(1500)
    two = UsdLux.SphereLight.Define(stage, "/House/Pendants/Two")
    two.CreateIntensityAttr().Set(100.0, 1.0)
    two.CreateExposureAttr().Set(2.0, 1.0)
    two.CreateExposureAttr().Set(3.0, 24.0)
    UsdLux.DiskLight.Define(stage, "/House/Spot")
    UsdLux.SphereLight.Define(stage, "/House/Untouched").CreateIntensityAttr(5.0)
    stage.Save()


def emission(stage: Usd.Stage, path: str, time: float | None = None) -> np.ndarray:
    light = UsdLux.LightAPI(stage.GetPrimAtPath(path))
    at = Usd.TimeCode.Default() if time is None else Usd.TimeCode(time)
    colour = np.array(light.GetColorAttr().Get(at), float)
    if light.GetEnableColorTemperatureAttr().Get(at):
        kelvin = light.GetColorTemperatureAttr().Get(at)
        colour = colour * np.array(UsdLux.BlackbodyTemperatureAsRgb(kelvin))
    return light.GetIntensityAttr().Get(at) * 2.0 ** light.GetExposureAttr().Get(at) * colour


@pytest.fixture
def view(corner: evenfall.Recipe) -> evenfall.View:
    path = corner.path.with_name("back.toml")
    path.write_text(RECIPE, encoding="utf-8")
    house(path.with_name("house.usda"))
    return evenfall.open(path)


def over(view: evenfall.View, mood: str) -> Usd.Stage:
    layer = view.recipe.path.with_name(f"{mood}.usda")
    layer.write_text(handback_text(view.handback(mood), view.recipe, ".usda"), encoding="utf-8")
    root = Sdf.Layer.CreateAnonymous(".usda")
    root.subLayerPaths = [str(layer), str(view.recipe.path.with_name("house.usda"))]
    return Usd.Stage.Open(root)


@pytest.mark.parametrize(
    ("path", "light", "time"),
    [
        ("/House/Sun", 0, None),
        ("/House/Dome", 1, None),
        ("/House/Pendants/One", 2, None),
        ("/House/Pendants/Two", 2, 1.0),
        ("/House/Pendants/Two", 2, 12.0),
        ("/House/Pendants/Two", 2, 24.0),
        ("/House/Spot", 2, None),
    ],
)
def test_emission_changes_by_the_factors(
    view: evenfall.View, path: str, light: int, time: float | None
) -> None:
    before = Usd.Stage.Open(str(view.recipe.path.with_name("house.usda")))
    factors = view.handback("day").lights[light].factors
    expected = emission(before, path, time) * factors
    assert emission(over(view, "day"), path, time) == pytest.approx(expected, rel=3e-6)


def test_kelvin_stand_in_the_scene_where_the_light_shines_by_them(view: evenfall.View) -> None:
    stage = over(view, "day")
    kelvin = UsdLux.LightAPI(stage.GetPrimAtPath("/House/Dome")).GetColorTemperatureAttr().Get()
    assert kelvin == 9000
    spot = UsdLux.LightAPI(stage.GetPrimAtPath("/House/Spot"))
    assert not spot.GetEnableColorTemperatureAttr().Get()


def test_a_light_that_is_off_is_dark_and_others_stay(view: evenfall.View) -> None:
    stage = over(view, "night")
    assert emission(stage, "/House/Sun").tolist() == [0, 0, 0]
    assert emission(stage, "/House/Untouched").tolist() == [5, 5, 5]
    assert emission(stage, "/House/Spot").tolist() == [1, 1, 1]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ('lights.sun.prim="/House/Sunn"', 'did you mean "/House/Sun"'),
        ('lights.sun.prim="House Sun"', "is no path of a prim"),
        ('lights.sun.prim="/House/Spot"', "is balanced by sun already"),
        ('project.stage="nowhere.usda"', "does not exist"),
        ('project.stage="sun.exr"', "cannot be opened as an OpenUSD scene"),
        ("project.stage=", "found no scene"),
    ],
)
def test_scenes_and_lights_that_are_not_there(view: evenfall.View, change: str, says: str) -> None:
    if change.endswith("="):
        text = RECIPE.replace('stage = "house.usda"', "")
        view.recipe.path.write_text(text, encoding="utf-8")
        wrong = evenfall.open(view.recipe.path)
    else:
        wrong = view.with_changes(change)
    with pytest.raises(RecipeError, match=says):
        handback_text(wrong.handback("day"), wrong.recipe, ".usda")


def test_a_prim_without_lights(view: evenfall.View) -> None:
    path = view.recipe.path.with_name("house.usda")
    stage = Usd.Stage.Open(str(path))
    stage.DefinePrim("/House/Walls")
    stage.Save()
    wrong = view.with_changes('lights.sun.prim="/House/Walls"')
    with pytest.raises(RecipeError, match="is no light, and none is under it"):
        handback_text(wrong.handback("day"), wrong.recipe, ".usda")
