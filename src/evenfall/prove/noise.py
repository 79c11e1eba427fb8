"""How much grain each picture has of its own, told apart from texture.

In a sound set beauty and passes were sampled independently. Their difference then holds all their
grain and none of their texture, so what a pass has in common with that difference is, up to the
sign, its own grain. A pass that was denoised apart has none, or gives back texture instead; so has
one that was rendered with far more samples, or a lamp whose light is that easy. In weak passes the
measure is drowned by the grain of the others, and nothing is said of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenfall.prove.blocks import BlockPicture, Float
from evenfall.prove.fit import BlockSet, Judge, bend

__all__ = ["Grain", "GrainReport", "grain_report", "own_grain"]

_WEAK = 0.02  # a picture below this share of the beauty says nothing there
_CLIP = 6.0
_HARDLY = 0.1  # in variance: less than a third of the grain
_SURELY = 0.2  # the same, with two standard errors more
_SURE = 4.0  # standard errors
_ENOUGH = 100  # blocks
_FEW = 2
_BLOTCHY = 14.0  # grain: 1; wide pixel filters (sigma 1.2 pixels): under 10; denoised sets: over 16
_SOFT = 1.8  # blotches reach beyond blocks: grain under 1.6, filtered or not; denoised sets over 2
_SILENT = 2.0**-11  # of the light: rounding to half floats, which hides whose grain it is
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

    @property
    def deviation(self) -> float:
        """Relative standard deviation of block means, 0 where none was found."""
        return float(np.sqrt(max(self.variance, 0.0)))

    def hardly(self, variance: float) -> bool:
        """Whether it is surely far below a variance."""
        least = self.variance < _HARDLY * variance
        return least and self.variance + 2 * self.error < _SURELY * variance


@dataclass(frozen=True)
class GrainReport:
    """Grain of every picture, and which of them have none to speak of.

    Parameters
    ----------
    passes : tuple of Grain
        One a light; relative variance of block means.
    beauty : Grain
        The beauty's.
    usual_deviation : float
        Median of the grain of the passes where it can be measured, as a share of their light.
    sum_deviation : float
        Grain of the passes together, as a share of the beauty's light.
    sum_measured : bool
        Whether that is known.
    smooth_passes : tuple of int
        Passes that surely have far less grain than the others.
    smooth_beauty : bool
        Whether the beauty has far less than the passes have together.
    blotchy : bool
        Whether what remains varies from block to block though no picture has grain in it: all
        were denoised, each on its own.
    """

    passes: tuple[Grain, ...]
    beauty: Grain
    usual_deviation: float
    sum_deviation: float
    sum_measured: bool
    smooth_passes: tuple[int, ...]
    smooth_beauty: bool
    blotchy: bool


def grain_report(blocks: BlockSet, judge: Judge) -> GrainReport:
    """Measure the grain of every picture of a set whose passes add up to the beauty."""
    residual = blocks.residual(np.ones(len(blocks.passes)))
    passes = tuple(own_grain(residual, picture, judge) for picture in blocks.passes)
    beauty = own_grain(residual, blocks.beauty, judge, is_beauty=True)
    known = [grain.variance for grain in passes if grain.measured]
    usual = float(np.median(known)) if len(known) >= _FEW else 0.0
    summed = np.zeros_like(residual.means)
    for grain, picture in zip(passes, blocks.passes, strict=True):
        summed += max(grain.variance, 0.0) * picture.means**2
    shares = (summed / judge.level**2)[judge.keep]
    # The middle: where a path has struck a pass and not the beauty there is no end to the others.
    together = float(np.median(shares)) if shares.size else 0.0
    all_known = summed + max(beauty.variance, 0.0) * blocks.beauty.means**2
    return GrainReport(
        passes,
        beauty,
        float(np.sqrt(usual)),
        float(np.sqrt(together)),
        len(known) >= _FEW,
        tuple(index for index, grain in enumerate(passes) if usual and grain.hardly(usual)),
        len(known) >= _FEW and beauty.hardly(together),
        judge.softness > _SOFT and _blotchiness(residual.means, all_known, judge) > _BLOTCHY,
    )


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
        Beauty less the sum of the passes.
    picture : BlockPicture
        One of the passes, or the beauty.
    judge : Judge
        Noise and level of the set.
    is_beauty : bool
        The beauty's grain enters the residual with the other sign.
    """
    from scipy.ndimage import uniform_filter

    sign = 1.0 if is_beauty else -1.0
    product = sign * np.mean(residual.contrasts * picture.contrasts, axis=0) / 4
    squares = np.mean(picture.contrasts**2, axis=0) / 4
    own = np.sqrt(np.maximum(uniform_filter(squares, size=(0, 5, 5), mode="nearest"), 0))
    use = judge.keep & (np.abs(picture.means) > _WEAK * judge.level) & (own > 0)
    use &= judge.variance > (_SILENT * judge.level) ** 2
    if use.sum() < _ENOUGH:
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
