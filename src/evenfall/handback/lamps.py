"""What a mood's balance comes to for each light: factors, lumens, candela, kelvin."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from evenfall.light.primaries import RgbSpace, luminance_weights
from evenfall.light.tint import light_rgb, rendered_xy
from evenfall.light.units import READ_FROM_PICTURE
from evenfall.mix.balance import Balance
from evenfall.recipe import Recipe
from evenfall.recipe.gains import Watts
from evenfall.recipe.lights import Rendered, Role
from evenfall.recipe.tints import InKelvin

__all__ = ["CAUTION", "Handback", "HandbackLight", "hand_back"]

CAUTION = f"These figures follow from a balance that was found by eye. {READ_FROM_PICTURE}"


@dataclass(frozen=True)
class HandbackLight:
    """One light of a mood, as the next render needs it.

    Parameters
    ----------
    name, title, role : str
        From the recipe; the title is the name where it says none.
    prims : tuple of str
        Where it stands in an OpenUSD scene.
    power : float
        Factor on its luminous flux, relative to how it was rendered; 0 when it is off.
    factors : tuple of 3 floats
        Factors on its R, G, B, in the passes' primaries: power and colour together.
    lumens, candela, watts : float or None
        What it comes to, where the recipe says what it was rendered with.
    kelvin, duv : float or None
        Colour of the light in the mood, where it is known.
    asked_kelvin : float or None
        Colour temperature that the mood asks for by name.
    """

    name: str
    title: str
    role: Role
    prims: tuple[str, ...]
    power: float
    factors: tuple[float, float, float]
    lumens: float | None
    candela: float | None
    watts: float | None
    kelvin: float | None
    duv: float | None
    asked_kelvin: float | None

    @property
    def is_on(self) -> bool:
        """Whether it gives any light."""
        return max(self.factors) > 0

    @property
    def stops(self) -> float | None:
        """Stops on its power; None when it is off."""
        return math.log2(self.power) if self.power > 0 else None

    @property
    def colour(self) -> tuple[float, float, float]:
        """Factors on its colour alone, which keep its luminous flux; 1 for a light that is off."""
        if not self.power > 0:
            return (1.0, 1.0, 1.0)
        red, green, blue = (factor / self.power for factor in self.factors)
        return (red, green, blue)


@dataclass(frozen=True)
class Handback:
    """All lights of one mood, as the next render needs them.

    Parameters
    ----------
    recipe, mood, title : str
        File name of the recipe; key and title of the mood.
    space : str
        The passes' primaries, in which R, G, B factors are given.
    lights : tuple of HandbackLight
        In the recipe's order.
    caution : str
        What the figures are not.
    """

    recipe: str
    mood: str
    title: str
    space: str
    lights: tuple[HandbackLight, ...]
    caution: str = CAUTION


def hand_back(recipe: Recipe, mood: str, balance: Balance, space: RgbSpace) -> Handback:
    """Work out what a balance means for the lamps.

    Parameters
    ----------
    recipe : Recipe
        How the lights were rendered, and their names.
    mood : str
        Name of the mood.
    balance : Balance
        Its gains and tints, those solved from pixels included.
    space : RgbSpace
        The passes' primaries.

    Examples
    --------
    >>> from evenfall.develop.engine import develop_mood
    >>> from evenfall.develop.example import example_recipe
    >>> recipe = example_recipe()
    >>> dusk = develop_mood(recipe, "dusk")
    >>> lamp = hand_back(recipe, "dusk", dusk.balance, dusk.space).lights[2]
    >>> lamp.name, round(lamp.power, 3), round(lamp.kelvin)
    ('lamp', 2.0, 2700)
    """
    resolved = recipe.moods[mood]
    lights = []
    for name, light in recipe.model.lights.items():
        setting, now = resolved.lights[name], balance.lights[name]
        power = _power(now.factors, light.rendered, space)
        gain, tint = setting.gain, setting.tint
        lumens = light.rendered.lumens
        candela = light.rendered.candela
        asked = tint.kelvin if isinstance(tint, InKelvin) else None
        lights.append(
            HandbackLight(
                name=name,
                title=light.title or name.replace("_", " "),
                role=light.role,
                prims=light.prims,
                power=power,
                factors=now.factors,
                lumens=None if lumens is None else lumens * power,
                candela=None if candela is None else candela * power,
                watts=gain.watts if isinstance(gain, Watts) else None,
                kelvin=now.tint.kelvin if power > 0 else None,
                duv=now.tint.duv if power > 0 else None,
                asked_kelvin=asked if power > 0 else None,
            )
        )
    return Handback(recipe.path.name, mood, resolved.title, space.name, tuple(lights))


def _power(factors: tuple[float, float, float], rendered: Rendered, space: RgbSpace) -> float:
    """Factor on the luminous flux of a light: of its colour as rendered, white where unknown."""
    xy = rendered_xy(rendered)
    before = np.ones(3) if xy is None else light_rgb(xy, space)[0]
    weights = luminance_weights(space)
    return float(weights @ (before * np.array(factors)) / (weights @ before))
