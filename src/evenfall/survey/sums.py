"""Which picture is the sum of which others: arithmetic in the pixels, judged against their noise.

A picture of all lights holds every one of them, so it is nowhere darker than their sum. The largest
factors under which pictures fit below another one, all together, are therefore 1 for those that it
holds, and anything for those that it does not; where a light is missing among them, they still are,
since somewhere its light is faint. What lies between the picture and the sum is the light that is
missing.

Everything works on blocks (`evenfall.prove.blocks`): their checker differences tell how much of a
difference is noise, also where two pictures share it because they were rendered together.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from evenfall.prove.blocks import BlockPicture, Float, pool

__all__ = ["Comparison", "SumOf", "added_up", "compare", "same_pictures", "sums_among"]

Key = TypeVar("Key", bound=Hashable)

_SIGMAS = 3.0
_ROUNDING = 0.004  # half floats and lossy codecs, share of a block's light
_DARK = 0.02  # of the mean: below it, differences count absolutely
_CLEARLY = 0.02  # of a block's light, beyond noise and rounding
_STRAY = 0.015  # share of the blocks that may differ clearly: fireflies, lossy codecs
_ONE = (0.92, 1.08)  # factors of what a picture holds
_FAINT = 0.6  # least factor that noise can make of 1
_LEAST_HELD = 0.35  # share of a picture's light that its parts must explain
_NOISIEST = 0.5  # mean tolerance over light: beyond it nothing can be told
_BELOW = 0.004  # weight of light above the fit against light below it
_EXPECTILE = 2.016  # standard deviations that it lies below the mean of a normal distribution
_ROUNDS = 60
_PIVOTS, _PATIENCE = 200, 3
_ALIKE = 0.98  # cosine of the angle between pictures
_MOST_BLOCKS = 2000  # of one channel, in fits
_MEDIAN_CHI2 = 0.4549  # median of a chi-square variate with one degree of freedom
_MOST_CORRELATED = 16.0  # in variance: the widest pixel filters


@dataclass(frozen=True)
class Comparison:
    """A picture against a sum of others.

    Parameters
    ----------
    over, under : float
        Shares of the blocks in which the picture is clearly above and below the sum.
    missing : float
        Share of the picture's light that the sum lacks, beyond noise.
    noise : float
        Mean tolerance over light: how much the noise leaves open.
    """

    over: float
    under: float
    missing: float
    noise: float

    @property
    def decides(self) -> bool:
        """Whether noise leaves anything to be told."""
        return self.noise < _NOISIEST

    @property
    def equals(self) -> bool:
        """Whether the picture is the sum."""
        return self.decides and self.over < _STRAY and self.under < _STRAY

    @property
    def holds(self) -> bool:
        """Whether the picture holds the sum, and perhaps more."""
        return self.decides and self.under < _STRAY


@dataclass(frozen=True)
class SumOf(Generic[Key]):
    """A picture that holds others.

    Parameters
    ----------
    total : Key
        The picture.
    addends : tuple of Key
        Those that it holds.
    comparison : Comparison
        The picture against their sum.
    """

    total: Key
    addends: tuple[Key, ...]
    comparison: Comparison

    @property
    def is_whole(self) -> bool:
        """Whether nothing is missing."""
        return self.comparison.equals


def added_up(pictures: Sequence[BlockPicture]) -> BlockPicture:
    """Sum of pictures of one size; at least one.

    Examples
    --------
    >>> lamp = BlockPicture(np.ones((3, 1, 2)), np.zeros((3, 1, 2)))
    >>> added_up([lamp, lamp]).means[0].tolist()
    [[2.0, 2.0]]
    """
    means = np.sum([each.means for each in pictures], axis=0)
    return BlockPicture(means, np.sum([each.checker for each in pictures], axis=0))


def compare(picture: BlockPicture, addends: Sequence[BlockPicture]) -> Comparison:
    """Hold a picture against the sum of others, all of one size.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> lamp, sky = (BlockPicture(rng.gamma(2, 1, (3, 9, 9)), np.zeros((3, 9, 9))) for _ in "ab")
    >>> both = BlockPicture(lamp.means + sky.means, lamp.checker)
    >>> compare(both, [lamp, sky]).equals, compare(both, [lamp]).equals, compare(both, [lamp]).holds
    (True, False, True)
    """
    total = added_up(addends)
    difference = BlockPicture(picture.means - total.means, picture.checker - total.checker)
    sigma = _sigma(difference)
    over = under = 0.0
    for factor in (1, 4):
        if factor > 1 and min(difference.means.shape[1:]) < 8 * factor:
            break
        level, means = (pool(each, factor) for each in (np.abs(picture.means), difference.means))
        floor = level + _DARK * float(level.mean())
        tolerance = _SIGMAS * np.sqrt(pool(sigma**2, factor)) / factor + _ROUNDING * floor
        over = max(over, float(np.mean(means > tolerance + _CLEARLY * floor)))
        under = max(under, float(np.mean(means < -tolerance - _CLEARLY * floor)))
        if factor == 1:
            light = float(level.sum()) or 1.0
            missing = float(np.clip(means - tolerance, 0, level).sum()) / light
            noise = float(np.minimum(tolerance, level).sum()) / light
    return Comparison(over, under, missing, noise)


def _sigma(difference: BlockPicture) -> Float:
    """Tell the standard error of the means of a difference's blocks from its grain."""
    local, means = _grain(difference), difference.means
    bent = means[:, 1:-1, 1:-1] - 0.25 * (
        means[:, 1:-1, :-2] + means[:, 1:-1, 2:] + means[:, :-2, 1:-1] + means[:, 2:, 1:-1]
    )
    inner = local[:, 1:-1, 1:-1]
    lit = inner > 0
    if lit.any():
        ratio = _median(bent[lit] ** 2 / 1.25 / inner[lit]) / _MEDIAN_CHI2
        local = local * min(max(1.0, ratio), _MOST_CORRELATED)
    sigma: Float = np.sqrt(local)
    return sigma


