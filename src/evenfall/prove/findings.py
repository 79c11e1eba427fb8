"""From an explanation of the beauty to diagnoses in words."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from evenfall.prove.blocks import Float
from evenfall.prove.defects import find_defects
from evenfall.prove.diagnosis import Diagnosis
from evenfall.prove.duplicates import holders_of
from evenfall.prove.evidence import DENOISER_BIAS, Evidence, loudest, percent
from evenfall.prove.explanation import Explanation

__all__ = ["find"]

_NOTHING = 0.05  # a factor below it: the beauty needs nothing of the pass
_SURE_SIGMAS = 4.0
_WARM, _COOL = 1.3, 0.77  # red over blue of missing light, against the beauty's
_COLOUR_STEP = 0.05
_SURE_COLOUR = 0.02  # standard error of a factor that may speak for all
_DECODED_SLACK = 0.1  # a decoded pass near its ceiling fits less well


def find(evidence: Evidence) -> tuple[Diagnosis, ...]:
    """Say what is wrong, the gravest first; empty for a sound set."""
    if not evidence.beauty.blocks.means.any():
        return (_black_beauty(),)
    return (
        *_beauty_as_a_whole(evidence),
        *_encoded(evidence),
        *_twins(evidence),
        *_factors(evidence),
        *_colours(evidence),
        *_left_over(evidence),
        *find_defects(evidence),
    )


def _black_beauty() -> Diagnosis:
    return Diagnosis(
        "beauty-empty",
        (),
        "the beauty holds no light at all",
        "render it with all lights on, or name another file as the beauty",
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
    return common if common > _NOTHING and np.all(np.abs(factors - common) <= slack) else None


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
        loudest(evidence, evidence.plain.residual(np.ones(len(evidence.names)))),
    )


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
    if denoised and explanation.after < DENOISER_BIAS:
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


def _signed_shares(explanation: Explanation) -> tuple[float, float]:
    """Light missing and light too much, at the scale that shows most."""
    excesses = explanation.judge.excess(explanation.residual)
    return max(excesses, key=lambda excess: excess.relative()).shares()


def _missing_pass(evidence: Evidence) -> Diagnosis:
    light = (evidence.beauty.blocks.means * evidence.explanation.judge.keep).sum((1, 2))
    total = _sure_light(evidence.explanation, 1)
    share = float(total.sum() / max(light.sum(), 1e-12))
    balance = (total[0] / max(total[2], 1e-9)) / (light[0] / max(light[2], 1e-9))
    colour = "warmer than" if balance > _WARM else "cooler than" if balance < _COOL else "like"
    region = loudest(evidence, evidence.explanation.residual)
    return Diagnosis(
        "pass-missing",
        (),
        f"{percent(share)} of the beauty's light is in no pass; it is {colour} the "
        f"rest, strongest in {region}",
        "render the pass of the light that shines there, or add it to the recipe",
        region,
    )


def _sure_light(explanation: Explanation, sign: int) -> Float:
    """Light of one sign a channel, where a difference is surely no noise; shape (3,)."""
    rows, columns = explanation.judge.keep.shape[1:]
    there = np.zeros((rows, columns), dtype=bool)
    for excess in explanation.judge.excess(explanation.residual)[-2:]:
        sure = np.any(sign * excess.sigmas > _SURE_SIGMAS, axis=0)
        there |= np.repeat(np.repeat(sure, excess.factor, 0), excess.factor, 1)[:rows, :columns]
    total: Float = (explanation.residual.means * explanation.judge.keep * there).sum((1, 2))
    return np.maximum(sign * total, 0)


def _too_bright(evidence: Evidence) -> Diagnosis:
    explanation = evidence.explanation
    region = loudest(evidence, explanation.residual)
    light = max(
        float((evidence.beauty.blocks.means * explanation.judge.keep).sum()),
        explanation.blocks.least,
    )
    surplus = float(_sure_light(explanation, -1).sum()) / light
    return Diagnosis(
        "sum-too-bright",
        (),
        f"the passes hold light that the beauty does not, {percent(surplus)} of it, most in "
        f"{region}",
        "look for a light that is in two passes, that was off in the beauty, or for a beauty that "
        "was changed after rendering",
        region,
    )
