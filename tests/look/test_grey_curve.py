"""What our curve makes of greys: what it promises, by its definition."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from evenfall.look.grey_curve import GreyCurve
from evenfall.recipe.look import Evenfall

SETTINGS = [Evenfall()] + [
    Evenfall(
        contrast=contrast,
        soft_shadows=shadows,
        soft_highlights=highlights,
        highlight_stops=white,
        shadow_stops=black,
    )
    for contrast, shadows, highlights, white, black in itertools.product(
        (0.5, 1.25, 3.0), (0.0, 0.4, 1.0), (0.0, 0.4, 1.0), (1.0, 5.0, 12.0), (1.0, 9.0)
    )
]
STOPS = np.linspace(-22, 22, 44_001)


def display(settings: Evenfall, stops: np.ndarray, peak: float = 1.0) -> np.ndarray:
    return GreyCurve(settings, peak)(0.18 * 2.0**stops)


def test_grey_is_held_and_the_ends_are_black_and_white() -> None:
    for settings in SETTINGS:
        ends = np.array([-30.0, -settings.shadow_stops, 0.0, settings.highlight_stops, 30.0])
        shown, expected = display(settings, ends), [0.0, 0.0, 0.18, 1.0, 1.0]
        np.testing.assert_allclose(shown, expected, rtol=0, atol=1e-12, err_msg=repr(settings))
        assert GreyCurve(settings)(np.array([-1.0, 0.0])).tolist() == [0.0, 0.0], settings


def test_it_never_falls() -> None:
    for settings in SETTINGS:
        assert (np.diff(display(settings, STOPS)) >= -1e-12).all(), settings


def test_contrast_is_the_slope_at_grey() -> None:
    step = 1e-4
    for settings in SETTINGS:
        low, high = np.log2(display(settings, np.array([-step, step])))
        # A soft end may begin at grey itself; it leaves the line with its slope.
        slope = (high - low) / (2 * step)
        assert slope == pytest.approx(settings.contrast, rel=2e-3), settings


def sharpest_step(settings: Evenfall) -> float:
    """Largest change of slope between neighbours, as a share of that over eight of them.

    About an eighth where the curve bends smoothly; at least a half where its slope has a step.
    """
    slopes = np.diff(display(settings, STOPS)) / np.diff(STOPS)
    near = np.abs(slopes[1:] - slopes[:-1]).max()
    return float(near / np.abs(slopes[8:] - slopes[:-8]).max())


def test_its_slope_has_no_step() -> None:
    for settings in SETTINGS:
        if min(settings.soft_shadows, settings.soft_highlights) > 0.3:
            assert sharpest_step(settings) < 0.3, settings


def test_a_hard_end_has_a_step_of_slope() -> None:
    assert sharpest_step(Evenfall(soft_highlights=0)) > 0.45


def test_soft_shadows_are_open_and_soft_highlights_are_held() -> None:
    dark, light = np.array([-4.0]), np.array([3.0])
    assert display(Evenfall(soft_shadows=1.0), dark) > 2 * display(Evenfall(soft_shadows=0.3), dark)
    assert display(Evenfall(soft_highlights=0.9), light) < display(
        Evenfall(soft_highlights=0.2), light
    )


def test_headroom_leaves_what_is_below_the_soft_end_alone() -> None:
    stops = np.linspace(-10, 1, 200)
    np.testing.assert_allclose(
        display(Evenfall(), stops, peak=4.0), display(Evenfall(), stops), rtol=0, atol=1e-12
    )
    assert display(Evenfall(), np.array([7.0]), peak=4.0)[0] == pytest.approx(4.0)
    assert (np.diff(display(Evenfall(), STOPS, peak=4.0)) >= -1e-12).all()


def test_it_is_straight_in_signal_as_far_as_it_is_asked_to_be() -> None:
    """y^(1/2.4), the signal of BT.1886, rises by s = contrast ln 2 x 0.18^(1/2.4) / 2.4 a stop; the
    line meets white (1 - 0.18^(1/2.4)) / s stops up, and black 0.18^(1/2.4) / s stops down. A soft
    end takes its share of that way."""
    grey, contrast = 0.18 ** (1 / 2.4), 1.25
    rise = contrast * np.log(2) * grey / 2.4
    up, down = (1 - grey) / rise, grey / rise  # 2.89 and 2.77 stops
    settings = Evenfall(contrast=contrast, soft_highlights=0.4, soft_shadows=0.7)

    def bend(stops: float) -> float:
        """How far the curve is from the line."""
        (shown,) = display(settings, np.array([stops])) ** (1 / 2.4)
        return abs(float(shown) - (grey + rise * stops))

    for inside in (-0.29 * down, 0.0, 0.59 * up):
        assert bend(inside) < 1e-12
    for outside in (-0.33 * down, 0.63 * up):
        assert bend(outside) > 1e-6