def _median(values: Float) -> float:
    """Median, without the masked arrays that numpy imports for its own."""
    middle = [(values.size - 1) // 2, values.size // 2]
    return float(np.partition(values, middle)[middle].mean())


def same_pictures(pictures: Mapping[Key, BlockPicture]) -> list[tuple[Key, Key]]:
    """Pairs of pictures that are the same but for noise; each is paired with the first of its kind.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> lamp, sky = (BlockPicture(rng.gamma(2, 1, (3, 9, 9)), np.zeros((3, 9, 9))) for _ in "ab")
    >>> same_pictures({"a": lamp, "b": sky, "c": lamp})
    [('a', 'c')]
    """
    light = {key: float(picture.means.sum()) for key, picture in pictures.items()}
    firsts: list[Key] = []
    pairs = []
    for key, picture in pictures.items():
        for first in firsts:
            least, most = sorted((light[first], light[key]))
            alike = least > 0.9 * most > 0
            if alike and compare(picture, [pictures[first]]).equals:
                pairs.append((first, key))
                break
        else:
            firsts.append(key)
    return pairs


def sums_among(
    pictures: Mapping[Key, BlockPicture], totals: Sequence[Key] | None = None
) -> list[SumOf[Key]]:
    """Find pictures that hold two or more of the others, brightest first.

    A picture that is the sum of some is not counted as part of a brighter one: its parts are.

    Parameters
    ----------
    pictures : mapping of key to BlockPicture
        All of one size; no two the same.
    totals : sequence of key, optional
        Pictures that are tried as sums; all of them otherwise.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> make = lambda: BlockPicture(rng.gamma(0.3, 1, (3, 9, 9)), np.zeros((3, 9, 9)))
    >>> sun, sky, lamp, strip = (make() for _ in range(4))
    >>> beauty = BlockPicture(sum(p.means for p in (sun, sky, lamp, strip)), sun.checker)
    >>> found = sums_among({"sun": sun, "room": beauty, "sky": sky, "lamp": lamp})
    >>> [(each.total, each.addends, each.is_whole) for each in found]
    [('room', ('sun', 'sky', 'lamp'), False)]
    """
    small = {key: _coarse(picture) for key, picture in pictures.items()}
    light = {key: float(picture.means.sum()) for key, picture in small.items()}
    grain = {key: _grain(picture) for key, picture in small.items()}
    tried = sorted(totals if totals is not None else pictures, key=lambda key: light[key])
    found: list[SumOf[Key]] = []
    for total in tried:
        wholes = {each.total for each in found if each.is_whole}
        others = [
            key
            for key in pictures
            if key != total
            and key not in wholes
            and 0 < light[key] < light[total]
            and _fits_below(small, grain, total, key)
        ]
        if len(others) < 2:
            continue
        factors = _largest_factors(small[total], [small[key] for key in others])
        by_key = dict(zip(others, factors, strict=True))
        held = [key for key, factor in by_key.items() if factor > _ONE[0]]
        clean = [key for key, factor in by_key.items() if _ONE[0] < factor < _ONE[1]]
        explained = sum(light[key] for key in held)
        enough = len(clean) >= 2 and 2 * len(clean) >= len(held)
        if enough and explained > _LEAST_HELD * light[total]:
            faint = [key for key, factor in by_key.items() if _FAINT < factor <= _ONE[0]]
            best = _nearest(small, total, held, faint, others)
            comparison = compare(pictures[total], [pictures[key] for key in best])
            if comparison.holds:
                addends = tuple(key for key in others if key in best)
                found.append(SumOf(total, addends, comparison))
    return found[::-1]


def _nearest(
    small: Mapping[Key, BlockPicture],
    total: Key,
    held: Sequence[Key],
    faint: Sequence[Key],
    others: Sequence[Key],
) -> list[Key]:
    """Change a sum step by step where it comes nearer to the picture.

    Pictures whose factor their own noise has lowered are taken in. Pictures that are alike share
    factors as they like: one is exchanged for another where the sum is equal then.
    """
    best, now = list(held), compare(small[total], [small[key] for key in held])
    for key in faint:
        comparison = compare(small[total], [small[each] for each in (*best, key)])
        if comparison.holds and comparison.over < now.over:
            best, now = [*best, key], comparison
    if now.equals:
        return best
    for gone in held:
        for key in others:
            if key not in best and _are_alike(small[gone], small[key]):
                exchanged = [each for each in best if each != gone] + [key]
                if compare(small[total], [small[each] for each in exchanged]).equals:
                    return exchanged
    return best


def _are_alike(one: BlockPicture, other: BlockPicture) -> bool:
    """Whether two pictures are nearly multiples of each other."""
    lengths = float(np.linalg.norm(one.means)) * float(np.linalg.norm(other.means))
    return float(np.vdot(one.means, other.means)) > _ALIKE * lengths


def _coarse(picture: BlockPicture) -> BlockPicture:
    """Bring a picture down to as many blocks as fits need."""
    rows, columns = picture.means.shape[1:]
    factor = int(np.ceil((rows * columns / _MOST_BLOCKS) ** 0.5))
    if factor < 2:
        return picture
    return BlockPicture(pool(picture.means, factor), pool(picture.checker, factor))


def _fits_below(
    small: Mapping[Key, BlockPicture], grain: Mapping[Key, Float], total: Key, key: Key
) -> bool:
    """Whether a picture is nowhere clearly brighter than another one."""
    above, below = small[total].means, small[key].means
    sigma = np.sqrt(grain[total] + grain[key])
    floor = above + _DARK * float(above.mean())
    beyond = below - above > _SIGMAS * sigma + (_ROUNDING + _CLEARLY) * floor
    return float(np.mean(beyond)) < _STRAY


def _grain(picture: BlockPicture) -> Float:
    """Variance of the means of a picture's blocks by its grain, over 5 x 5 of them."""
    squares = np.pad(picture.checker**2 / 4, ((0, 0), (2, 2), (2, 2)), mode="edge")
    rows, columns = picture.checker.shape[1:]
    down = np.sum([squares[:, first : first + rows] for first in range(5)], axis=0)
    both = np.sum([down[:, :, first : first + columns] for first in range(5)], axis=0)
    grain: Float = both / 25
    return grain


def _largest_factors(total: BlockPicture, pictures: Sequence[BlockPicture]) -> Float:
    """Factors under which pictures fit below another one, as large as they can be together.

    A non-negative least-squares fit that weighs light below the picture hardly at all (an expectile
    near 0; Newey and Powell 1987), and light above it by its noise, within limits (Huber 1964).
    """
    columns = np.stack([each.means.ravel() for each in pictures], axis=1)
    checkers = np.stack([each.checker for each in pictures])
    level = np.abs(total.means) + _DARK * float(np.abs(total.means).mean())
    rounding = ((_ROUNDING * level) ** 2).ravel() + 1e-30
    factors = np.ones(len(pictures))
    for _ in range(_ROUNDS):
        difference = total.checker - np.tensordot(factors, checkers, 1)
        variance = _grain(BlockPicture(level, difference)).ravel()
        # Noise alone must not lower the factors, so the picture is lifted by what it lowers.
        target = total.means.ravel() + _EXPECTILE * np.sqrt(variance)
        base = 1 / (variance + rounding)
        standard = (target - columns @ factors) * np.sqrt(base)
        robust = 1 / np.maximum(1.0, np.abs(standard) / _SIGMAS)
        weights = base * robust * np.where(standard > 0, _BELOW, 1.0)
        weighted = columns * weights[:, None]
        previous, factors = factors, _not_negative(weighted.T @ columns, weighted.T @ target)
        if np.allclose(previous, factors, rtol=1e-3, atol=1e-4):
            break
    return factors


def _not_negative(gram: Float, right: Float) -> Float:
    """Least squares with factors of 0 or more, by block principal pivoting (Kim and Park 2011)."""
    scale = 1 / np.sqrt(np.maximum(np.diag(gram), 1e-300))
    gram = gram * np.outer(scale, scale) + 1e-9 * np.eye(len(scale))
    right = right * scale
    free = np.zeros(len(right), bool)
    factors, gradient = np.zeros(len(right)), -right
    fewest, patience = len(right) + 1, _PATIENCE
    for _ in range(_PIVOTS):
        wrong = np.where(free, factors < 0, gradient < 0)
        count = int(wrong.sum())
        if count == 0:
            break
        if count < fewest:
            fewest, patience = count, _PATIENCE
        elif patience:
            patience -= 1
        else:  # one at a time, which cannot go in circles
            wrong[: int(np.flatnonzero(wrong)[-1])] = False
        free ^= wrong
        factors = np.zeros(len(right))
        if free.any():
            factors[free] = np.linalg.solve(gram[np.ix_(free, free)], right[free])
        gradient = gram @ factors - right
        gradient[free] = 0
    solved: Float = np.maximum(factors, 0) * scale
    return solved
