"""Remarks on single pictures, each with evidence about that picture; none decides anything."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from evenfall.passes.mending.cures import AGAINST_NOISE
from evenfall.prove.diagnosis import Rectangle, Remark
from evenfall.prove.fit import BlockSet, Judge
from evenfall.prove.measure import Measured
from evenfall.prove.noise import GrainReport, grain_report
from evenfall.prove.told import percent

__all__ = ["place_remarks", "remarks"]

_OPEN = 0.002  # share of pixels with alpha below one half
_ALPHA_STEP = 0.02
_FLAT = 0.01  # of the blocks
_GRAINY = 2.5  # in standard deviation
_LOUD_PLACE = 6.0
"""Times the noise that one block must pass; on honest path-traced sets the worst had 5.8."""

_MUCH = 0.1  # of the beauty's light there
_DENOISE = f"mixing is not touched by it; against noise render longer, or {AGAINST_NOISE}"


def remarks(
    names: Sequence[str],
    beauty: Measured,
    passes: Sequence[Measured],
    blocks: BlockSet,
    judge: Judge,
    *,
    agrees: bool,
) -> tuple[Remark, ...]:
    """Say what is worth knowing of single pictures; `agrees` says whether passes and beauty do."""
    return (
        *_empty(names, passes),
        *_grain(names, grain_report(blocks, judge), agrees=agrees),
        *_flat_tops(names, passes),
        *_alpha(names, beauty, passes),
    )


def place_remarks(place: Rectangle | None, share: float, sigmas: float) -> tuple[Remark, ...]:
    """Speak of the worst place of a set that adds up: no group of blocks shows a lamp so small.

    Parameters
    ----------
    place : Rectangle or None
        Where passes and beauty differ most against their noise.
    share : float
        Of the beauty's light there, what is in no pass.
    sigmas : float
        How many times the noise that is.
    """
    if place is None or share < _MUCH or sigmas < _LOUD_PLACE:
        return ()
    return (
        Remark(
            "place-stands-out",
            (),
            f"{percent(share)} of the beauty's light in {place} is in no pass, {sigmas:.1f} times "
            "the noise, though all around agrees: a lamp as small as that may have no pass, or the "
            "beauty has a firefly there",
            "look at that place in the beauty; if a lamp is there, render its pass",
        ),
    )


def _empty(names: Sequence[str], passes: Sequence[Measured]) -> Iterator[Remark]:
    black = [
        name
        for name, measured in zip(names, passes, strict=True)
        if not measured.blocks.means.any()
    ]
    if black:
        message = "holds no light at all" if len(black) == 1 else "hold no light at all"
        advice = "check that the light was on when it was rendered"
        yield Remark("pass-empty", tuple(black), message, advice)


def _grain(names: Sequence[str], grain: GrainReport, *, agrees: bool) -> Iterator[Remark]:
    """Speak of grain; where passes and beauty differ, it is not known whose it is."""
    if grain.blotchy:
        yield Remark(
            "denoised-apart",
            tuple(names),
            "beauty and passes differ in soft blotches and none has grain: all were denoised, each "
            "on its own",
            _DENOISE,
        )
    if grain.blotchy or not agrees:
        return
    for index in grain.smooth_passes:
        yield Remark(
            "denoised-apart",
            (names[index],),
            f"has hardly any grain ({percent(grain.passes[index].deviation)} of its light; passes "
            f"here usually have {percent(grain.usual_deviation)}): denoised on its own, "
            "rendered with far more samples, or a light that is easily sampled",
            _DENOISE,
        )
    if grain.smooth_beauty:
        yield Remark(
            "denoised-apart",
            (),
            f"the beauty has hardly any grain ({percent(grain.beauty.deviation)} of its light, "
            f"where the passes together have {percent(grain.sum_deviation)}): denoised on its own, "
            "or rendered with far more samples",
            _DENOISE,
        )
    ratio = grain.beauty.deviation / max(grain.sum_deviation, 1e-12)
    if grain.beauty.measured and grain.sum_measured and ratio > _GRAINY:
        yield Remark(
            "beauty-grainy",
            (),
            f"the beauty is {ratio:.1f} times as grainy as the passes together",
            "a mix of the passes will be calmer than the beauty; nothing needs to be done",
        )


def _flat_tops(names: Sequence[str], passes: Sequence[Measured]) -> Iterator[Remark]:
    for name, measured in zip(names, passes, strict=True):
        share = float(measured.topped.any(0).mean())
        levels = sorted({f"{level:.4g}" for level in measured.top if level is not None})
        if share > _FLAT and levels:
            yield Remark(
                "flat-top",
                (name,),
                f"many pixels share its largest value, {' / '.join(levels)}, in {percent(share)} "
                "of the picture: a lamp or sky of one radiance, or a pass that was cut off",
                "nothing needs to be done if something of one radiance is in view there",
            )


def _alpha(names: Sequence[str], beauty: Measured, passes: Sequence[Measured]) -> Iterator[Remark]:
    if beauty.open_share < _OPEN or beauty.alpha is None:
        return
    without, differing = [], []
    for name, measured in zip(names, passes, strict=True):
        if measured.alpha is None or measured.open_share == 0:
            without.append(name)
        elif float(np.abs(measured.alpha - beauty.alpha).mean()) > _ALPHA_STEP:
            differing.append(name)
    if without:
        yield Remark(
            "alpha-missing",
            tuple(without),
            f"no alpha, though the beauty is open in {percent(beauty.open_share)} of the picture",
            "render alpha into every pass, or no plate can be put behind it",
        )
    if differing:
        yield Remark(
            "alpha-differs",
            tuple(differing),
            "alpha is not the beauty's",
            "render all passes with the same objects visible to the camera",
        )
