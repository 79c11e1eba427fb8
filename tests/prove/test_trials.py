"""Single faults undone on blocks of small pictures, with the numbers that were planted.

Three lights on 96 x 144 pixels, without noise but for grain of a few per cent where it says so.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import norm

from evenfall.light.primaries import BT709
from evenfall.prove.blocks import BlockGrid
from evenfall.prove.fit import Judge
from evenfall.prove.joint import guesses
from evenfall.prove.measure import Measured, measure
from evenfall.prove.prove import _background
from evenfall.prove.search import _Searching, search
from evenfall.prove.state import Fault, Scene, State, Subject, Trial
from evenfall.prove.trials import tried, tried_again
from evenfall.prove.verdict import judged

Array = npt.NDArray[np.float64]

HEIGHT, WIDTH = 96, 144
GRID = BlockGrid(HEIGHT, WIDTH, 4)
Y, X = np.mgrid[0:HEIGHT, 0:WIDTH] / np.array([HEIGHT, WIDTH])[:, None, None]
TINTS = ((1.0, 0.9, 0.7), (0.6, 0.8, 1.2), (1.0, 0.6, 0.3))
LIGHTS = tuple(
    np.stack([level * share for share in tint])
    for level, tint in zip(
        (0.2 + 2 * X**2, 0.3 + np.cos(3 * Y) ** 2, 1 / (0.3 + 8 * (X - 0.4) ** 2 + 6 * Y**2)),
        TINTS,
        strict=True,
    )
)


def grainy(light: Array, seed: int, grain: float = 0.04) -> Array:
    return np.asarray(light * (1 + grain * np.random.default_rng(seed).normal(size=light.shape)))


def measured(planes: Array) -> Measured:
    pixels = SimpleNamespace(planes=list(planes.astype(np.float32)), alpha=None)
    return measure(pixels, GRID)


def set_of(beauty: Array, passes: list[Array]) -> tuple[State, Judge, Scene]:
    """As a proof starts."""
    pictures = tuple(map(measured, passes))
    root = State.of(measured(beauty), pictures)
    nothing = np.zeros(GRID.shape, dtype=bool)
    topped = (*(each.topped for each in pictures), measured(beauty).topped)
    return root, root.judge, Scene(BT709, topped, nothing, nothing, {}, frozenset(), {})


def sound() -> tuple[Array, list[Array]]:
    passes = [grainy(light, n) for n, light in enumerate(LIGHTS)]
    return np.sum([grainy(light, 9 + n) for n, light in enumerate(LIGHTS)], 0), passes


def only(trials: list[Trial], kind: str, subject: Subject, light: int | None = None) -> list[Trial]:
    found = [each for each in trials if each.faults[0].kind == kind]
    return [each for each in found if each.faults[0].place == (subject, light)]


def left(trial: Trial) -> float:
    return float(np.abs(trial.state.residual[trial.state.keep]).mean())


def srgb(linear: Array) -> Array:
    """IEC 61966-2-1."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def test_a_factor_of_a_pass_is_measured_and_undone() -> None:
    beauty, passes = sound()
    passes[1] *= 2
    trials = list(tried(*set_of(beauty, passes)))
    (best, *_) = sorted(only(trials, "gain", "pass", 1), key=left)
    assert best.faults[0].numbers == pytest.approx((0.5,), rel=0.01)
    assert left(best) < 0.03 * 1.0  # of light of about 1.5, in blocks of 1 % grain
    assert min(map(left, only(trials, "gain", "pass", 0))) > 0.1


def test_light_that_is_missing_draws_no_factor_up() -> None:
    """The factor that leaves nothing too much is that of the places without other light."""
    _, passes = sound()
    elsewhere = np.where(X > 0.6, 3.0, 0.0)
    beauty = grainy(0.5 * LIGHTS[0], 8) + grainy(LIGHTS[1], 9) + grainy(LIGHTS[2], 10) + elsewhere
    found = only(list(tried(*set_of(beauty, passes))), "gain", "pass", 0)
    factors = [each.faults[0].numbers[0] for each in found]
    assert min(abs(factor - 0.5) for factor in factors) < 0.03


def test_a_beauty_at_another_exposure_or_balance_is_brought_back() -> None:
    beauty, passes = sound()
    trials = list(tried(*set_of(0.25 * beauty, passes)))
    (gain,) = only(trials, "gain", "beauty")
    assert gain.faults[0].numbers == pytest.approx((0.25,), rel=0.01)
    assert left(gain) < 0.03
    warm = np.array([1.3, 1.0, 0.7])
    (colour,) = only(list(tried(*set_of(beauty * warm[:, None, None], passes))), "colour", "beauty")
    assert colour.faults[0].numbers == pytest.approx(warm, rel=0.01)
    assert left(colour) < 0.03


