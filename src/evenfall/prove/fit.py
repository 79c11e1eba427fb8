"""How strongly each pass lies in the beauty, judged against the noise of their difference.

Everything works on blocks (`evenfall.prove.blocks`). A difference counts in standard errors of its
own noise, so that Monte Carlo noise alone says nothing however few samples were spent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.prove.blocks import BlockPicture, Float, block_sums, pool

__all__ = [
    "BlockSet",
    "FittedFactors",
    "Judge",
    "bend",
    "fit_factors",
    "one_factor",
    "saturated_residual",
]

_FLOOR = 0.002  # half float rounding and lossy codecs, share of a block's light
_DARK_FLOOR = 0.02  # of the mean light: below it, differences count absolutely
_SCALES = (1, 4, 16)  # blocks pooled, so that faint but broad differences are seen
_HUBER = 1.5
_DECIDING = 0.9  # leverage of 3 x 3 blocks: more of a factor comes from them than from all others
_MOST_SPREAD = 4.0  # pixel filters cannot correlate noise further than that
_ENOUGH_GROUPS = 60
_MEDIAN_CHI2 = 0.4549  # median of a chi-square variate with one degree of freedom
_ROUNDS = 6


@dataclass(frozen=True, eq=False)
class BlockSet:
    """A beauty and its passes as blocks.

    Parameters
    ----------
    names : tuple of str
        The lights, in the order of `passes`.
    beauty : BlockPicture
        All lights at once.
    passes : tuple of BlockPicture
        One a light.
    keep : ndarray of bool
        Shape (3, rows, columns): blocks that take part. Clipped ones and background do not.
    """

    names: tuple[str, ...]
    beauty: BlockPicture
    passes: tuple[BlockPicture, ...]
    keep: npt.NDArray[np.bool_]

    def residual(self, factors: Float) -> BlockPicture:
        """Beauty less the passes times their factors."""
        left = self.beauty
        for factor, picture in zip(factors, self.passes, strict=True):
            left = left.less(picture.scaled(float(factor)) if factor != 1 else picture)
        return left

    @property
    def least(self) -> float:
        """Light too faint to matter, above 0 even if the beauty is black."""
        most = max(float(np.abs(p.means).max()) for p in (self.beauty, *self.passes))
        return 1e-6 * most or 1e-12


@dataclass(frozen=True)
class FittedFactors:
    """Factors by which the passes best make the beauty, and how sure they are.

    Parameters
    ----------
    factors, errors : ndarray
        Shape (n,): non-negative factors, and one standard error of each.
    """

    factors: Float
    errors: Float


class Judge:
    """Holds a residual against its noise.

    Parameters
    ----------
    blocks : BlockSet
        The set that is judged.
    reference : BlockPicture
        The residual of a model with freedom to spare; its grain is taken as the noise.
    """

    def __init__(self, blocks: BlockSet, reference: BlockPicture) -> None:
        self.keep = blocks.keep
        level = np.abs(blocks.beauty.means)
        self.level = level + _DARK_FLOOR * _mean(level, self.keep) + blocks.least
        self.variance, self.correlation = _noise_variance(reference, self.level, self.keep)
        scales = [scale for scale in _SCALES if scale == 1 or scale < min(level.shape[1:])]
        spread = 1.0
        self._spread: dict[int, float] = {}
        self._errors: dict[bytes, list[Float]] = {}
        for scale in scales:
            spread = self._spread_at(scale, reference.means, spread)
            self._spread[scale] = spread

    @property
    def scales(self) -> tuple[int, ...]:
        """Blocks along a side of the groups that are looked at."""
        return tuple(self._spread)

    @property
    def spread(self) -> float:
        """How much more than independent blocks groups of them vary; 1 for white noise."""
        return max(self._spread.values(), default=1.0)

    @property
    def softness(self) -> float:
        """How far noise is alike beyond a block, over how far it is within one; grain is near 1."""
        return self._spread.get(_SCALES[1], 1.0) / max(1.0, self.correlation)

    def _spread_at(self, factor: int, means: Float, finer: float) -> float:
        """How much more than white noise a reference varies between groups of blocks."""
        if factor == 1:
            return 1.0
        kept = pool(self.keep.astype(np.float64), factor)
        shares = np.where(kept > 0, kept, 1)
        pooled = pool(means * self.keep, factor) / shares
        expected = pool(self.variance * self.keep, factor) / shares / (factor**2 * shares)
        expected += (_FLOOR * pool(self.level, factor)) ** 2
        inner = kept[:, 1:-1, 1:-1] > 0.9
        if inner.sum() < _ENOUGH_GROUPS:
            return finer
        ratio = bend(pooled) ** 2 / 1.25 / expected[:, 1:-1, 1:-1]
        spread = float(np.median(ratio[inner])) / _MEDIAN_CHI2
        return min(max(1.0, spread), _MOST_SPREAD)

    def standardised(
        self, means: Float, keep: npt.NDArray[np.bool_], *, finest: bool = True
    ) -> list[Float]:
        """Differences in standard errors at each scale, 0 where nothing is kept.

        Without the finest, only those of the next scale, where there is one.
        """
        key = keep.tobytes()
        if key not in self._errors:
            self._errors[key] = self._errors_of_sums(keep)
        if not finest and len(self.scales) > 1:
            return [block_sums(means * keep, self.scales[1]) / self._errors[key][1]]
        sums = self._sums(means * keep)
        return [total / error for total, error in zip(sums, self._errors[key], strict=True)]

    def log_variance(self, keep: npt.NDArray[np.bool_]) -> float:
        """Sum of the logarithms of the variances of differences, block by block."""
        variance = self.variance + (_FLOOR * self.level) ** 2
        return float(np.log(variance[keep]).sum())

    def _sums(self, values: Float) -> list[Float]:
        """Sum groups at each scale, each from those of the finer one."""
        found, finer = [values], 1
        for scale in self.scales[1:]:
            found.append(block_sums(found[-1], scale // finer))
            finer = scale
        return found

    def _errors_of_sums(self, keep: npt.NDArray[np.bool_]) -> list[Float]:
        kept = self._sums(keep.astype(np.float64))
        noise, level = self._sums(self.variance * keep), self._sums(self.level * keep)
        return [
            np.where(count > 0, np.sqrt(spread * variance + (_FLOOR * light) ** 2), 1.0)
            for count, variance, light, spread in zip(
                kept, noise, level, self._spread.values(), strict=True
            )
        ]

    def weights(self) -> Float:
        """Inverse variances for least squares, 0 for blocks left out."""
        return self.keep / (self.variance + (_FLOOR * self.level) ** 2)


def _mean(values: Float, keep: npt.NDArray[np.bool_]) -> float:
    return float(values[keep].mean()) if keep.any() else 0.0


def _noise_variance(
    reference: BlockPicture, level: Float, keep: npt.NDArray[np.bool_]
) -> tuple[Float, float]:
    """Variance of block means by neighbourhood, and how far grain is correlated (1: not).

    Where light changes fast noise does too: a block's is what its neighbours have, or what they
    have for their light, or its own, whichever is most.
    """
    from scipy.ndimage import uniform_filter

    squares = np.mean(reference.contrasts**2, axis=0) / 4
    local = uniform_filter(squares, size=(0, 5, 5), mode="nearest")
    by_light = level**2 * uniform_filter(squares / level**2, size=(0, 5, 5), mode="nearest")
    tiny = 1e-14 + 1e-12 * float(np.abs(reference.means).max())
    local = np.maximum(local, tiny)
    bent = bend(reference.means)
    inner = np.zeros_like(keep)
    inner[:, 1:-1, 1:-1] = keep[:, 1:-1, 1:-1]
    if not inner.any():
        return np.maximum(np.maximum(local, by_light), squares), 1.0
    ratio = bent**2 / 1.25 / local[:, 1:-1, 1:-1]
    correlation = float(np.median(ratio[inner[:, 1:-1, 1:-1]])) / _MEDIAN_CHI2
    most = np.maximum(np.maximum(local, by_light), squares)
    return most * max(1.0, correlation), correlation


def bend(means: Float) -> Float:
    """Each inner block less the mean of its four neighbours; variance 1.25 x a block's."""
    inner: Float = means[:, 1:-1, 1:-1] - 0.25 * (
        means[:, 1:-1, :-2] + means[:, 1:-1, 2:] + means[:, :-2, 1:-1] + means[:, 2:, 1:-1]
    )
    return inner


