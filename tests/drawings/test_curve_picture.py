"""The picture of the tone curve shows the curve where it belongs."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.drawings.curve_picture import draw_curve
from evenfall.recipe.look import Evenfall


def line_heights(picture: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Columns in which the line is drawn, and its mean row in each."""
    orange = (picture[..., 0].astype(int) - picture[..., 2]) > 90
    columns = np.flatnonzero(orange.any(axis=0))
    return columns, np.array([np.flatnonzero(orange[:, column]).mean() for column in columns])


def test_curve_runs_from_black_to_white_across_the_plot() -> None:
    picture = draw_curve(Evenfall())
    assert picture.dtype == np.uint8
    columns, heights = line_heights(picture)
    assert (columns[0], columns[-1]) == (pytest.approx(140, abs=3), pytest.approx(1344, abs=3))
    assert heights[0] == pytest.approx(650, abs=3)
    assert heights[-1] == pytest.approx(176, abs=3)
    assert (np.diff(heights) < 3).all()  # upwards from left to right, within the line's width
    # The ring at grey: 12 of 20 stops across, at the sRGB signal of 18 %, 0.46136 (IEC 61966-2-1).
    ring = picture[round(650 - 0.46136 * 474) - 12 :][:24, round(140 + 0.6 * 1204) - 12 :][:, :24]
    orange = (ring[..., 0].astype(int) - ring[..., 2]) > 90
    rows, across = np.nonzero(orange)
    assert rows.mean() == pytest.approx(11.5, abs=1)
    assert across.mean() == pytest.approx(11.5, abs=1)


def test_a_curve_that_ends_far_out_widens_the_axis() -> None:
    narrow, wide = draw_curve(Evenfall()), draw_curve(Evenfall(highlight_stops=16))
    assert narrow.shape == wide.shape
    # Black, at -9 of -12 to 8 stops, and at -9 of -12 to 17.
    risen = [columns[heights < 645][0] for columns, heights in map(line_heights, (narrow, wide))]
    assert risen[1] < risen[0] - 100
