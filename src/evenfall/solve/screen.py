"""A mood as it is shown, for any factors of its lights, at a small size.

What comes before the rendering (glare, plates, cut-outs, regions) is linear in light, so each light
goes through it once; then any balance is a sum. The rendering itself works pixel by pixel; how what
is shown goes with the light of a pixel is found by small differences. Sharpening is left out here,
and with all else that a small picture shows otherwise than the real one it is put right by
`Screen.learn`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from evenfall.develop.asked import Asked
from evenfall.develop.developed import DevelopedMood
from evenfall.develop.engine import develop_moods
from evenfall.develop.kept import KeptPasses
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import ACESCG, conversion_matrix
from evenfall.look.additions import Additions
from evenfall.mix.averaging import area_mean
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.look import Denoise, Grain, Sharpen
from evenfall.solve.measured import Standing

__all__ = ["LinearScreen", "Screen"]

Floats = npt.NDArray[np.float32]
Matrix = npt.NDArray[np.float64]

_STEP = np.float32(0.02)
_LEAST_STEP = np.float32(1e-4)
_STRIP_ROWS = 64


class Screen:
    """A mood through its look.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    mood : str
        Name of the mood.
    source : KeptPasses
        Small passes.
    standing : Standing
        Of the mood: the camera, and the factors that the lights have.
    lights : tuple of str
        In the order of the factors.
    space : str
        Output space.
    """

    def __init__(
        self,
        recipe: Recipe,
        mood: str,
        source: KeptPasses,
        standing: Standing,
        lights: tuple[str, ...],
        space: str,
    ) -> None:
        (small,) = develop_moods(source, Asked(recipe), [mood])
        calm = replace(small, camera=standing.camera, mood=calm_mood(small, sharpen=False))
        self.space, self._chain = space, calm.chain(space)
        self.from_passes = conversion_matrix(source.space, ACESCG)
        mix, additions = calm.mix, calm.additions
        nothing = np.zeros_like(mix.planes)
        self._rest = self._chain.whole(nothing, mix.alpha, additions)
        alone = _for_lights(additions)
        base: Floats | np.float32 = np.float32(0)
        if alone.plates or alone.overlays:
            base = self._chain.whole(nothing, mix.alpha, alone)
        self.lights = np.zeros((len(lights), *mix.planes.shape), np.float32)
        for number, (light, factors) in enumerate(zip(lights, standing.factors, strict=True)):
            if factors.any():
                planes = np.stack(source.read((light,))[light].planes)
                own = (planes * factors[:, None, None]).astype(np.float32)
                self.lights[number] = self._chain.whole(own, mix.alpha, alone) - base
        self.bias = np.zeros_like(mix.planes)

    def total(self, lights: Floats) -> Floats:
        """Add up lights, shape (lights, 3, h, w), and what does not come from them."""
        total: Floats = lights.sum(axis=0) + self._rest
        return total

    def show(self, total: Floats) -> Floats:
        """Give display-encoded values of a sum of light; shape (3, h, w)."""
        shown: Floats = self._shown(total) + self.bias
        return shown

    def _shown(self, total: Floats) -> Floats:
        return self._chain.encode_rows(np.ascontiguousarray(total), 0, exposed=True)

    def slopes(self, total: Floats) -> Floats:
        """Say how each shown channel goes with each channel of light; shape (3, 3, h, w)."""
        shown = self._shown(total)
        found = np.empty((3, *total.shape), np.float32)
        for channel in range(3):
            step = np.maximum(np.abs(total[channel]) * _STEP, _LEAST_STEP)
            more = total.copy()
            more[channel] += step
            found[:, channel] = (self._shown(more) - shown) / step
        return found

    def learn(self, developed: DevelopedMood, total: Floats) -> None:
        """Learn from the real picture of a balance what the small one shows otherwise."""
        shown = self._shown(total)
        self.bias = shown_small(developed, self.space, _size(shown)) - shown


class LinearScreen:
    """The same for scene-linear references: logarithms of light in the passes' primaries.

    Parameters
    ----------
    source : KeptPasses
        Small passes.
    standing : Standing
        Factors that the lights have.
    lights : tuple of str
        In the order of the factors.
    floor : float
        Light below which nothing is told apart.
    """

    def __init__(
        self, source: KeptPasses, standing: Standing, lights: tuple[str, ...], floor: float
    ) -> None:
        self.lights: Floats = np.stack(
            [
                (np.stack(source.read((light,))[light].planes) * factors[:, None, None]).astype(
                    np.float32
                )
                for light, factors in zip(lights, standing.factors, strict=True)
            ]
        )
        self.from_passes = np.eye(3)
        self.floor = np.float32(floor)

    def total(self, lights: Floats) -> Floats:
        """Add up lights."""
        total: Floats = lights.sum(axis=0)
        return total

    def show(self, total: Floats) -> Floats:
        """Give stops, levelled out towards the floor, in tenths; shape (3, h, w)."""
        stops = np.log2(np.maximum(total, np.float32(0)) + self.floor) / np.float32(10)
        return np.asarray(stops, np.float32)

    def slopes(self, total: Floats) -> Floats:
        """Give derivatives; as `Screen.slopes`."""
        found = np.zeros((3, *total.shape), np.float32)
        for channel in range(3):
            own = np.maximum(total[channel], 0) + self.floor
            found[channel, channel] = 1 / (own * np.float32(10 * np.log(2)))
        return found


def _for_lights(additions: Additions) -> Additions:
    """Leave out plates that only lie behind: they add the same to every balance."""
    wrapping = any(plate.light_wrap > 0 for plate, _, _ in additions.plates)
    return replace(additions, plates=additions.plates if wrapping else ())


def _size(planes: Floats) -> tuple[int, int]:
    return planes[0].shape[1], planes[0].shape[0]


def calm_mood(developed: DevelopedMood, *, sharpen: bool = True) -> ResolvedMood:
    """Leave out grain and the cleaning of noise, and sharpening if asked."""
    look = developed.mood.look
    update: dict[str, object] = {"grain": Grain(), "denoise": Denoise()}
    if not sharpen:
        update["sharpen"] = Sharpen()
    return replace(developed.mood, look=look.model_copy(update=update))


def shown_small(developed: DevelopedMood, space: str, size: tuple[int, int]) -> Floats:
    """Develop a mood at its own size, and average what is shown; encoded, shape (3, h, w)."""
    calm = replace(developed, mood=calm_mood(developed))
    chain = calm.chain(space)
    scene = calm.scene(chain)
    linear = np.empty(calm.mix.planes.shape, np.float32)
    for top in range(0, len(linear[0]), _STRIP_ROWS):
        rows = slice(top, min(top + _STRIP_ROWS, len(linear[0])))
        linear[:, rows] = scene.linear_rows(chain, rows)
    small = np.stack([area_mean(plane, size) for plane in linear])
    encoded: Floats = np.empty(small.shape, np.float32)
    output_space(space).encode(small, out=encoded)
    return encoded