def saturated_residual(blocks: BlockSet, spare: Sequence[BlockPicture]) -> BlockPicture:
    """Residual of a least-squares fit a channel, with factors of any sign and spare pictures.

    Where a few blocks decide a factor by themselves (a bulb in view, of a lamp that hardly lights
    anything else) their noise is fitted too: their contrasts are those of the plain difference.
    """
    from scipy.ndimage import uniform_filter

    pictures = [*blocks.passes, *spare]
    means = blocks.beauty.means.copy()
    contrasts = blocks.beauty.contrasts.copy()
    plain = blocks.residual(np.ones(len(blocks.passes))).contrasts
    level = np.abs(means) + _DARK_FLOOR * np.abs(means).mean() + blocks.least
    for channel in range(3):
        keep = blocks.keep[channel]
        weight = 1 / level[channel][keep]
        columns = np.stack([picture.means[channel][keep] * weight for picture in pictures], 1)
        target = means[channel][keep] * weight
        size = np.linalg.norm(columns, axis=0)
        columns = columns / np.where(size > 0, size, 1)
        inverse = np.linalg.pinv(columns.T @ columns, rcond=1e-9, hermitian=True)
        factors = inverse @ (columns.T @ target) / np.where(size > 0, size, 1)
        for factor, picture in zip(factors, pictures, strict=True):
            means[channel] -= factor * picture.means[channel]
            contrasts[:, channel] -= factor * picture.contrasts[:, channel]
        leverage = np.zeros(keep.shape)
        leverage[keep] = np.einsum("ij,jk,ik->i", columns, inverse, columns)
        deciding = 9 * uniform_filter(leverage, 3, mode="constant") > _DECIDING
        contrasts[:, channel, deciding] = plain[:, channel, deciding]
    return BlockPicture(means, contrasts[0], contrasts[1:] if len(contrasts) > 1 else None)


