"""Faults in words: what was found, and what to do about it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.prove.blocks import BlockGrid, Float, pool
from evenfall.prove.diagnosis import Diagnosis, Rectangle
from evenfall.prove.duplicates import holders_of
from evenfall.prove.fit import BlockSet, Judge
from evenfall.prove.found import Found
from evenfall.prove.measure import Measured
from evenfall.prove.shift import Shift
from evenfall.prove.state import Fault, State

__all__ = ["Case", "loudest", "percent", "told"]

_LOUD = 4.0  # standard errors
_GROUP = 4  # blocks a side
_WARM, _COOL = 1.3, 0.77  # red over blue of missing light, against the beauty's


@dataclass(frozen=True, eq=False)
class Case:
    """What the words are made of."""

    names: tuple[str, ...]
    grid: BlockGrid
    beauty: Measured
    passes: tuple[Measured, ...]
    blocks: BlockSet
    judge: Judge
    plain: State
    found: Found

    def lights(self, fault: Fault) -> tuple[str, ...]:
        """Give the light a fault speaks of, with those that cannot be told from it."""
        if fault.light is None:
            return ()
        rivals = self.found.rivals[self.found.faults.index(fault)]
        return tuple(self.names[index] for index in sorted({fault.light, *rivals}))


def percent(share: float) -> str:
    """Write a share as a percentage of two digits.

    Examples
    --------
    >>> percent(0.0345), percent(0.5), percent(1.2)
    ('3.5 %', '50 %', '120 %')
    """
    hundredths = 100 * share
    return f"{hundredths:.0f} %" if hundredths >= 10 else f"{hundredths:.2g} %"


def told(case: Case) -> tuple[Diagnosis, ...]:
    """Say what is wrong, what explains most first; empty if nothing was found."""
    if not case.beauty.blocks.means.any():
        return (_black_beauty(),)
    return (*_faults(case), *_left_over(case))


def _black_beauty() -> Diagnosis:
    return Diagnosis(
        "beauty-empty",
        (),
        "the beauty holds no light at all",
        "render it with all lights on, or name another file as the beauty",
        explained=1.0,
    )


def _faults(case: Case) -> Iterator[Diagnosis]:
    found = case.found
    ceilings = {(f.subject, f.light) for f in found.faults if f.kind == "clamp"}
    for fault, explained in zip(found.faults, found.explained, strict=True):
        place = (fault.subject, fault.light)
        curved = [f for f in found.faults if f.kind == "curve" and (f.subject, f.light) == place]
        if fault.kind == "clamp" and curved:
            continue
        cut = place in ceilings and fault.kind == "curve"
        code, message, remedy = _TOLD[fault.kind](case, fault)
        lights = case.lights(fault)
        if len(lights) > 1:
            others = ", ".join(lights)
            message = f"cannot be told apart; one of {others} {message}"
        yield Diagnosis(
            code,
            lights,
            message + (f"; it was cut off at {_ceiling(case, fault)}" if cut else ""),
            remedy,
            _left_out(case) if fault.kind.startswith("background") else _where(case),
            explained,
        )


def _where(case: Case) -> Rectangle:
    return loudest(case, case.plain.residual - case.found.state.residual)


def _left_out(case: Case) -> Rectangle:
    """Extent of the blocks that a background takes, without the margin around it."""
    from scipy.ndimage import binary_erosion

    left_out: npt.NDArray[np.bool_] = np.any(~case.found.state.keep, axis=0)
    inner = binary_erosion(left_out, iterations=2)
    mask = inner if inner.any() else left_out
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    left, top, _, _ = case.grid.pixels(int(rows[0]), int(columns[0]))
    _, _, right, bottom = case.grid.pixels(int(rows[-1]), int(columns[-1]))
    return Rectangle(left, top, right, bottom)


Words = tuple[str, str, str]


def _gain(case: Case, fault: Fault) -> Words:
    (factor,) = fault.numbers
    stops = float(np.log2(factor))
    if fault.subject == "beauty":
        return (
            "beauty-exposure",
            f"every pass enters the beauty {factor:.3g} times: the beauty was exported "
            f"{stops:+.2f} stops against the passes",
            "export beauty and passes at one exposure; the passes fit each other",
        )
    doubt = ", or holds its light twice" if abs(factor - 0.5) < 0.03 else ""
    return (
        "pass-exposure",
        f"enters the beauty {factor:.3g} times: it was exported {-stops:+.2f} stops against the "
        f"beauty{doubt}",
        f"export it again at the beauty's exposure; until then {stops:+.2f} stops puts it right",
    )


def _off(case: Case, fault: Fault) -> Words:
    assert fault.light is not None
    holders = holders_of(fault.light, case.blocks.passes, case.judge)
    names = " or ".join(case.names[index] for index in holders)
    where = (
        f"its light is already in another pass ({names} is nowhere darker)"
        if holders
        else "its light is already in other passes"
    )
    return (
        "pass-counted-twice",
        f"the beauty needs nothing of it: {where}, or was off in the beauty",
        "render the other pass without this light, or leave this pass out of the recipe",
    )


def _twin(case: Case, fault: Fault) -> Words:
    assert fault.light is not None
    assert fault.twin is not None
    first, second = case.names[fault.twin], case.names[fault.light]
    return (
        "pass-counted-twice",
        f"shows the same light as {first}, which the beauty holds once",
        f"leave {second} out of the recipe, or render it again with its own light on",
    )


def _colour(case: Case, fault: Fault) -> Words:
    triple = ", ".join(f"{value:.2f}" for value in fault.numbers)
    if fault.subject == "beauty":
        return (
            "colour-differs",
            f"all passes enter the beauty {triple} times in R, G, B: the beauty has another white "
            "balance",
            "export beauty and passes with one white balance",
        )
    return (
        "colour-differs",
        f"enters the beauty {triple} times in R, G, B: another white balance or lamp colour than "
        "in the beauty",
        "export it again with the beauty's white balance and lamp colour",
    )


def _primaries(case: Case, fault: Fault) -> Words:
    who = {
        "pass": "holds",
        "passes": "all passes hold",
        "beauty": "the beauty holds",
    }[fault.subject]
    return (
        "other-primaries",
        f"{who} the numbers of {fault.name} primaries",
        "export every picture in one colour space, or write its primaries into the file "
        "(chromaticities), which are then converted",
    )


def _curve(case: Case, fault: Fault) -> Words:
    display = fault.name in ("display", "power 1/2.2")
    who = {"pass": "", "passes": "all passes ", "beauty": "the beauty "}[fault.subject]
    rest = "; the passes are sound" if fault.subject == "beauty" else ""
    if display:
        code = "beauty-display-encoded" if fault.subject == "beauty" else "pass-display-encoded"
        verb = "hold" if fault.subject == "passes" else "holds"
        curve = "sRGB curve" if fault.name == "display" else "power of 1/2.2"
        return (
            code,
            f"{who}{verb} display-encoded values: undoing the {curve} makes the passes add up",
            f"save scene-linear values, without a display transform{rest}",
        )
    code = "beauty-tone-mapped" if fault.subject == "beauty" else "pass-tone-mapped"
    named = f" ({fault.name})" if fault.kind == "curve" else ""
    return (
        code,
        f"{who}went through a tone curve{named}: undoing it makes the passes add up",
        f"save scene-linear values, before any tone curve{rest}",
    )


def _ceiling(case: Case, fault: Fault) -> str:
    measured = case.beauty if fault.light is None else case.passes[fault.light]
    return " / ".join(sorted({f"{level:.4g}" for level in measured.top if level is not None}))


def _clamp(case: Case, fault: Fault) -> Words:
    levels = _ceiling(case, fault)
    if fault.light is None:
        return (
            "beauty-clipped",
            f"the beauty was cut off at {levels}: the passes go on above it",
            "save the beauty without clamping (half or float, no display transform); the passes "
            "are sound there",
        )
    return (
        "pass-clipped",
        f"was cut off at {levels}: the beauty goes on above it",
        "render it again without clamping, or save it as half or float",
    )


def _shift(case: Case, fault: Fault) -> Words:
    words = Shift(fault.light, *fault.numbers).words
    return (
        "camera-moved",
        f"all passes stand {words} of where the beauty has them"
        if fault.light is None
        else f"stands {words} of where the beauty has it",
        "render it again with the camera, lens, crop and objects of the others locked",
    )


def _alpha_twice(case: Case, fault: Fault) -> Words:
    who = "all passes were" if fault.light is None else "was"
    return (
        "alpha-multiplied-twice",
        f"{who} multiplied by alpha twice: dark seams along the edges of alpha",
        "save colour multiplied by alpha once, as OpenEXR means it",
    )


def _alpha_never(case: Case, fault: Fault) -> Words:
    who = "all passes were" if fault.light is None else "was"
    return (
        "alpha-not-multiplied",
        f"{who} not multiplied by alpha: bright seams along the edges of alpha",
        "save colour multiplied by alpha, as OpenEXR means it",
    )


def _vignette(case: Case, fault: Fault) -> Words:
    stops = -float(np.log2(fault.numbers[0]))
    return (
        "beauty-vignetted",
        f"the beauty darkens towards its corners, by {stops:.2f} stops there; the passes do not",
        "save the beauty before lens effects; the passes are sound",
    )


def _glare(case: Case, fault: Fault) -> Words:
    return (
        "beauty-glare",
        f"the beauty carries bloom: about {percent(fault.numbers[0])} of its light is spread "
        "around, in the passes it is not",
        "save the beauty before lens and post effects; the passes are sound",
    )


def _background_missing(case: Case, fault: Fault) -> Words:
    return (
        "background-missing",
        "the beauty shows a background that is in no pass",
        "render the background into one pass (usually the sky's), or make the beauty without it "
        "and put a plate behind the alpha",
    )


def _background_repeated(case: Case, fault: Fault) -> Words:
    return (
        "background-repeated",
        "several passes show the same background",
        "keep the background in one pass only: hide it from the camera in the others",
    )


_TOLD: dict[str, Callable[[Case, Fault], Words]] = {
    "gain": _gain,
    "off": _off,
    "twin": _twin,
    "colour": _colour,
    "primaries": _primaries,
    "curve": _curve,
    "some curve": _curve,
    "clamp": _clamp,
    "shift": _shift,
    "alpha twice": _alpha_twice,
    "alpha never": _alpha_never,
    "vignette": _vignette,
    "glare": _glare,
    "background missing": _background_missing,
    "background repeated": _background_repeated,
}


def _left_over(case: Case) -> Iterator[Diagnosis]:
    found = case.found
    if found.missing:
        yield _missing(case, found.state)
    if found.surplus:
        region = loudest(case, found.state.residual, sign=-1)
        surplus = _sure_light(case, found.state, -1).sum() / max(_light(case).sum(), 1e-12)
        beside = "beside that, " if found.faults else ""
        yield Diagnosis(
            "sum-too-bright",
            (),
            f"{beside}the passes hold light that the beauty does not, {percent(float(surplus))} of "
            f"it, most in {region}",
            "look for a light that is in two passes, that was off in the beauty, or for a beauty "
            "that was changed after rendering",
            region,
            found.left,
        )


def _missing(case: Case, state: State) -> Diagnosis:
    light, total = _light(case), _sure_light(case, state, 1)
    share = float(total.sum() / max(light.sum(), 1e-12))
    balance = (total[0] / max(total[2], 1e-9)) / (light[0] / max(light[2], 1e-9))
    colour = "warmer than" if balance > _WARM else "cooler than" if balance < _COOL else "like"
    region = loudest(case, state.residual, sign=1)
    return Diagnosis(
        "pass-missing",
        (),
        f"{percent(share)} of the beauty's light is in no pass; it is {colour} the rest, strongest "
        f"in {region}",
        "render the pass of the light that shines there, or add it to the recipe",
        region,
        case.found.left,
    )


def _light(case: Case) -> Float:
    light: Float = np.abs(case.beauty.blocks.means).sum((1, 2))
    return light


def _sure_light(case: Case, state: State, sign: int) -> Float:
    """Light of one sign a channel, where a difference is surely no noise; shape (3,)."""
    rows, columns = state.keep.shape[1:]
    there = np.zeros((rows, columns), dtype=bool)
    scales = case.judge.standardised(state.residual, state.keep)
    for side, sigmas in list(zip(case.judge.scales, scales, strict=True))[-2:]:
        sure = np.any(sign * sigmas > _LOUD, axis=0)
        there |= np.repeat(np.repeat(sure, side, 0), side, 1)[:rows, :columns]
    total: Float = (state.residual * state.keep * there).sum((1, 2))
    return np.maximum(sign * total, 0)


def loudest(case: Case, means: Float, sign: int = 0) -> Rectangle:
    """Find where a difference beyond noise is largest in light, among groups of 4 x 4 blocks."""
    keep = case.plain.keep
    side = _GROUP if _GROUP in case.judge.scales else 1
    sigmas = case.judge.standardised(means, keep)[case.judge.scales.index(side)]
    signed = pool(means, side) * (np.abs(sigmas) > _LOUD)
    beyond = np.maximum(sign * signed, 0).sum(0) if sign else np.abs(signed).sum(0)
    row, column = (int(i) for i in np.unravel_index(int(beyond.argmax()), beyond.shape))
    return Rectangle(*case.grid.pixels(row, column, side))
