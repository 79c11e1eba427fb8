"""Maps and histograms of exposure: stops by definition, colours judged by colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from evenfall.drawings.exposure_map import draw_exposure_map, draw_histogram, histogram_of
from evenfall.drawings.stop_scale import colour_scale, stop_colours, stops_of_light
from evenfall.light.primaries import BT709, luminance_weights

with warnings.catch_warnings():  # of optional packages that are not installed
    warnings.simplefilter("ignore")
    import colour

GREY = 0.18
CLEARLY_NOTICEABLE = 2.0  # CIEDE2000; about 1 is just noticeable side by side


def lab(codes: np.ndarray) -> np.ndarray:
    return colour.XYZ_to_Lab(colour.sRGB_to_XYZ(codes / 255), (0.3127, 0.3290))


def test_stops_by_definition() -> None:
    light = np.array([GREY / 8, GREY, GREY * 2, GREY * 32, 0, -1, np.nan], np.float32)
    np.testing.assert_allclose(stops_of_light(light), [-3, 0, 1, 5, -30, -30, -30], atol=1e-5)


def test_colours_rise_in_lightness_and_differ_from_their_neighbours() -> None:
    values = lab(colour_scale())
    assert np.all(np.diff(values[:, 0]) > 1.5)
    between = colour.delta_E(values[1:], values[:-1], method="CIE 2000")
    assert between.min() > CLEARLY_NOTICEABLE
    assert between.max() < 25  # no false edges: grey is left gently on both sides


def test_grey_is_grey_shadows_are_cool_and_highlights_warm() -> None:
    codes = stop_colours(np.array([-2.0, -0.2, 0.2, 2.0], np.float32)).astype(int)
    assert codes[0, 2] > codes[0, 0] + 60
    assert np.ptp(codes[1]) <= 1
    assert np.ptp(codes[2]) <= 1
    assert codes[3, 0] > codes[3, 2] + 60


def test_beyond_the_scale_its_ends_go_on() -> None:
    ends = stop_colours(np.array([-30.0, 40.0], np.float32))
    np.testing.assert_array_equal(ends, colour_scale()[[0, -1]])


def test_the_map_shows_the_step_of_every_pixel() -> None:
    stops = np.linspace(-7.75, 9.75, 36, dtype=np.float32)
    light = (GREY * 2.0**stops)[None, :].repeat(12, axis=0).astype(np.float32)
    light = light.repeat(20, axis=1).repeat(20, axis=0)
    drawn = draw_exposure_map(light, title="Dusk", width=720)
    expected = stop_colours(np.repeat(stops, 20))
    margin = round(64 * 0.65)  # lettering stays readable: no smaller than at 832 pixels
    assert any(np.array_equal(row[margin : margin + 720], expected) for row in drawn)


def test_reduction_averages_light_not_colours() -> None:
    checks = np.where(np.indices((40, 400)).sum(axis=0) % 2, np.float32(2 * GREY), np.float32(0))
    drawn = draw_exposure_map(checks.astype(np.float32), title="Checks", width=200)
    middle = stop_colours(np.array([0.01], np.float32))[0]
    assert np.all(drawn[98 + 5 : 98 + 15, 80:180] == middle)


def test_histogram_counts_every_pixel_once() -> None:
    rng = np.random.default_rng(1)
    planes = (GREY * 2.0 ** rng.normal(-2, 3, (3, 100, 90))).astype(np.float32)
    planes[:, 0, :45] = 0
    planes[:, 1, :9] = 1e6
    found = histogram_of(planes, luminance_weights(BT709))
    assert found.luminance.sum() + found.below + found.above == pytest.approx(1)
    assert found.below >= 45 / 9000
    assert found.above >= 9 / 9000
    assert found.luminance.shape == (264,)
    assert found.edges[0] == -12
    assert found.edges[-1] == 10


@pytest.mark.parametrize("stops", [-4, -1, 0, 3])
def test_histogram_places_a_level_in_its_bin(stops: int) -> None:
    level = np.full((3, 8, 8), GREY * 2.0**stops, np.float32)
    level[0] *= 4  # red two stops up
    found = histogram_of(level, (0.0, 1.0, 0.0))
    bin_of = {name: int(np.argmax(found.channels[i])) for i, name in enumerate("RGB")}
    assert found.edges[int(np.argmax(found.luminance))] == pytest.approx(stops)
    assert found.edges[bin_of["R"]] == pytest.approx(stops + 2)
    assert found.edges[bin_of["B"]] == pytest.approx(stops)


def test_histogram_is_drawn_where_the_light_is() -> None:
    level = np.full((3, 8, 8), GREY / 16, np.float32)
    drawn = draw_histogram(histogram_of(level, (0, 1, 0)), title="Dusk", width=800, white_stops=3.0)
    plot = drawn[98 : 98 + 234, 42:842].astype(int)
    area = np.abs(plot - (0xC9, 0xC6, 0xC0)).max(axis=2) < 4
    columns = np.flatnonzero(area.any(axis=0))
    at = 800 * (-4 + 12) / 22
    assert abs(np.median(columns) - at) < 20
    white = 800 * (3 + 12) / 22
    assert (plot[:, round(white)].max(axis=1) < 60).mean() > 0.9


@pytest.mark.parametrize("white_stops", [1, 5, 8.8, 9.5, 9.99, 10, 11.5, 20])
@pytest.mark.parametrize("width", [320, 1280])
def test_the_name_of_display_white_stays_inside_the_margins(white_stops: float, width: int) -> None:
    found = histogram_of(np.full((3, 8, 8), GREY / 64, np.float32), (0, 1, 0))
    with_name = draw_histogram(found, title="", width=width, white_stops=white_stops)
    without = draw_histogram(found, title="", width=width)
    assert with_name.shape == without.shape
    columns = np.flatnonzero((with_name != without).any(axis=(0, 2)))
    margin = (without.shape[1] - max(width, 420)) // 2
    assert columns.size > 40  # a line alone is a few columns wide
    assert columns.min() >= margin
    assert columns.max() <= without.shape[1] - margin + 1  # half the line on the last column


def test_small_pictures_are_shown_in_whole_squares() -> None:
    rng = np.random.default_rng(3)
    light = (GREY * 2.0 ** rng.integers(-6, 5, (9, 16))).astype(np.float32)
    drawn = draw_exposure_map(light, title="Dusk", width=1280)
    margin = (drawn.shape[1] - 1280) // 2
    expected = stop_colours(stops_of_light(light)).repeat(80, axis=0).repeat(80, axis=1)
    top = 150
    np.testing.assert_array_equal(drawn[top : top + 720, margin : margin + 1280], expected)


@pytest.mark.parametrize("size", [(1, 1), (16, 24), (40, 20)])
def test_tiny_pictures_are_drawn_too(size: tuple[int, int]) -> None:
    drawn = draw_exposure_map(np.full(size, 0.18, np.float32), title="Dusk")
    assert (drawn != drawn[0, 0]).any()
