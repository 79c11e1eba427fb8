"""What a display shows of a mood: how far its pixels are from clipping, or from a lightness.

The look is not linear, but it rises: more light at a pixel is never shown darker. So for each pixel
of a small picture the stops are sought, by halving, at which the whole look just clips it, or just
brings it to a lightness; in those stops a limit is as plain as any other demand. What glare, plates
and regions add is in the picture from which the stops count; a gain that moves far moves it too,
which is why it is worked out again after each solution.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from evenfall.develop.areas import Areas
from evenfall.develop.asked import Asked
from evenfall.develop.developed import DevelopedMood
from evenfall.develop.engine import develop_moods
from evenfall.develop.kept import KeptPasses
from evenfall.develop.shelf import Shelf
from evenfall.light.cielab import cie_lightness
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import luminance_weights
from evenfall.look.chain import LookChain
from evenfall.recipe import Area, Look, Recipe, ResolvedMood
from evenfall.recipe.look import Denoise, Grain
from evenfall.solve.measured import Measured, Standing
from evenfall.solve.problem import Limit

__all__ = ["SHADOW_SHARE", "Shown", "clipped_share", "shadow_lightness"]

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

SHADOW_SHARE = 0.1
"""Share of an area whose lightness is that of its shadows."""

_TOP = 1 - 0.5 / 255  # of an 8-bit display
_FURTHEST, _HALVINGS = 12.0, 12  # stops, to a hundredth
_TINY = np.float32(1e-12)
_MOST_PIXELS = 20_000  # of an area, spread evenly


class Shown:
    """A mood as shown at a small size, and its lights' pixels there.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    mood : str
        Name of the mood.
    measured : Measured
        Small passes.
    standing : Standing
        Of that recipe and mood.
    """

    def __init__(self, recipe: Recipe, mood: str, measured: Measured, standing: Standing) -> None:
        source = measured.small
        (small,) = develop_moods(source, Asked(recipe), [mood])
        self._developed = replace(small, camera=standing.camera, mood=_calm(small))
        self._areas = Areas(recipe, source.size, Shelf(0))
        weights = luminance_weights(measured.space) @ standing.camera.matrix
        planes = np.stack([_stacked(source, light) for light in measured.lights])
        self._pixels: Floats = (planes * weights[:, None, None]).astype(np.float32)
        now = np.tensordot(standing.factors.astype(np.float32), self._pixels, axes=2)
        self._now = np.log2(np.maximum(now, _TINY))
        self._chain = self._developed.chain()
        mix = self._developed.mix
        self._exposed = self._chain.whole(mix.planes, mix.alpha, self._developed.additions)

    def clipped(self, weight: float, area: Area | None, share: float) -> Limit:
        """Ask that at most a share of an area is clipped."""
        return self._limit(weight, area, 1 - share, _is_clipped, is_most=True)

    def shadows(self, weight: float, area: Area | None, lightness: float) -> Limit:
        """Ask that all but the darkest tenth of an area reaches a lightness, CIE L*."""

        def reached(chain: LookChain, planes: Floats) -> Mask:
            return _lightness(chain, planes) >= lightness

        return self._limit(weight, area, SHADOW_SHARE, reached, is_most=False)

    def _limit(
        self,
        weight: float,
        area: Area | None,
        share: float,
        reached: Callable[[LookChain, Floats], Mask],
        *,
        is_most: bool,
    ) -> Limit:
        where = np.flatnonzero(self._where(area))
        where = where[:: -(-where.size // _MOST_PIXELS)]
        room = (self._now + self._stops_until(reached)).ravel()[where]
        pixels = self._pixels.reshape(*self._pixels.shape[:2], -1)[:, :, where]
        return Limit(weight, pixels, room, share, "at most" if is_most else "at least")

    def _where(self, area: Area | None) -> Mask:
        if area is None:
            return np.ones(self._now.shape, bool)
        weights = self._areas.weights(area)
        return weights >= min(0.5, float(weights.max()))

    def _stops_until(self, reached: Callable[[LookChain, Floats], Mask]) -> Floats:
        """Find the stops more of light at which each pixel is shown as is asked."""
        low = np.full(self._now.shape, -_FURTHEST, np.float32)
        high = -low
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            is_there = reached(self._chain, self._exposed * np.exp2(middle))
            high = np.where(is_there, middle, high)
            low = np.where(is_there, low, middle)
        middle = (low + high) / 2
        return middle.astype(np.float32)


def clipped_share(developed: DevelopedMood, weights: Floats | None) -> float:
    """Share of an area of a mood with a channel at the top of an sRGB display.

    Parameters
    ----------
    developed : DevelopedMood
        The mood.
    weights : ndarray, shape (H, W), or None
        The area; None is the whole picture.
    """
    chain, exposed = _exposed(developed)
    return _mean(_is_clipped(chain, exposed).astype(np.float32), weights)


def shadow_lightness(developed: DevelopedMood, weights: Floats | None) -> float:
    """CIE L* that all but the darkest tenth of an area reaches; as `clipped_share`."""
    chain, exposed = _exposed(developed)
    lightness = _lightness(chain, exposed)
    there = lightness if weights is None else lightness[weights >= min(0.5, float(weights.max()))]
    return float(np.quantile(there, SHADOW_SHARE))


def _exposed(developed: DevelopedMood) -> tuple[LookChain, Floats]:
    calm = replace(developed, mood=_calm(developed))
    chain = calm.chain()
    return chain, chain.whole(calm.mix.planes, calm.mix.alpha, developed.additions)


def _calm(developed: DevelopedMood) -> ResolvedMood:
    """Leave out grain and the cleaning of noise, which move no limit."""
    look: Look = developed.mood.look.model_copy(update={"grain": Grain(), "denoise": Denoise()})
    return replace(developed.mood, look=look)


def _is_clipped(chain: LookChain, exposed: Floats) -> Mask:
    encoded = chain.encode_rows(np.ascontiguousarray(exposed), 0, exposed=True)
    clipped: Mask = encoded.max(axis=0) >= _TOP
    return clipped


def _lightness(chain: LookChain, exposed: Floats) -> Floats:
    linear = chain.linear_rows(np.ascontiguousarray(exposed), 0, exposed=True)
    weights = luminance_weights(output_space("sRGB").rgb).astype(np.float32)
    return cie_lightness(np.tensordot(weights, linear, axes=1))


def _stacked(source: KeptPasses, light: str) -> Floats:
    return np.stack(source.read((light,))[light].planes).astype(np.float32)


def _mean(values: Floats, weights: Floats | None) -> float:
    if weights is None:
        return float(values.mean(dtype=np.float64))
    return float((values * weights).sum(dtype=np.float64) / weights.sum(dtype=np.float64))
