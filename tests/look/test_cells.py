"""Means over cells, and pixels interpolated from them."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from evenfall.look.cells import cell_means, from_cells

ROUNDING = 1e-6  # of values up to 1 in float32, in four taps each way
BORDER_CELLS = 3  # from which on all taps are inside: what lies outside is a choice


@pytest.mark.parametrize(
    ("cell", "size"), [(2, (64, 48)), (3, (60, 45)), (4, (101, 67)), (8, (96, 80))]
)
def test_cells_are_interpolated_by_the_cubic_of_keys(cell: int, size: tuple[int, int]) -> None:
    """Pillow's bicubic filter is the same one, a = -0.5."""
    width, height = size
    shape = -(-height // cell), -(-width // cell)
    cells = np.random.default_rng(1).random(shape, np.float32)
    box = (0, 0, width / cell, height / cell)
    expected = np.asarray(Image.fromarray(cells).resize(size, Image.Resampling.BICUBIC, box))
    inner = slice(BORDER_CELLS * cell, -BORDER_CELLS * cell)
    found = from_cells(cells, cell, (height, width))
    assert found.shape == (height, width)
    np.testing.assert_allclose(found[inner, inner], expected[inner, inner], atol=30 * ROUNDING)
    assert np.abs(np.diff(expected[inner, inner])).max() > 0.1  # there is something to get wrong


@pytest.mark.parametrize("cell", [1, 2, 5])
def test_a_flat_picture_stays_flat_up_to_its_borders(cell: int) -> None:
    flat = np.full((21, 34), 0.3, np.float32)
    found = from_cells(cell_means(flat, cell), cell, flat.shape)
    np.testing.assert_allclose(found, flat, rtol=ROUNDING)


def test_means_are_those_of_blocks_and_of_the_mirrored_border() -> None:
    """By hand: 3 x 3 pixels in cells of 2, of which the last row and column count twice."""
    plane = np.array([[1, 3, 5], [5, 7, 9], [2, 4, 8]], np.float32)
    assert cell_means(plane, 2).tolist() == [[4, 7], [3, 8]]
