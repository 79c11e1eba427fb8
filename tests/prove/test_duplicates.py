"""Passes that show the same light, and passes that may hold another's, made so that it is known."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from evenfall.prove.blocks import BlockGrid, BlockPicture, reduce_picture
from evenfall.prove.duplicates import holders_of, same_lights
from evenfall.prove.fit import BlockSet, Judge

Array = npt.NDArray[np.float64]

HEIGHT, WIDTH = 128, 160
GRID = BlockGrid(HEIGHT, WIDTH, 4)
KEEP = np.ones((3, *GRID.shape), dtype=bool)
Y, X = np.mgrid[0:HEIGHT, 0:WIDTH] / 40
LAMP = np.stack([1.2 + np.sin(2 * X) * np.cos(Y)] * 3)
SKY = np.stack([0.3 + Y / 3] * 3)


def rendered(light: Array, seed: int, grain: float = 0.1) -> Array:
    return np.asarray(light * (1 + grain * np.random.default_rng(seed).normal(size=light.shape)))


def blocks(planes: Array) -> BlockPicture:
    return reduce_picture(list(planes.astype(np.float32)), GRID)


def test_the_same_light_rendered_again_brighter_is_found() -> None:
    pictures = tuple(map(blocks, (rendered(LAMP, 1), rendered(SKY, 2), 1.5 * rendered(LAMP, 3))))
    (pair,) = same_lights(pictures, KEEP)
    assert (pair.first, pair.second) == (0, 2)
    assert pair.factor == pytest.approx(1.5, rel=0.01)


def test_lights_that_are_alike_but_for_a_corner_are_two() -> None:
    """A tenth more light in a ninth of the picture: 40 times what grain of 1 % in blocks allows."""
    other = LAMP.copy()
    other[:, 60:100, 50:100] *= 1.1
    pictures = blocks(rendered(LAMP, 1, 0.04)), blocks(rendered(other, 2, 0.04))
    assert same_lights(pictures, KEEP) == ()


def test_what_may_hold_a_light_is_another_pass_that_is_nowhere_darker() -> None:
    passes = tuple(map(blocks, (LAMP, LAMP + SKY, SKY)))
    beauty = BlockSet(("lamp", "both", "sky"), blocks(LAMP + SKY), passes, KEEP)
    judge = Judge(beauty, blocks(np.zeros_like(LAMP)))
    assert holders_of(0, passes, judge) == (1,)
    assert holders_of(2, passes, judge) == (1,)
    assert holders_of(1, passes, judge) == ()
