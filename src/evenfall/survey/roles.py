"""What a light does in the picture, from its pixels: how strong, how directional, how warm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from evenfall.prove.blocks import BlockPicture, Float
from evenfall.survey.names import RoleGuess, role_from_name

__all__ = ["NEXT_TO_NOTHING", "LightTraits", "light_traits", "propose_roles"]

NEXT_TO_NOTHING = 0.002
"""Of all light: a sun or moon that adds less sets no exposure, and makes no day."""

_LAMPS = ("fixture", "outdoor fixture")
_BRIGHT_PART = 0.05  # of the picture
_SMALL_SHARE = 0.02
_MOSTLY_BLACK = 0.6
_COOL, _WARM = 0.9, 1.15  # red over blue, against all lights together
_DIFFUSE = 0.35  # share of its light on the brightest 5 % of the picture
_VISIBLE_LAMP = 0.995  # quantile of the summed light at which lamps seen directly are cut


@dataclass(frozen=True, eq=False)
class LightTraits:
    """A light's pixels in short.

    Parameters
    ----------
    blocks : ndarray
        Luminance of each block of the picture, shape (rows, columns).
    red_over_blue : float
        Red light over blue light of the whole pass.
    """

    blocks: Float = field(repr=False)
    red_over_blue: float


def light_traits(picture: BlockPicture, weights: Float) -> LightTraits:
    """Reduce a pass to what roles are proposed from.

    Parameters
    ----------
    picture : BlockPicture
        Means of the blocks of its R, G, B.
    weights : ndarray
        Weights of R, G, B in luminance.
    """
    light = picture.means.sum((1, 2))
    red_over_blue = float(light[0] / light[2]) if light[2] > 0 else np.inf
    return LightTraits(np.tensordot(weights, picture.means, 1), red_over_blue)


def propose_roles(traits: Mapping[str, LightTraits]) -> dict[str, RoleGuess]:
    """Propose a role for every light, from its name where that says one, else from its pixels.

    The key is the light with the largest product of strength (share of all light) and direction
    (share of its light on the brightest twentieth of the picture), lamps seen directly cut off.
    A light is only made key from its pixels if no name says key, and no lamp that its name tells
    outshines it; none by its name that adds next to nothing.

    Parameters
    ----------
    traits : mapping of str to LightTraits
        By name of the light; all of the same view.

    Examples
    --------
    >>> broad = LightTraits(np.full((20, 20), 0.2), 0.7)
    >>> patch = LightTraits(np.where(np.arange(400).reshape(20, 20) < 20, 8.0, 0.01), 1.2)
    >>> {name: guess.role for name, guess in propose_roles({"a": broad, "b": patch}).items()}
    {'a': 'sky', 'b': 'key'}
    """
    named = {name: role_from_name(name) for name in traits}
    proposed = {name: guess for name, guess in named.items() if guess is not None}
    unnamed = [name for name in traits if name not in proposed]
    pixels = _Pixels(traits)
    for name, guess in proposed.items():
        if guess.role == "key" and pixels.share[name] < NEXT_TO_NOTHING:
            share = f"{100 * pixels.share[name]:.1g} % of all light"
            proposed[name] = RoleGuess("sky", f"{guess.reason}, but no key with {share}")
    if unnamed and not any(guess.role == "key" for guess in proposed.values()):
        lamps = [name for name, guess in proposed.items() if guess.role in _LAMPS]
        key = pixels.likely_key(unnamed, lamps)
        if key is not None:
            proposed[key] = pixels.why_key(key)
    for name in unnamed:
        if name not in proposed:
            proposed[name] = pixels.role_of(name)
    return {name: proposed[name] for name in traits}


class _Pixels:
    """Strength, direction and warmth of every light against all of them together."""

    def __init__(self, traits: Mapping[str, LightTraits]) -> None:
        total = np.sum([each.blocks for each in traits.values()], axis=0)
        ceiling = float(np.quantile(total, _VISIBLE_LAMP))
        self.cut = {name: np.clip(each.blocks, 0, ceiling) for name, each in traits.items()}
        all_light = sum(float(blocks.sum()) for blocks in self.cut.values()) or 1.0
        self.share = {name: float(each.sum()) / all_light for name, each in self.cut.items()}
        self.direction = {name: _direction(blocks) for name, blocks in self.cut.items()}
        usual = _red_over_blue_of_all(traits, self.share)
        self.warmth = {name: each.red_over_blue / usual for name, each in traits.items()}

    def likely_key(self, names: Sequence[str], lamps: Sequence[str]) -> str | None:
        """Name the strongest and most directional of some lights, if no lamp is more of both."""
        best = max(names, key=self._strength)
        is_outshone = any(
            self.share[lamp] > self.share[best] and self._strength(lamp) > self._strength(best)
            for lamp in lamps
        )
        return best if self.share[best] > _SMALL_SHARE and not is_outshone else None

    def _strength(self, name: str) -> float:
        return self.share[name] * self.direction[name]

    def why_key(self, name: str) -> RoleGuess:
        return RoleGuess(
            "key",
            f"brightest and most directional: {100 * self.share[name]:.0f} % of all light, "
            f"{100 * self.direction[name]:.0f} % of it on a twentieth of the picture",
        )

    def role_of(self, name: str) -> RoleGuess:
        blocks = self.cut[name]
        black = float(np.mean(blocks < 0.01 * blocks.mean())) if blocks.any() else 1.0
        where = f"{100 * self.direction[name]:.0f} % of it on a twentieth of the picture"
        if black > _MOSTLY_BLACK and self.share[name] < _SMALL_SHARE:
            return RoleGuess("glow", f"black in {100 * black:.0f} % of the picture")
        if self.direction[name] < _DIFFUSE and self.warmth[name] < _COOL:
            return RoleGuess("sky", f"broad and cool: {where}")
        if self.direction[name] < _DIFFUSE and self.warmth[name] < _WARM:
            return RoleGuess("fill", f"broad and neutral: {where}")
        kind = "warm" if self.warmth[name] >= _WARM else "local"
        return RoleGuess("fixture", f"{kind} light: {where}")


def _red_over_blue_of_all(traits: Mapping[str, LightTraits], share: Mapping[str, float]) -> float:
    """Red over blue of all lights together, each weighted by its share."""
    known = [name for name, each in traits.items() if 0 < each.red_over_blue < np.inf]
    weight = sum(share[name] for name in known)
    if weight <= 0:
        return 1.0
    logs = sum(share[name] * np.log(traits[name].red_over_blue) for name in known)
    return float(np.exp(logs / weight))


def _direction(blocks: Float) -> float:
    total = float(blocks.sum())
    if total <= 0:
        return 0.0
    count = max(1, round(_BRIGHT_PART * blocks.size))
    return float(np.sort(blocks, axis=None)[-count:].sum()) / total