def fit_factors(blocks: BlockSet, judge: Judge, channel: int | None = None) -> FittedFactors:
    """Fit the beauty as a non-negative combination of the passes, jointly or in one channel.

    Weighted by the inverse noise variance, with Huber's weights (1964) against outliers; the
    non-negative least squares are those of Lawson and Hanson (1974) on the normal equations.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> lamp, sky = (BlockPicture(rng.gamma(2, 1, (3, 9, 9)), np.zeros((3, 9, 9))) for _ in "ab")
    >>> beauty = BlockPicture(lamp.means + 2 * sky.means, lamp.checker)
    >>> blocks = BlockSet(("lamp", "sky"), beauty, (lamp, sky), np.ones((3, 9, 9), bool))
    >>> judge = Judge(blocks, saturated_residual(blocks, ()))
    >>> fit_factors(blocks, judge).factors.round(3).tolist()
    [1.0, 2.0]
    """
    from scipy.optimize import nnls

    kept = judge.keep.copy()
    if channel is not None:
        kept[np.arange(3) != channel] = False
    columns = np.stack([picture.means[kept] for picture in blocks.passes], 1)
    target = blocks.beauty.means[kept]
    base = judge.weights()[kept]
    factors = np.ones(columns.shape[1])
    gram = np.eye(columns.shape[1])
    for _ in range(_ROUNDS):
        weights = base * _huber((target - columns @ factors) * np.sqrt(base))
        weighted = columns * weights[:, None]
        gram = weighted.T @ columns
        scale = 1 / np.sqrt(np.maximum(np.diag(gram), 1e-300))
        root = np.linalg.cholesky(gram * np.outer(scale, scale) + 1e-10 * np.eye(scale.size))
        right = np.linalg.solve(root, (weighted.T @ target) * scale)
        solution, _ = nnls(root.T, right)
        previous, factors = factors, solution * scale
        if np.allclose(previous, factors, rtol=1e-4, atol=1e-6):
            break
    spread = np.sqrt(np.maximum(np.diag(np.linalg.pinv(gram, hermitian=True)), 0))
    return FittedFactors(factors, spread)


def _huber(standardised: Float) -> Float:
    return _HUBER / np.maximum(np.abs(standardised), _HUBER)


def one_factor(target: Float, picture: Float, weights: Float) -> float:
    """Robust non-negative factor by which one picture best makes a target.

    Examples
    --------
    >>> ramp = np.linspace(1, 2, 50)
    >>> round(one_factor(0.5 * ramp, ramp, np.ones(50)), 6)
    0.5
    """
    factor = 1.0
    for _ in range(_ROUNDS):
        robust = weights * _huber((target - factor * picture) * np.sqrt(weights))
        energy = float((robust * picture**2).sum())
        if energy <= 0:
            return 0.0
        previous, factor = factor, max(0.0, float((robust * picture * target).sum()) / energy)
        if abs(previous - factor) < 1e-5:
            break
    return factor
