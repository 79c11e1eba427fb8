"""The picture of the tone curve shows the curve where it belongs."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.drawings.curve_picture import draw_curve
from evenfall.drawings.exposure_map import draw_histogram, histogram_of
from evenfall.drawings.lamp_ramps import lamp_ramp
from evenfall.recipe.look import Evenfall, Look


def line_heights(picture: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Columns in which the line is drawn, and its mean row in each."""
    orange = (picture[:652, :, 0].astype(int) - picture[:652, :, 2]) > 90
    columns = np.flatnonzero(orange.any(axis=0))
    return columns, np.array([np.flatnonzero(orange[:, column]).mean() for column in columns])


def test_curve_runs_from_black_to_white_across_the_plot() -> None:
    picture = draw_curve(Evenfall())
    assert picture.dtype == np.uint8
    columns, heights = line_heights(picture)
    assert (columns[0], columns[-1]) == (pytest.approx(64, abs=3), pytest.approx(1344, abs=3))
    assert heights[0] == pytest.approx(650, abs=3)
    assert heights[-1] == pytest.approx(176, abs=3)
    assert (np.diff(heights) < 3).all()  # upwards from left to right, within the line's width
    # The ring at grey: 12 of 22 stops across, at the sRGB signal of 18 %, 0.46136 (IEC 61966-2-1).
    across = 64 + 12 / 22 * 1280
    ring = picture[round(650 - 0.46136 * 474) - 12 :][:24, round(across) - 12 :][:, :24]
    orange = (ring[..., 0].astype(int) - ring[..., 2]) > 90
    rows, across = np.nonzero(orange)
    assert rows.mean() == pytest.approx(11.5, abs=1)
    assert across.mean() == pytest.approx(11.5, abs=1)


def test_a_curve_that_ends_far_out_is_cut_at_the_edges_and_says_so() -> None:
    near, far = draw_curve(Evenfall()), draw_curve(Evenfall(highlight_stops=16, shadow_stops=14))
    assert near.shape == far.shape
    _, heights = line_heights(far)
    assert heights[0] > 640  # not black yet
    assert 176 + 3 < heights[-1] < 200  # not white yet
    words = far[:240, 1150:1344].astype(int).max(axis=2) < 60
    assert words.sum() > 150  # "white at +16", in ink


def test_it_lies_on_the_axis_of_the_histogram() -> None:
    """Vertical lines of the two drawings stand in the same columns, at every stop."""
    flat = np.full((3, 8, 8), 0.18 * 2.0**-9, np.float32)
    histogram = draw_histogram(histogram_of(flat, (0, 1, 0)), title="")
    curve = draw_curve(Evenfall())
    columns = [64 + 1280 * stop / 22 for stop in range(23)]
    found = []
    for picture, row in ((histogram, 170), (curve, 240)):
        line = picture[row].astype(int).sum(axis=1)
        dark = np.flatnonzero(line < np.median(line) - 10)
        found.append([dark[np.argmin(np.abs(dark - column))] for column in columns[1:-1]])
    np.testing.assert_allclose(found[0], columns[1:-1], atol=1)
    np.testing.assert_allclose(found[1], columns[1:-1], atol=1)


def test_strips_show_what_the_look_makes_of_lamp_light() -> None:
    """The colours of the strip of 2700 K, against the chain itself."""
    picture = draw_curve(Evenfall())
    row = picture[650 + 12 + 26 + 4 + 13]
    stops = np.array([-2.0, 0.0, 2.0])
    expected = lamp_ramp(Look(), stops, 2700.0)
    for at, codes in zip(stops, expected, strict=True):
        column = round(64 + 1280 * (at + 12) / 22)
        assert np.abs(row[column].astype(int) - codes).max() <= 3
