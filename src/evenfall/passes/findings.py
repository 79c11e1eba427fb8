"""From an explanation of the beauty to diagnoses in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.passes.blocks import BlockGrid, BlockPicture, Float
from evenfall.passes.diagnosis import Diagnosis, Region
from evenfall.passes.duplicates import SameLight, holders_of
from evenfall.passes.explanation import Explanation
from evenfall.passes.fit import BlockSet
from evenfall.passes.grain import GrainReport
from evenfall.passes.measure import Measured
from evenfall.passes.shift import Shift

__all__ = ["Evidence", "find"]

Mask = npt.NDArray[np.bool_]

_NOTHING = 0.05  # a factor below it: the beauty needs nothing of the pass
_BACKGROUND_SHARE = 0.002  # of the blocks
_CLIPPED_LIGHT = 2e-4  # share of all light
_OPEN = 0.002  # share of pixels with alpha below one half
_ALPHA_STEP = 0.02
_SURE_SIGMAS = 4.0
_WARM, _COOL = 1.3, 0.77  # red over blue of missing light, against the beauty's
_COLOUR_STEP = 0.05
_SURE_COLOUR = 0.02  # standard error of a factor that may speak for all
_DECODED_SLACK = 0.1  # a decoded pass near its ceiling fits less well
_DENOISER_BIAS = 0.01  # a denoiser alone may move this share of light


@dataclass(frozen=True, eq=False)
class Evidence:
    """All that was found out about a set with a beauty."""

    names: tuple[str, ...]
    grid: BlockGrid
    beauty: Measured
    passes: tuple[Measured, ...]
    plain: BlockSet
    explanation: Explanation
    grain: GrainReport | None
    shift: Shift | None
    twins: tuple[SameLight, ...]
    background_missing: Mask
    background_repeated: Mask


def find(evidence: Evidence) -> tuple[Diagnosis, ...]:
    """Say what is wrong, the gravest first; empty for a sound set."""
    return (
        *_beauty_as_a_whole(evidence),
        *_encoded(evidence),
        *_twins(evidence),
        *_factors(evidence),
        *_colours(evidence),
        *_moved(evidence),
        *_left_over(evidence),
        *_clipped(evidence),
        *_background(evidence),
        *_denoised(evidence),
        *_alpha(evidence),
        *_empty(evidence),
    )


def _common_factor(evidence: Evidence) -> float | None:
    """One factor other than 1 that all passes have, if they have."""
    explanation = evidence.explanation
    used = np.array([i for i in range(len(evidence.names)) if i not in _doubled(evidence)])
    factors, errors = explanation.factors[used], explanation.errors[used]
    if not explanation.explains or np.any(factors == 1):
        return None
    common = float(np.median(factors))
    slack = np.maximum(0.03 * common, 4 * errors)
    return common if np.all(np.abs(factors - common) <= slack) else None


def _doubled(evidence: Evidence) -> set[int]:
    return {pair.second for pair in evidence.twins}


def _beauty_as_a_whole(evidence: Evidence) -> Iterator[Diagnosis]:
    explanation = evidence.explanation
    if explanation.beauty_decoded and explanation.explains:
        top = evidence.beauty.top
        clipped = " and was cut off at 1" if any(level == 1 for level in top) else ""
        yield Diagnosis(
            "beauty-display-encoded",
            (),
            f"the beauty is display-encoded{clipped}: undoing the sRGB curve makes the passes add "
            "up",
            "save the beauty scene-linear, without a display transform; the passes are sound",
        )
    common = _common_factor(evidence)
    if common is not None:
        yield Diagnosis(
            "beauty-exposure",
            (),
            f"every pass enters the beauty {common:.3g} times: the beauty was exported "
            f"{_stops(np.log2(common))} against the passes",
            "export beauty and passes at one exposure; the passes fit each other",
        )


def _encoded(evidence: Evidence) -> Iterator[Diagnosis]:
    if not evidence.explanation.explains:
        return
    for index in evidence.explanation.decoded:
        cut = any(level == 1 for level in evidence.passes[index].top)
        yield Diagnosis(
            "pass-display-encoded",
            (evidence.names[index],),
            f"holds display-encoded values{', cut off at 1' if cut else ''}: undoing the sRGB "
            "curve makes the passes add up",
            "save the pass scene-linear, without a display transform",
        )


def _twins(evidence: Evidence) -> Iterator[Diagnosis]:
    for pair in evidence.twins:
        first, second = evidence.names[pair.first], evidence.names[pair.second]
        times = "" if abs(pair.factor - 1) < 0.03 else f" ({pair.factor:.3g} times)"
        yield Diagnosis(
            "pass-counted-twice",
            (second,),
            f"shows the same light as {first}{times}, which the beauty holds once",
            f"leave {second} out of the recipe, or render it again with its own light on",
        )


def _factors(evidence: Evidence) -> Iterator[Diagnosis]:
    explanation = evidence.explanation
    if _common_factor(evidence) is not None:
        return
    for index, (factor, error) in enumerate(
        zip(explanation.factors, explanation.errors, strict=True)
    ):
        if factor == 1 or index in _doubled(evidence):
            continue
        if index in explanation.decoded and abs(factor - 1) < _DECODED_SLACK:
            continue
        if factor < _NOTHING:
            yield _not_needed(evidence, index)
        else:
            yield _exposed(evidence, index, float(factor), float(error))


def _not_needed(evidence: Evidence, index: int) -> Diagnosis:
    explanation = evidence.explanation
    blocks = explanation.blocks
    holders = [evidence.names[i] for i in holders_of(index, blocks.passes, explanation.judge)]
    where = (
        f"its light is already in another pass ({' or '.join(holders)} is nowhere darker)"
        if holders
        else "its light is already in other passes"
    )
    return Diagnosis(
        "pass-counted-twice",
        (evidence.names[index],),
        f"the beauty needs nothing of it: {where}, or was off in the beauty",
        "render the other pass without this light, or leave this pass out of the recipe",
    )


def _exposed(evidence: Evidence, index: int, factor: float, error: float) -> Diagnosis:
    stops = -np.log2(factor)
    twice = abs(factor - 0.5) <= max(0.03, 4 * error)
    doubt = ", or holds its light twice" if twice else ""
    about = "" if evidence.explanation.explains else "about "
    return Diagnosis(
        "pass-exposure",
        (evidence.names[index],),
        f"enters the beauty {about}{factor:.3g} times: it was exported {about}{_stops(stops)} "
        f"against the beauty{doubt}",
        f"export it again at the beauty's exposure; until then {_stops(-stops)} puts it right",
        _loudest(evidence, evidence.plain.residual(np.ones(len(evidence.names)))),
    )


def _percent(share: float) -> str:
    percent = 100 * share
    return f"{percent:.0f} %" if percent >= 10 else f"{percent:.2g} %"


def _stops(stops: float) -> str:
    return f"{stops:+.2f} stops"


def _colours(evidence: Evidence) -> Iterator[Diagnosis]:
    colours, errors = evidence.explanation.colours, evidence.explanation.colour_errors
    if colours is None or errors is None:
        return
    sure = np.all(errors < _SURE_COLOUR, axis=1)
    common = np.median(colours[sure], axis=0) if sure.any() else np.median(colours, axis=0)
    slack = _COLOUR_STEP + 4 * errors
    if np.ptp(common) > _COLOUR_STEP and np.all(np.abs(colours - common) < slack + 0.05):
        yield Diagnosis(
            "colour-differs",
            (),
            f"all passes enter the beauty {_triple(common)} times in R, G, B: the beauty has "
            "another white balance or colour space",
            "export beauty and passes with one white balance and colour space",
        )
        return
    for index, (name, colour) in enumerate(zip(evidence.names, colours, strict=True)):
        if np.any(np.abs(colour - colour.mean()) > slack[index]) and index not in _doubled(
            evidence
        ):
            yield Diagnosis(
                "colour-differs",
                (name,),
                f"enters the beauty {_triple(colour)} times in R, G, B: another white balance, "
                "lamp colour or colour space than in the beauty",
                "export it again with the beauty's white balance and lamp colour",
            )


def _triple(colour: Float) -> str:
    return ", ".join(f"{value:.2f}" for value in colour)


def _left_over(evidence: Evidence) -> Iterator[Diagnosis]:
    explanation = evidence.explanation
    if explanation.explains or evidence.shift is not None:
        return
    missing, surplus = _signed_shares(explanation)
    grain = evidence.grain
    denoised = grain is not None and (grain.blotchy or grain.smooth_passes or grain.smooth_beauty)
    if denoised and explanation.after < _DENOISER_BIAS:
        return
    if explanation.tone_mapped:
        yield Diagnosis(
            "beauty-tone-mapped",
            (),
            "the beauty follows the sum of the passes along a curve: it carries a tone curve",
            "save the beauty scene-linear, before any tone curve",
        )
    elif missing > surplus:
        yield _missing_pass(evidence)
    else:
        yield _too_bright(evidence)


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
        _loudest(evidence, evidence.explanation.residual),
    )


def _signed_shares(explanation: Explanation) -> tuple[float, float]:
    """Light missing and light too much, at the scale that shows most."""
    excesses = explanation.judge.excess(explanation.residual)
    return max(excesses, key=lambda excess: excess.relative()).shares()


def _missing_pass(evidence: Evidence) -> Diagnosis:
    light = (evidence.beauty.blocks.means * evidence.explanation.judge.keep).sum((1, 2))
    total = _sure_light(evidence.explanation, 1)
    share = float(total.sum() / light.sum())
    balance = (total[0] / max(total[2], 1e-9)) / (light[0] / max(light[2], 1e-9))
    colour = "warm " if balance > _WARM else "cool " if balance < _COOL else "neutral "
    region = _loudest(evidence, evidence.explanation.residual)
    return Diagnosis(
        "pass-missing",
        (),
        f"{_percent(share)} of the beauty's light is in no pass; it is {colour}light, strongest "
        f"in {region}",
        "render the pass of the light that shines there, or add it to the recipe",
        region,
    )


def _sure_light(explanation: Explanation, sign: int) -> Float:
    """Light of one sign a channel, where a difference is surely no noise; shape (3,)."""
    rows, columns = explanation.judge.keep.shape[1:]
    there = np.zeros((rows, columns), dtype=bool)
    for excess in explanation.judge.excess(explanation.residual)[1:]:
        sure = np.any(sign * excess.sigmas > _SURE_SIGMAS, axis=0)
        there |= np.repeat(np.repeat(sure, excess.factor, 0), excess.factor, 1)[:rows, :columns]
    total: Float = (explanation.residual.means * explanation.judge.keep * there).sum((1, 2))
    return np.maximum(sign * total, 0)


def _too_bright(evidence: Evidence) -> Diagnosis:
    explanation = evidence.explanation
    region = _loudest(evidence, explanation.residual)
    light = float((evidence.beauty.blocks.means * explanation.judge.keep).sum())
    surplus = float(_sure_light(explanation, -1).sum()) / light
    return Diagnosis(
        "sum-too-bright",
        (),
        f"the passes hold light that the beauty does not, {_percent(surplus)} of it, most in "
        f"{region}",
        "look for a light that is in two passes, that was off in the beauty, or for a beauty that "
        "was changed after rendering",
        region,
    )


def _loudest(evidence: Evidence, residual: BlockPicture) -> Region:
    """Where a difference beyond noise is largest in light, among groups of 4 x 4 blocks."""
    excesses = evidence.explanation.judge.excess(residual)
    excess = excesses[min(1, len(excesses) - 1)]
    beyond = np.abs(excess.beyond).sum(0)
    row, column = (int(i) for i in np.unravel_index(int(beyond.argmax()), beyond.shape))
    grid, side = evidence.grid, excess.factor * evidence.grid.size
    left, top = column * side, row * side
    return Region(left, top, min(left + side, grid.width), min(top + side, grid.height))


def _clipped(evidence: Evidence) -> Iterator[Diagnosis]:
    """Where a flat top was left out of the fit, see whether the fit says it was cut off."""
    explanation = evidence.explanation
    if not explanation.explains or explanation.colours is not None or explanation.beauty_decoded:
        return
    residual = explanation.residual
    light = float(evidence.beauty.blocks.means.sum())
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
                f"hold {_percent(lost)} more light there",
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
                f"was cut off at {' / '.join(levels)}; the beauty holds {_percent(gap)} more "
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
            f"the beauty shows a background in {_percent(missing)} of the picture that is in no "
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
            f"several passes show the same background in {_percent(repeated)} of the picture",
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
    if grain is None or not (explanation.explains or explanation.after < _DENOISER_BIAS):
        return
    remedy = (
        "prove and mix raw pictures; denoise the mix, or let the recipe denoise all passes alike"
    )
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
    share = _percent(evidence.beauty.open_share)
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
