"""Which explanation makes passes and beauty agree: factors, an encoding to undo, a missing light.

The search is of the plainest kind: passes as they are; then any factors; then factors with one
pass, or the beauty, decoded first; then factors a channel. An explanation holds when what it leaves
is noise.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenfall.prove.blocks import BlockPicture, Float
from evenfall.prove.fit import (
    BlockSet,
    FittedFactors,
    Judge,
    fit_factors,
    one_factor,
    saturated_residual,
)

__all__ = ["Explanation", "SecondLook", "explain", "is_noise", "tone_curve_explains"]

_SIGNIFICANT = 6.0  # standard errors of a group of blocks; noise alone stays below 5
_TOLERATED = 0.002  # relative light beyond noise
_SURE_FACTOR = 4.0  # standard errors
_SMALL_FACTOR = 0.03  # a 24th of a stop
_EXPLAINED = 0.05  # an explanation leaves at most this part of what was unexplained
_ALIKE = 1.005
_UNLIKELY_FACTOR = 0.2
_SURPLUS_MATTERS = 0.001
_SURPLUS_LEAVES = 0.15
_ENOUGH_BLOCKS = 50
_CURVE_LEAVES = 0.15
_CURVE_MATTERS = 0.05  # a tone curve moves more light than this
_HELPS = 0.7  # undoing one more encoding leaves at most this part


@dataclass(frozen=True)
class SecondLook:
    """What is only needed if the pictures do not add up as they are.

    Parameters
    ----------
    passes, beauty : BlockPicture
        The same pictures with the sRGB encoding undone.
    """

    passes: tuple[BlockPicture, ...]
    beauty: BlockPicture


@dataclass(frozen=True, eq=False)
class Explanation:
    """What makes the passes add up to the beauty, as far as anything does.

    Parameters
    ----------
    blocks : BlockSet
        The set, with encodings undone.
    judge : Judge
        Noise of that set.
    factors, errors : ndarray
        Shape (n,): factor by which each pass enters the beauty, 1 where it enters as it is.
    fitted : ndarray
        Shape (n,): the best factors when all are free.
    colours, colour_errors : ndarray or None
        Shape (n, 3): factors a channel and their standard errors, where these and only these
        explain the beauty.
    decoded : tuple of int
        Passes that had to be decoded first.
    beauty_decoded : bool
        Whether the beauty had to be decoded first.
    tone_mapped : bool
        Whether the beauty follows the plain sum along a curve.
    before, after : float
        Share of light unexplained by the plain sum, and by this explanation.
    holds : bool
        Whether what is left is noise.
    """

    blocks: BlockSet
    judge: Judge
    factors: Float
    errors: Float
    fitted: Float
    colours: Float | None = None
    colour_errors: Float | None = None
    decoded: tuple[int, ...] = ()
    beauty_decoded: bool = False
    tone_mapped: bool = False
    before: float = 0.0
    after: float = 0.0
    holds: bool = True

    @property
    def plain(self) -> bool:
        """Whether it changes nothing: the passes as they are."""
        changed = self.decoded or self.beauty_decoded or self.colours is not None
        return not changed and bool(np.all(self.factors == 1))

    @property
    def explains(self) -> bool:
        """Whether it leaves noise, or next to nothing of what was unexplained."""
        return self.holds or self.after < _EXPLAINED * self.before

    @property
    def residual(self) -> BlockPicture:
        """What the explanation leaves."""
        if self.colours is None:
            return self.blocks.residual(self.factors)
        means, checker = self.blocks.beauty.means.copy(), self.blocks.beauty.checker.copy()
        for colour, picture in zip(self.colours, self.blocks.passes, strict=True):
            means -= colour[:, None, None] * picture.means
            checker -= colour[:, None, None] * picture.checker
        return BlockPicture(means, checker)


def is_noise(judge: Judge, residual: BlockPicture) -> bool:
    """Whether a residual is nothing but its own noise.

    No group of 4 x 4 or 16 x 16 blocks is further than 6 standard errors off. Single blocks are
    not asked: their errors are known too roughly, and a fault in one shows in its group as well.
    """
    excesses = judge.excess(residual)
    for excess in excesses[1:] or excesses:
        sigmas = np.abs(excess.sigmas[excess.level > 0])
        if sigmas.size and float(sigmas.max()) > _SIGNIFICANT:
            return False
    return True


def explain(blocks: BlockSet, look_again: Callable[[], SecondLook]) -> Explanation:
    """Search the plainest explanation of the beauty by the passes.

    Parameters
    ----------
    blocks : BlockSet
        Beauty and passes as they are.
    look_again : callable
        Reads the pictures again; only called when the passes as they are do not make the beauty.
    """
    plain = _plain(blocks, ())
    if plain.holds:
        return plain
    decoded = look_again()
    plain = _plain(blocks, decoded.passes)
    scaled = _scaled(plain)
    if scaled.holds:
        return _rather_encoded(plain, scaled, decoded)
    candidates = [scaled, *_decode_passes(plain, decoded.passes)]
    beauty = _decode_beauty(plain, decoded)
    best = min([*candidates, beauty], key=_left)
    if best.explains:
        return best
    coloured = _coloured(plain)
    if coloured.holds:
        return coloured
    if tone_curve_explains(plain):
        return replace(plain, tone_mapped=True)
    return _one_at_most(plain)


def _left(explanation: Explanation) -> float:
    return explanation.after


def _plain(blocks: BlockSet, spare: Sequence[BlockPicture]) -> Explanation:
    judge = Judge(blocks, saturated_residual(blocks, spare))
    ones = np.ones(len(blocks.passes))
    residual = blocks.residual(ones)
    left = judge.unexplained(residual)
    fit = fit_factors(blocks, judge)
    holds = is_noise(judge, residual)
    return Explanation(
        blocks, judge, ones, fit.errors, fit.factors, before=left, after=left, holds=holds
    )


def _scaled(plain: Explanation) -> Explanation:
    """Fit factors, and set to 1 those that cannot be told from 1."""
    fitted = fit_factors(plain.blocks, plain.judge)
    factors = _settled(fitted)
    left = plain.judge.unexplained(plain.blocks.residual(factors))
    free = plain.judge.unexplained(plain.blocks.residual(fitted.factors))
    if left > 2 * free + _TOLERATED:
        factors, left = fitted.factors, free
    holds = is_noise(plain.judge, plain.blocks.residual(factors))
    return replace(
        plain,
        factors=factors,
        errors=fitted.errors,
        fitted=fitted.factors,
        after=left,
        holds=holds,
    )


def _settled(fitted: FittedFactors) -> Float:
    slack = np.maximum(_SMALL_FACTOR, _SURE_FACTOR * fitted.errors)
    settled: Float = np.where(np.abs(fitted.factors - 1) <= slack, 1.0, fitted.factors)
    common = float(np.median(fitted.factors))
    if abs(common - 1) > _SMALL_FACTOR:
        near = np.abs(fitted.factors - common) <= np.maximum(_SMALL_FACTOR * common, slack)
        settled = np.where(near & (settled != 1.0), common, settled)
    return settled


def _decode_passes(plain: Explanation, decoded: Sequence[BlockPicture]) -> list[Explanation]:
    """Undo the encoding of one pass after the other, as long as each helps much."""
    found: list[Explanation] = []
    current, left = plain, plain.before
    for _ in range(len(decoded)):
        remaining = [index for index in range(len(decoded)) if index not in current.decoded]
        tried = [_plainest(_decode_one(current, index, decoded[index])) for index in remaining]
        best = min(tried, key=_left, default=None)
        if best is None or best.after > _HELPS * left:
            break
        found.append(best)
        current, left = best, best.after
        if best.holds:
            break
    return found


def _decode_one(current: Explanation, index: int, picture: BlockPicture) -> Explanation:
    return replace(
        current,
        blocks=current.blocks.with_pass(index, picture),
        decoded=(*current.decoded, index),
    )


def _decode_beauty(plain: Explanation, decoded: SecondLook) -> Explanation:
    beauty = _plain(replace(plain.blocks, beauty=decoded.beauty), decoded.passes)
    if not beauty.holds:
        scaled = _scaled(beauty)
        if scaled.holds or len(set(scaled.factors.tolist())) == 1:
            beauty = scaled
    return replace(beauty, beauty_decoded=True, before=plain.before)


def _plainest(explanation: Explanation) -> Explanation:
    """Leave factors at 1 if that explains, else fit them."""
    ones = np.ones_like(explanation.factors)
    residual = explanation.blocks.residual(ones)
    left = explanation.judge.unexplained(residual)
    holds = is_noise(explanation.judge, residual)
    kept = replace(explanation, factors=ones, after=left, holds=holds)
    return kept if kept.explains else _scaled(explanation)


def _rather_encoded(plain: Explanation, scaled: Explanation, decoded: SecondLook) -> Explanation:
    """Prefer an encoded pass that needs no factor to a pass that needs one, if it fits better.

    Where both fit alike, for the pass is weak, a factor beyond 2.3 stops is the less likely one.
    """
    best = scaled
    for index in np.flatnonzero(scaled.factors != 1):
        found = _plainest(_decode_one(plain, int(index), decoded.passes[index]))
        slack = _ALIKE if scaled.factors[index] < _UNLIKELY_FACTOR else 1.0
        fits = found.explains and bool(np.all(found.factors == 1))
        if fits and _misfit(found) < slack * _misfit(best):
            best = found
    return best


def _misfit(explanation: Explanation) -> float:
    """Mean squared difference in standard errors, outliers cut at 3."""
    excess = explanation.judge.excess(explanation.residual)[0]
    sigmas = excess.sigmas[excess.level > 0]
    return float(np.minimum(sigmas**2, 9).mean())


def _coloured(plain: Explanation) -> Explanation:
    """Fit factors a channel: another white balance or another colour space."""
    fits = [fit_factors(plain.blocks, plain.judge, channel) for channel in range(3)]
    colours = np.stack([fit.factors for fit in fits], 1)
    errors = np.stack([fit.errors for fit in fits], 1)
    found = replace(plain, colours=colours, colour_errors=errors)
    left = plain.judge.unexplained(found.residual)
    return replace(found, after=left, holds=is_noise(plain.judge, found.residual))


def _one_at_most(plain: Explanation) -> Explanation:
    """Keep the passes as they are, but for one factor that alone explains much.

    That is most of what was unexplained, or all the light that the sum has too much: what then
    remains is light that is in no pass.
    """
    surplus = _surplus(plain)
    best = plain
    for index in range(len(plain.blocks.passes)):
        for factor in (_usual_factor(plain, index), _least_factor(plain, index)):
            factors = plain.factors.copy()
            factors[index] = factor
            left = plain.judge.unexplained(plain.blocks.residual(factors))
            changed = replace(plain, factors=factors, after=left)
            if abs(factor - 1) <= _SMALL_FACTOR or left >= best.after:
                continue
            tamed = surplus > _SURPLUS_MATTERS and _surplus(changed) < _SURPLUS_LEAVES * surplus
            if tamed or left < (1 - _HELPS) * plain.after:
                best = changed
    return best


def _surplus(explanation: Explanation) -> float:
    """Share of light that the sum has too much, at the scale that shows most."""
    excesses = explanation.judge.excess(explanation.residual)
    return max(excess.shares()[1] for excess in excesses)


def _usual_factor(plain: Explanation, index: int) -> float:
    """Find the factor that suits all blocks best."""
    picture = plain.blocks.passes[index].means
    target = plain.residual.means + plain.factors[index] * picture
    return one_factor(target, picture, plain.judge.weights())


def _least_factor(plain: Explanation, index: int) -> float:
    """Find the factor that leaves no light too much, though some may be missing."""
    picture, judge = plain.blocks.passes[index].means, plain.judge
    target = plain.residual.means + plain.factors[index] * picture
    error = np.sqrt(judge.variance + (_SMALL_FACTOR * picture) ** 2)
    telling = judge.keep & (picture > 5 * np.sqrt(judge.variance))
    if telling.sum() < _ENOUGH_BLOCKS:
        return 1.0
    factor = max(0.0, float(np.quantile((target / np.where(telling, picture, 1))[telling], 0.1)))
    for _ in range(5):
        fits = telling & (np.abs(target - factor * picture) < 3 * error)
        if fits.sum() < _ENOUGH_BLOCKS:
            return 1.0
        factor = one_factor(target[fits], picture[fits], judge.weights()[fits])
    return factor


def tone_curve_explains(explanation: Explanation) -> bool:
    """Whether one rising curve from sum to beauty explains nearly all that they differ by.

    The curve is the isotonic regression of the medians of 200 equal bins.
    """
    from scipy.optimize import isotonic_regression

    judge, residual = explanation.judge, explanation.residual
    beauty = explanation.blocks.beauty.means
    total = beauty - residual.means
    kept = total[judge.keep]
    bins = np.array_split(np.argsort(kept), min(200, max(4, kept.size // 50)))
    sums = np.array([np.median(kept[chosen]) for chosen in bins])
    values = [float(np.median(beauty[judge.keep][chosen])) for chosen in bins]
    curve = isotonic_regression(values).x
    left = beauty - np.interp(total, sums, curve)
    curved = judge.unexplained(BlockPicture(left, residual.checker))
    straight = judge.unexplained(residual)
    slope = np.polynomial.polynomial.polyfit(sums, curve, 1)
    bent = float(np.abs(curve - slope[0] - slope[1] * sums).max()) > 0.05 * float(np.ptp(curve))
    return bent and straight > _CURVE_MATTERS and curved < _CURVE_LEAVES * straight
