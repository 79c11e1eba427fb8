"""A mood as it is shown, for any factors of its lights, at a small size.

What comes before the rendering (glare, plates, cut-outs, regions) is linear in light, so each light
goes through it once, and is darkened by the vignette; then any balance is a sum. The rendering
itself works pixel by pixel; how what is shown goes with the light of a pixel is found by small
differences. Sharpening is left out here, and with all else that a small picture shows otherwise
than the real one it is put right by `Screen.learn`.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from copy import copy
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from evenfall.develop.asked import Asked
from evenfall.develop.developed import DevelopedMood
from evenfall.develop.engine import develop_moods
from evenfall.develop.kept import KeptPasses
from evenfall.light.primaries import ACESCG, conversion_matrix
from evenfall.look.additions import Additions
from evenfall.look.vignette import Vignette as FallOff
from evenfall.mix.averaging import area_mean
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.look import Denoise, Grain, Look, Sharpen, Vignette
from evenfall.solve.measured import Standing
from evenfall.system.processors import workers_of

__all__ = ["LinearScreen", "Screen"]

Floats = npt.NDArray[np.float32]
Matrix = npt.NDArray[np.float64]

_STEP = np.float32(0.02)
_LEAST_STEP = np.float32(1e-4)
_STRIP_ROWS, _STRIP_PIXELS = 64, 1 << 15


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
    workers : int, optional
        Threads; the result does not depend on them.
    """

    def __init__(
        self,
        recipe: Recipe,
        mood: str,
        source: KeptPasses,
        standing: Standing,
        lights: tuple[str, ...],
        space: str,
        workers: int | None = None,
    ) -> None:
        self._pool = ThreadPoolExecutor(workers_of(workers), "screen")
        (small,) = develop_moods(source, Asked(recipe), [mood])
        calm = replace(small, camera=standing.camera, mood=calm_mood(small, by_pixel=True))
        self.space, self._chain = space, calm.chain(space)
        self.from_passes = conversion_matrix(source.space, ACESCG)
        mix, additions = calm.mix, calm.additions
        nothing = np.zeros_like(mix.planes)
        self.rest: Floats = self._chain.whole(nothing, mix.alpha, additions)
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
        fall_off = _fall_off(small.mood.look, small.size)
        self.lights *= fall_off
        self.rest *= fall_off
        self.bias = np.zeros_like(mix.planes)

    def brought_to(self, size: tuple[int, int]) -> Screen:
        """Give the same at a smaller size."""
        smaller = copy(self)
        smaller.lights = np.stack([_brought_to(light, size) for light in self.lights])
        smaller.rest, smaller.bias = _brought_to(self.rest, size), _brought_to(self.bias, size)
        return smaller

    def show(self, total: Floats) -> Floats:
        """Give display-encoded values of a sum of light; shape (3, h, w)."""
        shown: Floats = self._shown(total) + self.bias
        return shown

    def _shown(self, total: Floats) -> Floats:
        shown = np.empty(total.shape, np.float32)

        def strip(top: int) -> None:
            rows = slice(top, top + step)
            light = np.ascontiguousarray(total[:, rows])
            shown[:, rows] = self._chain.encode_rows(light, 0, exposed=True)

        step = max(1, _STRIP_PIXELS // total.shape[2])
        list(self._pool.map(strip, range(0, total.shape[1], step)))
        return shown

    def slopes(self, total: Floats) -> Floats:
        """Say how each shown channel goes with each channel of light.

        Parameters
        ----------
        total : ndarray, shape (3, n)
            Light of some pixels.

        Returns
        -------
        ndarray, shape (3, 3, n)
        """
        steps: Floats = np.maximum(np.abs(total) * _STEP, _LEAST_STEP)
        moved = np.stack([total, total, total, total], axis=1)
        for channel in range(3):
            moved[channel, channel + 1] += steps[channel]
        shown = self._shown(moved)
        slopes: Floats = (shown[:, 1:] - shown[:, :1]) / steps
        return slopes

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
        self.rest: Floats = np.zeros_like(self.lights[0])
        self.from_passes = np.eye(3)
        self.floor = np.float32(floor)

    def brought_to(self, size: tuple[int, int]) -> LinearScreen:
        """Give the same at a smaller size."""
        smaller = copy(self)
        smaller.lights = np.stack([_brought_to(light, size) for light in self.lights])
        smaller.rest = np.zeros_like(smaller.lights[0])
        return smaller

    def show(self, total: Floats) -> Floats:
        """Give stops, levelled out towards the floor, in tenths; shape (3, h, w)."""
        stops = np.log2(np.maximum(total, np.float32(0)) + self.floor) / np.float32(10)
        return np.asarray(stops, np.float32)

    def slopes(self, total: Floats) -> Floats:
        """Give derivatives; as `Screen.slopes`."""
        found = np.zeros((3, 3, total.shape[1]), np.float32)
        for channel in range(3):
            own = np.maximum(total[channel], 0) + self.floor
            found[channel, channel] = 1 / (own * np.float32(10 * np.log(2)))
        return found


def _for_lights(additions: Additions) -> Additions:
    """Leave out plates that only lie behind: they add the same to every balance."""
    wrapping = any(plate.light_wrap > 0 for plate, _, _ in additions.plates)
    return replace(additions, plates=additions.plates if wrapping else ())


def _brought_to(planes: Floats, size: tuple[int, int]) -> Floats:
    return np.stack([area_mean(plane, size) for plane in planes])


def _size(planes: Floats) -> tuple[int, int]:
    return planes[0].shape[1], planes[0].shape[0]


def calm_mood(developed: DevelopedMood, *, by_pixel: bool = False) -> ResolvedMood:
    """Leave out grain and the cleaning of noise; and what goes by a pixel's place, if asked."""
    look = developed.mood.look
    update: dict[str, object] = {"grain": Grain(), "denoise": Denoise()}
    if by_pixel:
        update |= {"sharpen": Sharpen(), "vignette": Vignette()}
    return replace(developed.mood, look=look.model_copy(update=update))


def _fall_off(look: Look, size: tuple[int, int]) -> Floats:
    """Give the factors of a vignette, which are those of light before the rendering."""
    width, height = size
    return FallOff(look.vignette, size).factors(0, width * height).reshape(height, width)


def shown_small(developed: DevelopedMood, space: str, size: tuple[int, int]) -> Floats:
    """Develop a mood at its own size, and average what is shown; encoded, shape (3, h, w)."""
    calm = replace(developed, mood=calm_mood(developed))
    chain = calm.chain(space)
    scene = calm.scene(chain)
    encoded = np.empty(calm.mix.planes.shape, np.float32)
    for top in range(0, len(encoded[0]), _STRIP_ROWS):
        rows = slice(top, min(top + _STRIP_ROWS, len(encoded[0])))
        encoded[:, rows] = scene.encode_rows(chain, rows)
    return np.stack([area_mean(plane, size) for plane in encoded])
