"""Faults of single pictures: moved, cut off, denoised, black, without background or alpha."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from evenfall.passes.mending.cures import AGAINST_NOISE
from evenfall.prove.blocks import BlockGrid
from evenfall.prove.diagnosis import Diagnosis, Region
from evenfall.prove.evidence import DENOISER_BIAS, Evidence, Mask, loudest, percent

__all__ = ["find_defects"]

_BACKGROUND_SHARE = 0.002  # of the blocks
_CLIPPED_LIGHT = 2e-4  # share of all light
_OPEN = 0.002  # share of pixels with alpha below one half
_ALPHA_STEP = 0.02


def find_defects(evidence: Evidence) -> Iterator[Diagnosis]:
    """Say what is wrong with single pictures."""
    yield from _moved(evidence)
    yield from _clipped(evidence)
    yield from _background(evidence)
    yield from _denoised(evidence)
    yield from _alpha(evidence)
    yield from _empty(evidence)


def _moved(evidence: Evidence) -> Iterator[Diagnosis]:
    shift = evidence.shift
    if shift is None:
        return
    yield Diagnosis(
        "camera-moved",
        () if shift.index is None else (evidence.names[shift.index],),
        f"all passes stand {shift.words} of where the beauty has them"
        if shift.index is None
        else f"stands {shift.words} of where the beauty has it",
        "render it again with the camera, lens, crop and objects of the others locked",
        loudest(evidence, evidence.explanation.residual),
    )


def _clipped(evidence: Evidence) -> Iterator[Diagnosis]:
    """Where a flat top was left out of the fit, see whether the fit says it was cut off."""
    explanation = evidence.explanation
    if not explanation.explains or explanation.colours is not None or explanation.beauty_decoded:
        return
    residual = explanation.residual
    light = float(np.abs(evidence.beauty.blocks.means).sum()) or 1.0
    error = np.sqrt(np.maximum(explanation.judge.variance, residual.checker**2 / 4))
    slack = 3 * error + 0.01 * np.abs(evidence.beauty.blocks.means)
    if any(level is not None for level in evidence.beauty.top):
        lost = np.maximum(-residual.means - slack, 0)[evidence.beauty.topped].sum() / light
        if lost > _CLIPPED_LIGHT:
            levels = sorted({f"{level:.4g}" for level in evidence.beauty.top if level is not None})
            yield Diagnosis(
                "beauty-clipped",
                (),
                f"the beauty was cut off at {' / '.join(levels)}: the passes go on above it and "
                f"hold {percent(lost)} more light there",
                "save the beauty without clamping (half or float, no display transform); the "
                "passes are sound there",
            )
    for index, measured in enumerate(evidence.passes):
        if index in explanation.decoded:
            continue
        alone = measured.topped & ~evidence.beauty.topped
        gap = np.maximum(residual.means - slack, 0)[alone].sum() / light
        if gap > _CLIPPED_LIGHT:
            levels = sorted({f"{level:.4g}" for level in measured.top if level is not None})
            yield Diagnosis(
                "pass-clipped",
                (evidence.names[index],),
                f"was cut off at {' / '.join(levels)}; the beauty holds {percent(gap)} more "
                "light there",
                "render it again without clamping, or save it as half or float",
            )


def _background(evidence: Evidence) -> Iterator[Diagnosis]:
    if not evidence.explanation.explains or evidence.explanation.beauty_decoded:
        return
    missing = float(evidence.background_missing.mean())
    if missing > _BACKGROUND_SHARE:
        yield Diagnosis(
            "background-missing",
            (),
            f"the beauty shows a background in {percent(missing)} of the picture that is in no "
            "pass",
            "render the background into one pass (usually the sky's), or make the beauty without "
            "it and put a plate behind the alpha",
            _extent(evidence.background_missing, evidence.grid),
        )
    repeated = float(evidence.background_repeated.mean())
    residual = evidence.plain.residual(np.ones(len(evidence.names))).means.sum(0)
    if repeated > _BACKGROUND_SHARE and residual[evidence.background_repeated].mean() < 0:
        yield Diagnosis(
            "background-repeated",
            (),
            f"several passes show the same background in {percent(repeated)} of the picture",
            "keep the background in one pass only: hide it from the camera in the others",
            _extent(evidence.background_repeated, evidence.grid),
        )


def _extent(mask: Mask, grid: BlockGrid) -> Region:
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    left, top, _, _ = grid.pixels(int(rows[0]), int(columns[0]))
    _, _, right, bottom = grid.pixels(int(rows[-1]), int(columns[-1]))
    return Region(left, top, right, bottom)


def _denoised(evidence: Evidence) -> Iterator[Diagnosis]:
    grain, explanation = evidence.grain, evidence.explanation
    if grain is None or not (explanation.explains or explanation.after < DENOISER_BIAS):
        return
    remedy = f"prove and mix raw pictures; against noise render longer, or {AGAINST_NOISE}"
    if grain.blotchy:
        yield Diagnosis(
            "denoised-apart",
            evidence.names,
            "beauty and passes were denoised each on its own: they differ in soft blotches, and "
            "none has grain",
            remedy,
        )
        return
    if grain.smooth_passes:
        yield Diagnosis(
            "denoised-apart",
            tuple(evidence.names[index] for index in grain.smooth_passes),
            "calm where the beauty is grainy: denoised on its own, or rendered with far more "
            "samples",
            remedy,
        )
    if grain.smooth_beauty:
        yield Diagnosis(
            "denoised-apart",
            (),
            "the beauty is calm where the passes are grainy: denoised on its own, or rendered with "
            "far more samples",
            remedy,
        )


def _alpha(evidence: Evidence) -> Iterator[Diagnosis]:
    if evidence.beauty.open_share < _OPEN or evidence.beauty.alpha is None:
        return
    without, differing = [], []
    for name, measured in zip(evidence.names, evidence.passes, strict=True):
        if measured.alpha is None or measured.open_share == 0:
            without.append(name)
        elif float(np.abs(measured.alpha - evidence.beauty.alpha).mean()) > _ALPHA_STEP:
            differing.append(name)
    share = percent(evidence.beauty.open_share)
    if without:
        yield Diagnosis(
            "alpha-missing",
            tuple(without),
            f"no alpha, though the beauty is open in {share} of the picture",
            "render alpha into every pass, or no plate can be put behind it",
        )
    if differing:
        yield Diagnosis(
            "alpha-differs",
            tuple(differing),
            "alpha is not the beauty's",
            "render all passes with the same objects visible to the camera",
        )


def _empty(evidence: Evidence) -> Iterator[Diagnosis]:
    for name, measured in zip(evidence.names, evidence.passes, strict=True):
        if not measured.blocks.means.any():
            yield Diagnosis(
                "pass-empty",
                (name,),
                "holds no light at all",
                "check that its light was on when it was rendered",
            )
