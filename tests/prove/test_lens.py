"""What a lens or a moved camera does, planted with known size and undone."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy.ndimage import gaussian_filter

from evenfall.prove.blocks import BlockGrid, reduce_picture
from evenfall.prove.lens import bloomed, vignetted
from evenfall.prove.looks import look_at
from evenfall.prove.shift import Shift, Slopes, fit_shift, slopes_of, whole_pixels

Array = npt.NDArray[np.float64]

ROWS, COLUMNS = 45, 80  # blocks
Y, X = np.mgrid[0:ROWS, 0:COLUMNS].astype(float)
SCENE = np.stack([1.5 + np.sin(X / 5 + shift) * np.cos(Y / 7) for shift in (0.0, 0.4, 0.8)])
EVEN = np.ones((3, ROWS, COLUMNS))


def radius_squared() -> Array:
    """0 in the middle of the picture, 1 in its corners."""
    across, down = (X + 0.5 - COLUMNS / 2) / (COLUMNS / 2), (Y + 0.5 - ROWS / 2) / (ROWS / 2)
    return (across**2 * COLUMNS**2 + down**2 * ROWS**2) / (COLUMNS**2 + ROWS**2)


@pytest.mark.parametrize("tangent", [0.4, 0.8])
def test_darkening_of_a_lens_is_measured(tangent: float) -> None:
    """Cosine to the fourth power of the angle: 1 / (1 + t^2 r^2) squared, r being 1 in corners."""
    light = 1 / (1 + tangent**2 * radius_squared()) ** 2
    ((corner, found),) = vignetted(SCENE * light, SCENE * light - SCENE, EVEN)
    assert corner == pytest.approx(1 / (1 + tangent**2) ** 2, abs=0.02)
    assert found == pytest.approx(light, abs=0.01)


def test_what_a_lens_does_not_do_is_no_darkening() -> None:
    brighter = 1 + 0.3 * radius_squared()
    one_sided = 1 - 0.3 * X / COLUMNS
    dark_ring = 1 - 0.3 * np.exp(-((radius_squared() - 0.25) ** 2) / 0.01)
    for light in (brighter, np.ones_like(X)):
        assert list(vignetted(SCENE * light, SCENE * light - SCENE, EVEN)) == []
    for light in (one_sided, dark_ring):
        for _, found in vignetted(SCENE * light, SCENE * light - SCENE, EVEN):
            assert np.abs(found - light).max() > 0.1  # it is not explained


def spread(light: Array) -> Array:
    return gaussian_filter(light, (0, 0.064 * COLUMNS, 0.064 * COLUMNS), mode="nearest")


def test_light_that_is_spread_is_brought_back() -> None:
    """A tenth of the light, of a bright spot too, spread by a Gaussian: taken away, or added."""
    lit = SCENE + 20 * np.exp(-((X - 30) ** 2 + (Y - 20) ** 2) / 18)
    bloom = 0.1 * spread(lit)
    for place, beauty in ((0, 0.9 * lit + bloom), (-1, lit + bloom)):
        share, taken, arrives = list(bloomed(beauty, beauty - lit, EVEN))[place]
        assert taken == (share if place == 0 else 0)
        # What is spread hardly at all may as well have stayed, so that the share is a rough one.
        assert share == pytest.approx(0.1, abs=0.08)
        off = np.abs((beauty - arrives) / (1 - taken) - lit)
        assert off.max() < 0.3 * np.abs(beauty - lit).max()
        assert off.mean() < 0.3 * np.abs(beauty - lit).mean()


def test_grain_of_the_passes_is_no_light_that_left() -> None:
    """It is in their sum and in the difference, and a sharp picture less a soft one is like it."""
    grain = SCENE * 0.1 * np.random.default_rng(1).normal(size=SCENE.shape)
    shares = [share for share, *_ in bloomed(SCENE, -grain, EVEN)]
    assert max(shares, default=0) < 0.05


GRID = BlockGrid(72, 96, 4)
PIXEL_Y, PIXEL_X = np.mgrid[0:72, 0:96].astype(np.float32)
PICTURE = [
    (2 + np.sin(PIXEL_X / 9 + turn) + np.cos(PIXEL_Y / 6 + turn)).astype(np.float32)
    for turn in (0, 1, 2)
]


def test_slopes_are_central_differences() -> None:
    slopes = slopes_of(PICTURE, GRID)
    inner = np.s_[:, 1:-1, 1:-1]
    for found, axis in ((slopes.across, 2), (slopes.down, 1)):
        change = np.gradient(np.array(PICTURE, float), axis=axis)
        expected = change.reshape(3, 18, 4, 24, 4).mean(axis=(2, 4))
        assert found[inner] == pytest.approx(expected[inner], abs=1e-5)


def shifted(across: float, down: float) -> list[npt.NDArray[np.float32]]:
    x, y = PIXEL_X - across, PIXEL_Y - down
    return [
        (2 + np.sin(x / 9 + turn) + np.cos(y / 6 + turn)).astype(np.float32) for turn in (0, 1, 2)
    ]


def fitted(across: float, down: float, weight: float = 1e6) -> Shift | None:
    """Fit a pass that stands so many pixels right and down of where the beauty has it."""
    moved = shifted(across, down)
    difference = reduce_picture(PICTURE, GRID).means - reduce_picture(moved, GRID).means
    slopes: list[Slopes] = [slopes_of(moved, GRID)]
    return fit_shift(difference, np.full(difference.shape, weight), 1.0, slopes, 0)


@pytest.mark.parametrize(("across", "down"), [(1, 0), (0, 1), (-2, 1), (0.5, -0.5)])
def test_a_shift_is_measured(across: float, down: float) -> None:
    found = fitted(across, down)
    assert found is not None
    assert found.numbers == pytest.approx((across, down), abs=0.05)
    side = "right" if across > 0 else "left"
    assert (side in found.words) == (across != 0)
    assert ("down" in found.words, "up" in found.words) == (down > 0, down < 0)


def test_a_shift_that_is_none_or_cannot_be_sure_is_not_told() -> None:
    assert fitted(0.1, 0.1) is None  # an eighth of a pixel: within what filters differ by
    assert fitted(1, 0, weight=1e-3) is None  # noise of 30 times the light
    assert fitted(7, 0) is None  # slopes tell no more


def test_whole_pixels_around_a_shift_keep_right_and_down_apart() -> None:
    assert list(whole_pixels(1.8, 0.1)) == [(1.8, 0.1), (2.0, 0.0)]
    assert list(whole_pixels(0.1, 1.8)) == [(0.1, 1.8), (0.0, 2.0)]


def looked(operation: str, planes: Any, alpha: Any = None) -> Any:
    picture = SimpleNamespace(planes=planes, alpha=alpha)
    seen = (0, (operation,))
    found = dict(look_at([seen], ["lamp"], GRID, picture, lambda: [("lamp", picture)]))
    return found[seen].means


def test_alpha_is_undone_on_pixels() -> None:
    alpha = np.clip((PIXEL_X - 40) / 9, 0, 1).astype(np.float32)
    cut = [plane * alpha for plane in PICTURE]
    once, twice = (reduce_picture(each, GRID).means for each in (cut, [p * alpha for p in cut]))
    assert looked("alpha never", PICTURE, alpha) == pytest.approx(once, abs=1e-6)
    assert looked("alpha twice", [p * alpha for p in cut], alpha) == pytest.approx(once, abs=1e-6)
    assert np.abs(twice - once).max() > 0.1


@pytest.mark.parametrize(("across", "down"), [(1, 0), (0, -2), (1.5, 1)])
def test_a_picture_is_moved_back_on_pixels(across: float, down: float) -> None:
    found = looked(f"shift {across:g} {down:g}", shifted(across, down))
    inner = np.s_[:, 1:-1, 1:-1]
    assert found[inner] == pytest.approx(reduce_picture(PICTURE, GRID).means[inner], abs=5e-3)
