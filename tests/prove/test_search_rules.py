"""The rules of a search, on figures made up so that what follows can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from evenfall.prove.found import report
from evenfall.prove.rules import better_than_one, firsts, go_together, is_firm, likeliest
from evenfall.prove.scored import Scored, unlikelihood
from evenfall.prove.state import Fault
from evenfall.prove.verdict import Judged

NOTHING: Any = None

BEFORE = Judged(
    misfit=10, positive=6, negative=4, chi=50_000, broad_chi=5000, loud=True, surplus=True
)
HALF = Fault("gain", "pass", 0, (0.5,))
BENT = Fault("some curve", "pass", 0)
CURVED = Fault("curve", "pass", 1, name="display")
GLARE = Fault("glare", "beauty", numbers=(0.1,))
MISSING_BACKGROUND = Fault("background missing", "passes")


def scored(*faults: Fault, together: bool = False, **left: Any) -> Scored:
    """Faults that leave this; what is not said is quiet."""
    quiet = Judged(0, 0, 0, 24_000, 1500, loud=False, surplus=False)
    parts = (faults,) if together else tuple((fault,) for fault in faults)
    return Scored(parts, NOTHING, NOTHING, replace(quiet, **left), 0.0)


def test_what_leaves_half_of_the_difference_explains_nothing() -> None:
    half, hardly = (scored(CURVED, misfit=each, loud=True, chi=30_000) for each in (5.0, 0.3))
    assert likeliest([half], BEFORE) is None
    assert likeliest([half, hardly], BEFORE) is hardly
    assert likeliest([scored(CURVED, chi=60_000)], BEFORE) is None  # it fits worse than nothing


def test_of_two_that_explain_alike_the_plainer_one_is_meant() -> None:
    """Bloom bends as far as it is let; a curve that was published has nothing to bend."""
    plain, odd = scored(CURVED), scored(GLARE)
    assert plain.result.chi == odd.result.chi
    assert unlikelihood(plain) < unlikelihood(odd)
    assert likeliest([odd, plain], BEFORE) is plain
    # It has three numbers more; Schwarz (1978) asks of each ln(24,000), or 10, in chi square.
    better = scored(GLARE, chi=23_900)
    assert likeliest([better, plain], BEFORE) is better


def test_what_does_no_better_than_a_part_of_it_is_not_meant() -> None:
    """A curve beside a ceiling bends with the grain; of a pass that was cut the ceiling tells."""
    ceiling = Fault("clamp", "pass", 1)
    cut = scored(ceiling, misfit=0.002, chi=24_500)
    both = scored(CURVED, ceiling, together=True, misfit=0.003, chi=24_000)
    assert unlikelihood(both) < unlikelihood(cut)
    assert likeliest([both, cut], BEFORE) is cut
    better = scored(CURVED, ceiling, together=True, misfit=0.001, chi=24_000)
    assert likeliest([better, cut], BEFORE) is better


def test_factors_alone_do_not_explain_what_may_be_missing_light() -> None:
    only_missing = replace(BEFORE, negative=0, surplus=False)
    assert likeliest([scored(HALF, misfit=0.25)], only_missing) is None
    assert likeliest([scored(HALF, misfit=0.15)], only_missing) is not None
    assert likeliest([scored(CURVED, misfit=0.25)], only_missing) is not None


def test_the_second_of_two_faults_must_take_away_a_good_part() -> None:
    alone = {HALF.what: 4.0, CURVED.what: 9.0}
    assert better_than_one(scored(HALF, CURVED, misfit=2.0), alone)
    assert not better_than_one(scored(HALF, CURVED, misfit=3.5), alone)
    assert better_than_one(scored(GLARE, MISSING_BACKGROUND, misfit=3.5), alone)  # none stood alone


def test_a_pair_beside_light_that_may_be_missing_leaves_next_to_nothing() -> None:
    assert is_firm(scored(HALF, CURVED, misfit=0.3), BEFORE)
    assert not is_firm(scored(HALF, CURVED, misfit=0.7), BEFORE)
    assert not is_firm(scored(HALF, Fault("gain", "pass", 1, (2.0,)), misfit=0.3), BEFORE)
    assert not is_firm(scored(HALF, BENT, misfit=0.1), BEFORE)  # odd as two


def test_first_faults_are_those_that_help() -> None:
    helping, idle = scored(HALF, misfit=5, chi=30_000), scored(CURVED, misfit=9.5, chi=40_000)
    worse = scored(GLARE, misfit=5, chi=60_000)
    assert firsts([helping, idle, worse], BEFORE) == [helping]
    only_missing = replace(BEFORE, surplus=False)
    weak = scored(CURVED, misfit=8, chi=30_000)
    assert firsts([weak], BEFORE) == [weak]
    assert firsts([weak], only_missing) == []


def test_on_one_picture_only_a_curve_and_its_ceiling_are_two() -> None:
    clamp = Fault("clamp", "pass", 1)
    assert go_together(CURVED, clamp)
    assert go_together(HALF, CURVED)
    assert not go_together(CURVED, Fault("primaries", "pass", 1, name="BT.2020"))
    assert go_together(GLARE, Fault("vignette", "beauty", numbers=(0.8,)))


def test_what_explains_most_is_told_first_with_its_share() -> None:
    singles = [scored(HALF, misfit=8), scored(CURVED, misfit=3)]
    found = report(scored(HALF, CURVED), singles, BEFORE, ())
    assert found.faults == (CURVED, HALF)
    assert found.explained == pytest.approx((0.7, 0.2))
    assert (found.left, found.missing, found.surplus) == (0, False, False)


@pytest.mark.parametrize(
    ("positive", "negative", "expected"),
    [(2.0, 0.1, (True, False)), (0.1, 2.0, (False, True)), (1.0, 1.0, (True, True))],
)
def test_what_is_left_is_light_that_is_missing_or_too_much(
    positive: float, negative: float, expected: tuple[bool, bool]
) -> None:
    left = {"misfit": positive + negative, "positive": positive, "negative": negative}
    loud, calm = (scored(CURVED, loud=each, **left) for each in (True, False))
    found = report(loud, [loud], BEFORE, ())
    assert (found.missing, found.surplus) == expected
    found = report(calm, [calm], BEFORE, ())
    assert (found.missing, found.surplus) == (False, False)
    assert report(calm, [calm], BEFORE, (), missing=True).missing


def test_other_passes_that_explain_as_much_are_named_beside() -> None:
    def half(light: int, **left: Any) -> Scored:
        return scored(Fault("gain", "pass", light, (0.5,)), **left)

    best = half(0, misfit=0.1)
    others = [
        best,
        half(1, misfit=0.2),
        half(2, misfit=2.0),  # a fifth of the difference more
        half(3, misfit=0.2, chi=25_000),  # 1000 in chi square more
        scored(GLARE, misfit=0.1),
    ]
    assert report(best, others, BEFORE, others).rivals == ((1,),)
