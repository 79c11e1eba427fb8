"""Weights of areas: exact sizes, soft edges, masks and object numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenfall.mix.areas import area_weights
from evenfall.recipe import Area, Gradient

WIDTH, HEIGHT = 320, 180
ROUND = 0.003  # a circle of 5000 pixels is filled by area within a few pixels


def weights_of(**shape):
    weights = area_weights(Area(**shape), WIDTH, HEIGHT)
    assert weights.shape == (HEIGHT, WIDTH)
    assert weights.dtype == np.float32
    assert 0 <= weights.min() <= weights.max() <= 1
    return weights


def test_a_rectangle_covers_exactly_its_share():
    weights = weights_of(rectangle=(0.25, 0.5, 0.75, 1.0))
    assert weights.sum() == WIDTH * HEIGHT / 4
    assert weights[HEIGHT // 2 :, WIDTH // 4 : 3 * WIDTH // 4].min() == 1


def test_a_rectangle_between_pixels_covers_its_share_too():
    edges = (10.3 / WIDTH, 20.6 / HEIGHT, 200.8 / WIDTH, 90.1 / HEIGHT)
    weights = weights_of(rectangle=edges)
    assert weights.sum() == pytest.approx(190.5 * 69.5, rel=1e-4)


def test_an_ellipse_covers_pi_a_b():
    weights = weights_of(ellipse=(0.5, 0.5, 0.125, 0.25))
    assert weights.sum() == pytest.approx(math.pi * 40 * 45, rel=ROUND)
    flat = weights_of(ellipse=(0.4, 0.5, 0.3, 0.1))
    assert flat.sum() == pytest.approx(math.pi * 96 * 18, rel=ROUND)


@pytest.mark.parametrize(
    "shape",
    [{"rectangle": (0.3, 0.3, 0.7, 0.7)}, {"ellipse": (0.5, 0.5, 0.2, 0.2 * 16 / 9)}],
)
def test_a_feathered_edge_lies_half_inside_and_half_outside(shape):
    hard, soft = weights_of(**shape), weights_of(**shape, feather=0.05)
    row_hard, row_soft = hard[HEIGHT // 2], soft[HEIGHT // 2]
    assert row_soft.sum() == pytest.approx(row_hard.sum(), abs=0.05)
    edge = np.flatnonzero((row_soft > 0) & (row_soft < 1) & (np.arange(WIDTH) < WIDTH // 2))
    assert len(edge) == pytest.approx(0.05 * WIDTH, abs=1)
    rising = np.diff(row_soft[edge[0] - 1 : edge[-1] + 2])
    assert (rising > 0).all()
    assert rising[0] < 0.2 * rising.max()  # it starts gently
    assert row_soft[np.argmin(np.abs(row_soft - 0.5))] == pytest.approx(0.5, abs=0.06)


def test_edges_on_the_border_of_the_picture_do_not_fade():
    weights = weights_of(rectangle=(0.0, 0.0, 1.0, 0.5), feather=0.1)
    assert weights[0].min() == 1
    assert weights[-1].max() == 0


def test_a_gradient_runs_straight_from_nothing_to_everything():
    weights = weights_of(gradient=Gradient(start=(0.0, 0.25), end=(0.0, 0.75)))
    column = weights[:, 7]
    assert column[: HEIGHT // 4].max() == 0
    assert column[3 * HEIGHT // 4 :].min() == 1
    assert column[HEIGHT // 2 - 1 : HEIGHT // 2 + 1].mean() == pytest.approx(0.5)
    assert np.ptp(weights, axis=1).max() == 0


def test_a_slanted_gradient_is_perpendicular_in_pixels():
    weights = weights_of(gradient=Gradient(start=(0.25, 0.25), end=(0.75, 0.75)))
    down, across = np.gradient(weights[60:120, 100:220].astype(float))
    # the ramp runs along (160, 90) pixels
    assert np.median(across / down) == pytest.approx(160 / 90, rel=0.01)


def test_inverted_is_everything_but_the_shape():
    shape = {"ellipse": (0.3, 0.4, 0.2, 0.1), "feather": 0.03}
    assert weights_of(**shape) + weights_of(**shape, invert=True) == pytest.approx(1)


def test_an_area_means_the_same_on_a_draft():
    shape = Area(ellipse=(0.5, 0.4, 0.3, 0.2), feather=0.08)
    large, small = area_weights(shape, 640, 360), area_weights(shape, 160, 90)
    reduced = large.reshape(90, 4, 160, 4).mean(axis=(1, 3))
    assert small == pytest.approx(reduced, abs=0.02)


def test_a_mask_of_the_views_size_is_taken_as_it_is():
    mask = np.linspace(-0.5, 1.5, WIDTH * HEIGHT, dtype=np.float32).reshape(HEIGHT, WIDTH)
    asked = []

    def read(file, channel):
        asked.append((file, channel))
        return mask

    weights = area_weights(Area(mask="m.png", channel="A"), WIDTH, HEIGHT, read)
    assert asked == [("m.png", "A")]
    assert weights == pytest.approx(np.clip(mask, 0, 1))


def test_a_mask_of_another_size_is_scaled_smoothly():
    mask = np.zeros((90, 160), np.float32)
    mask[:, 80:] = 1
    weights = area_weights(Area(mask="m.png"), WIDTH, HEIGHT, lambda *_: mask)
    assert weights.sum() == pytest.approx(WIDTH * HEIGHT / 2, rel=1e-3)
    assert 0 < weights[5, WIDTH // 2 - 1] < weights[5, WIDTH // 2] < 1


def test_a_feathered_mask_keeps_its_weight_and_gets_soft():
    mask = np.zeros((HEIGHT, WIDTH), np.float32)
    mask[40:140, 100:200] = 1
    weights = area_weights(Area(mask="m.png", feather=0.05), WIDTH, HEIGHT, lambda *_: mask)
    assert weights.sum() == pytest.approx(mask.sum(), rel=1e-4)
    assert weights[90, 100] == pytest.approx(0.5, abs=0.1)
    assert weights[90, 150] == pytest.approx(1, abs=1e-6)
    assert weights[90, 80] == 0


def test_objects_are_chosen_by_number_and_never_blended():
    ids = np.zeros((90, 160), np.uint32)
    ids[:, 80:] = 20_000_001
    ids[:45, :80] = 20_000_002
    read = {"ids.exr": ids}
    area = Area(ids="ids.exr", id=(20_000_001, 7))
    weights = area_weights(area, WIDTH, HEIGHT, lambda file, _: read[file])
    assert set(np.unique(weights)) == {0, 1}
    assert weights[:, WIDTH // 2 :].min() == 1
    assert weights.sum() == WIDTH * HEIGHT / 2


def test_a_mask_without_a_reader_is_refused():
    with pytest.raises(ValueError, match=r"no reader was given for 'm.png'"):
        area_weights(Area(mask="m.png"), WIDTH, HEIGHT)


@pytest.mark.parametrize("pixels", [3, 4, 5, 6])
def test_a_feathered_mask_stays_where_it_is(pixels):
    """Its own mirror image, whatever the width of the edge."""
    mask = np.zeros((HEIGHT, WIDTH), np.float32)
    mask[:, 60 : WIDTH - 60] = 1
    area = Area(mask="m.png", feather=2 * pixels / WIDTH)
    weights = area_weights(area, WIDTH, HEIGHT, lambda *_: mask)
    np.testing.assert_allclose(weights, weights[:, ::-1], atol=1e-6)


def test_a_polygon_covers_what_the_shoelace_formula_says() -> None:
    """Area of a polygon from its corners (Gauss); a bay makes it concave."""
    corners = ((0.1, 0.1), (0.9, 0.15), (0.5, 0.4), (0.8, 0.9), (0.2, 0.7))
    turns = zip(corners, (*corners[1:], corners[0]), strict=True)
    area = abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in turns)) / 2
    for size in ((640, 360), (160, 90)):
        assert area_weights(Area(polygon=corners), *size).mean() == pytest.approx(area, abs=1e-3)


def test_a_polygon_with_right_angles_is_a_rectangle() -> None:
    corners = ((0.25, 0.0), (0.75, 0.0), (0.75, 0.5), (0.25, 0.5))
    for feather in (0.0, 0.2):
        polygon = area_weights(Area(polygon=corners, feather=feather), 64, 32)
        rectangle = area_weights(Area(rectangle=(0.25, 0, 0.75, 0.5), feather=feather), 64, 32)
        np.testing.assert_allclose(polygon[:8], rectangle[:8], atol=1e-5)  # away from corners


def test_every_object_number_that_is_named_counts() -> None:
    numbers = np.array([[3, 7], [9, 7]], np.uint32)
    weights = area_weights(Area(ids="ids.exr", id=(3, 7)), 2, 2, lambda *_: numbers)
    assert weights.tolist() == [[1, 1], [0, 1]]


def test_pixels_of_a_mask_that_are_no_numbers_choose_nothing() -> None:
    mask = np.array([[np.nan, 0.5], [1.0, 2.0]], np.float32)
    weights = area_weights(Area(mask="mask.exr"), 2, 2, lambda *_: mask)
    assert weights.tolist() == [[0, 0.5], [1, 1]]
