"""How much grain each picture has of its own, told apart from texture.

In a sound set beauty and passes were sampled independently. Their difference then holds all their
grain and none of their texture, so what a pass has in common with that difference is, up to the
sign, its own grain. A pass that was denoised apart has none, or gives back texture instead. In weak
passes that measure is drowned by the grain of the others; they are judged by their calmest places,
where texture is least, and what they vary there is held against the grain of the difference.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenfall.prove.blocks import BlockPicture, Float
from evenfall.prove.fit import BlockSet, Judge, bend

__all__ = ["Grain", "GrainReport", "grain_report", "own_grain"]

_WEAK = 0.02  # a picture below this share of the beauty says nothing there
_FAINT = 0.002  # of a picture's own mean: no light to speak of
_CLIP = 6.0
_MUCH_LESS = 0.1  # in variance: less than a third of the grain
_CALM = 0.03  # in variance, at the calmest tenth; rendered pictures 0.07 and up, denoised 0.03 down
_CALMEST = 0.1
_MOST_KEPT = 0.6  # where much is left out, what remains does not stand for the picture
_ROUNDING = 2.0**-11  # half float, relative
_SURE = 3.0
_BLOTCHY = 25.0  # grain: 1; wide pixel filters (sigma 1.2 pixels): 12; denoised sets: over 50
_MEDIAN_CHI2 = 0.4549  # median of a chi-square variate with one degree of freedom


@dataclass(frozen=True)
class Grain:
    """Relative noise variance of a picture's block means, and one standard error of it."""

    variance: float
    error: float

    @property
    def measured(self) -> bool:
        """Whether it is clearly above zero."""
        return self.variance > _SURE * self.error

    def well_above(self, variance: float) -> bool:
        """Whether it is measured, and above a variance."""
        return self.measured and self.variance > variance


@dataclass(frozen=True)
class GrainReport:
    """Grain of every picture, and which of them look denoised.

    Parameters
    ----------
    passes : tuple of Grain
        One a light; relative variance of block means.
    beauty : Grain
        The beauty's.
    smooth_passes : tuple of int
        Passes that are calm where the difference is grainy.
    smooth_beauty : bool
        Whether the beauty is.
    blotchy : bool
        Whether what remains varies from block to block though no picture has grain in it: all
        were denoised, each on its own.
    """

    passes: tuple[Grain, ...]
    beauty: Grain
    smooth_passes: tuple[int, ...]
    smooth_beauty: bool
    blotchy: bool


def grain_report(blocks: BlockSet, factors: Float, judge: Judge) -> GrainReport:
    """Measure the grain of every picture of a set whose passes, times factors, make the beauty."""
    residual = blocks.residual(factors)
    scaled = [
        BlockPicture(factor * picture.means, factor * picture.checker)
        for factor, picture in zip(factors, blocks.passes, strict=True)
    ]
    passes = tuple(own_grain(residual, picture, judge) for picture in scaled)
    beauty = own_grain(residual, blocks.beauty, judge, is_beauty=True)
    summed = np.zeros_like(residual.means)
    for grain, picture in zip(passes, scaled, strict=True):
        summed += max(grain.variance, 0.0) * picture.means**2
    expected = float(np.mean((summed / judge.level**2)[judge.keep])) if judge.keep.any() else 0.0
    enough = judge.keep.mean() > _MOST_KEPT
    calm = [_calmness(residual, picture, judge) for picture in (*scaled, blocks.beauty)]
    smooth = tuple(
        index
        for index, grain in enumerate(passes)
        if enough and calm[index] < _CALM and not grain.well_above(_MUCH_LESS * beauty.variance)
    )
    known = summed + max(beauty.variance, 0.0) * blocks.beauty.means**2
    return GrainReport(
        passes,
        beauty,
        smooth,
        bool(enough and calm[-1] < _CALM) and not beauty.well_above(_MUCH_LESS * expected),
        _blotchiness(residual.means, known, judge) > _BLOTCHY,
    )


def _calmness(residual: BlockPicture, picture: BlockPicture, judge: Judge) -> float:
    """Relative variance of a picture over that of the residual, at its calmest tenth of blocks."""
    from scipy.ndimage import median_filter

    own, difference = (
        median_filter(each.checker**2, size=(1, 5, 5), mode="nearest")
        for each in (picture, residual)
    )
    lit = picture.means > _FAINT * max(float(picture.means.mean()), 1e-12)
    use = judge.keep & lit & (difference > (_ROUNDING * judge.level) ** 2)
    if use.sum() < 100:
        return 1.0
    ratio = own[use] / picture.means[use] ** 2 / (difference[use] / judge.level[use] ** 2)
    return float(np.quantile(ratio, _CALMEST))


def _blotchiness(means: Float, known: Float, judge: Judge) -> float:
    inner = judge.keep[:, 1:-1, 1:-1]
    if not inner.any():
        return 1.0
    rounding = (2.0**-11 * judge.level) ** 2 / 12  # half float
    ratio = bend(means) ** 2 / 1.25 / (known + rounding)[:, 1:-1, 1:-1]
    return float(np.median(ratio[inner])) / _MEDIAN_CHI2


def own_grain(
    residual: BlockPicture, picture: BlockPicture, judge: Judge, *, is_beauty: bool = False
) -> Grain:
    """Measure the grain that a picture shares with the residual.

    Parameters
    ----------
    residual : BlockPicture
        Beauty less the fitted sum of the passes.
    picture : BlockPicture
        One of the passes, with its factor applied, or the beauty.
    judge : Judge
        Noise and level of the set.
    is_beauty : bool
        The beauty's grain enters the residual with the other sign.
    """
    from scipy.ndimage import uniform_filter

    sign = 1.0 if is_beauty else -1.0
    product = sign * residual.checker * picture.checker / 4
    local = uniform_filter(picture.checker**2 / 4, size=(0, 5, 5), mode="nearest")
    own = np.sqrt(np.maximum(local, 0))
    use = judge.keep & (np.abs(picture.means) > _WEAK * judge.level) & (own > 0)
    if use.sum() < 100:
        return Grain(0.0, np.inf)
    unit = own[use] * np.sqrt(judge.variance[use])
    share = np.clip(product[use] / unit, -_CLIP, _CLIP)
    expected = picture.means[use] ** 2 / unit
    expected = np.minimum(expected, np.quantile(expected, 0.98))
    energy = float((expected**2).sum())
    if not energy > 0:
        return Grain(0.0, np.inf)
    variance = float((share * expected).sum()) / energy
    spread = (share - variance * expected) * expected
    return Grain(variance, float(np.sqrt((spread**2).sum())) / energy)