def test_a_lamp_of_another_colour_is_measured() -> None:
    beauty, passes = sound()
    warm = np.array([1.3, 1.0, 0.7])
    passes[2] *= warm[:, None, None]
    (colour,) = only(list(tried(*set_of(beauty, passes))), "colour", "pass", 2)
    assert colour.faults[0].numbers == pytest.approx(1 / warm, rel=0.01)
    beauty, passes = sound()
    assert only(list(tried(*set_of(beauty, passes))), "colour", "pass", 2) == []


def test_a_pass_that_was_off_is_taken_out() -> None:
    beauty, passes = sound()
    trials = list(tried(*set_of(beauty - passes[0], passes)))
    (off,) = only(trials, "off", "pass", 0)
    assert left(off) < 0.03


# ITU-R BT.2087: linear BT.709 to linear BT.2020.
TO_BT2020 = np.array([[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]])


@pytest.mark.parametrize("subject", ["pass", "passes", "beauty"])
def test_other_primaries_are_brought_back(subject: Subject) -> None:
    beauty, passes = sound()
    if subject == "beauty":
        beauty = np.tensordot(TO_BT2020, beauty, 1)
    else:
        for n in range(3) if subject == "passes" else (2,):
            passes[n] = np.tensordot(TO_BT2020, passes[n], 1)
    light = 2 if subject == "pass" else None
    found = only(list(tried(*set_of(beauty, passes))), "primaries", subject, light)
    best = min(found, key=left)
    assert "2020" in best.faults[0].name
    assert left(best) < 0.03


def test_a_curve_with_a_ceiling_leaves_out_what_was_cut_off() -> None:
    beauty, passes = sound()
    passes[2] = np.minimum(srgb(passes[2]), 1)
    root, judge, scene = set_of(beauty, passes)
    found = list(tried_again(Fault("curve", "pass", 2, name="display"), root, judge, scene))
    (cut,) = [each for each in found if len(each.faults) == 2]
    assert [fault.kind for fault in cut.faults] == ["curve", "clamp"]
    assert np.array_equal(cut.state.keep, ~scene.topped[2])
    assert left(cut) < 0.1
    # A ceiling above which the beauty does not go on is a lamp of one radiance.
    beauty, passes = sound()
    beauty, passes[2] = (np.minimum(each, 2.5) for each in (beauty, passes[2]))
    root, judge, scene = set_of(beauty, passes)
    assert scene.topped[2].any()
    assert only(list(tried(root, judge, scene)), "clamp", "pass", 2) == []


def test_a_cut_off_beauty_leaves_out_what_was_cut_off() -> None:
    beauty, passes = sound()
    root, judge, scene = set_of(np.minimum(beauty, 3), passes)
    (clamp,) = only(list(tried(root, judge, scene)), "clamp", "beauty")
    assert np.array_equal(clamp.state.keep, ~scene.topped[-1])
    assert left(clamp) < 0.03
    root, judge, scene = set_of(beauty, [np.minimum(each, 1.5) for each in passes])
    assert only(list(tried(root, judge, scene)), "clamp", "beauty") == []


def test_two_bent_passes_are_guessed_together() -> None:
    beauty, passes = sound()
    passes[0], passes[2] = srgb(passes[0]), passes[2] / (1 + passes[2])
    pairs = [
        {(fault.kind, fault.light, fault.name) for fault in pair}
        for pair in guesses(*set_of(beauty, passes))
    ]
    assert pairs[0] == {("curve", 0, "display"), ("curve", 2, "x / (1 + x)")}
    assert all(len({light for _, light, _ in pair}) == 2 for pair in pairs)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_bent_beauty_and_a_bent_pass_are_guessed_together(seed: int) -> None:
    """Undoing the beauty's curve stretches its noise, most where it is bright."""
    grain = 0.3
    passes = [np.maximum(grainy(light, 20 * seed + n, grain), 0) for n, light in enumerate(LIGHTS)]
    beauty = np.sum([grainy(light, 20 * seed + 9 + n, grain) for n, light in enumerate(LIGHTS)], 0)
    beauty = np.maximum(beauty, 0)
    beauty, passes[0] = beauty / (1 + beauty), srgb(passes[0])
    pairs = [
        {(fault.kind, fault.light, fault.name) for fault in pair}
        for pair in guesses(*set_of(beauty, passes))
        if pair[0].light is None
    ]
    assert pairs[0] == {("curve", None, "x / (1 + x)"), ("curve", 0, "display")}


@pytest.mark.parametrize(("sigmas", "loud"), [(5, False), (-5, False), (12, True), (-12, True)])
def test_what_normal_noise_reaches_is_not_loud(sigmas: float, loud: bool) -> None:
    """A full picture has 3,000 groups of blocks: in every fifth one of them reaches 4 errors."""
    groups = 3 * 16_000 / 16
    assert groups * 2 * norm.sf(4) > 0.15
    assert groups * 2 * norm.sf(5) < 0.002
    beauty, passes = sound()
    root, judge, _ = set_of(beauty, passes)
    bump = np.zeros_like(root.residual)
    bump[0, 4:8, 8:12] = 1
    size = sigmas / judge.standardised(bump, root.keep)[1][0, 1, 2]
    changed = root.with_beauty(
        root.beauty.with_means(root.beauty.means - root.residual + size * bump)
    )
    found = judged(judge, changed)
    assert (found.loud, found.surplus) == (loud, loud and sigmas < 0)
    assert (found.positive > found.negative) == (sigmas > 0)


@pytest.mark.parametrize(
    ("holders", "missing", "repeated"), [(0, True, False), (1, False, False), (2, False, True)]
)
def test_a_background_belongs_in_one_pass(holders: int, missing: bool, repeated: bool) -> None:
    """A window that no lamp lights, and that some of the passes show as the beauty does."""
    window = np.s_[:, 32:64, 96:128]
    room = [light.copy() for light in LIGHTS]
    for light in room:
        light[window] = 0
    beauty = np.sum(room, 0)
    beauty[window] = 4
    for light in room[:holders]:
        light[window] = 4
    masks = _background(tuple(map(measured, room)), measured(beauty))
    inside = np.zeros(GRID.shape, dtype=bool)
    inside[8:16, 24:32] = True
    for mask, expected in zip(masks, (missing, repeated), strict=True):
        assert mask[inside].all() if expected else not mask.any()
        assert not mask[:5].any()  # far from it


def test_leaving_out_half_of_the_noise_gains_nothing() -> None:
    """Half of the blocks take half of the chi square with them, whatever they are."""
    root, judge, scene = set_of(*sound())
    searching = _Searching(root, judge, scene, lambda _: {})
    half = np.zeros_like(root.keep)
    half[:, :, ::2] = True
    (left_out,) = searching._scored([Trial((Fault("clamp", "beauty"),), root.without(half))])
    fine, broad = searching._gained(left_out)
    blocks = root.keep.size
    scatter = np.sqrt(2 * blocks)  # of a chi square of as many
    assert searching.before.chi > 0.5 * blocks
    assert abs(fine) < 3 * scatter
    assert abs(broad) < 3 * np.sqrt(2 * blocks / 16)


def darkened(picture: Array, tangent: float) -> Array:
    """By a lens whose corners are so far off its axis: the cosine to the fourth power."""
    across, down = (X - 0.5) * WIDTH, (Y - 0.5) * HEIGHT
    radius_squared = 4 * (across**2 + down**2) / (WIDTH**2 + HEIGHT**2)
    return np.asarray(picture / (1 + tangent**2 * radius_squared) ** 2)


def noisy(grain: float) -> tuple[Array, list[Array]]:
    passes = [grainy(light, n, grain) for n, light in enumerate(LIGHTS)]
    return np.sum([grainy(light, 9 + n, grain) for n, light in enumerate(LIGHTS)], 0), passes


@pytest.mark.parametrize(("tangent", "grain"), [(0.2, 0.3), (0.25, 0.4)])
def test_what_stands_out_nowhere_is_found_over_all(tangent: float, grain: float) -> None:
    """A tenth of the light is gone in the corners, where grain is a third of it and more."""
    beauty, passes = noisy(grain)
    root, judge, scene = set_of(darkened(beauty, tangent), passes)
    assert not judged(judge, root).loud
    found = search(root, judge, scene, lambda _: {})
    assert found is not None
    ((fault, corner),) = [(each.kind, *each.numbers) for each in found.faults]
    assert fault == "vignette"
    assert corner == pytest.approx(1 / (1 + tangent**2) ** 2, abs=0.03)
    root, judge, scene = set_of(beauty, passes)
    assert search(root, judge, scene, lambda _: {}) is None


def test_what_hides_behind_a_louder_fault_is_found_too() -> None:
    beauty, passes = noisy(0.3)
    passes[0] *= 2
    root, judge, scene = set_of(darkened(beauty, 0.25), passes)
    found = search(root, judge, scene, lambda _: {})
    assert found is not None
    assert [(each.kind, each.light) for each in found.faults] == [("gain", 0), ("vignette", None)]


def test_two_factors_are_fitted_beside_each_other() -> None:
    beauty, passes = noisy(0.1)
    passes[0], passes[1] = 2 * passes[0], passes[1] / 3
    root, judge, scene = set_of(beauty, passes)
    found = search(root, judge, scene, lambda _: {})
    assert found is not None
    numbers = {each.light: each.numbers[0] for each in found.faults}
    # Each alone is 0.62 and nothing; in a few rounds they come near, not quite together.
    assert numbers == pytest.approx({0: 0.5, 1: 3}, rel=0.06)


def test_a_beauty_made_darker_is_judged_by_the_noise_it_has_when_brought_back() -> None:
    """Three stops down its noise is an eighth, which says nothing of what is left at its own."""
    beauty, passes = noisy(0.8)
    root, judge, scene = set_of(beauty / 8, passes)
    found = search(root, judge, scene, lambda _: {})
    assert found is not None
    ((kind, subject, factor),) = [(each.kind, each.subject, *each.numbers) for each in found.faults]
    assert (kind, subject) == ("gain", "beauty")
    assert factor == pytest.approx(1 / 8, rel=0.05)
