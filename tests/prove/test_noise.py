"""Whose grain it is, where each picture's is known because it was put in.

Grain is given as relative noise of a pixel; of the mean of a block of 16 it is a quarter of that.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy.ndimage import gaussian_filter

from evenfall.prove.blocks import BlockGrid, BlockPicture, reduce_picture
from evenfall.prove.fit import BlockSet, Judge
from evenfall.prove.noise import GrainReport, grain_report

Array = npt.NDArray[np.float64]

HEIGHT, WIDTH = 192, 288
GRID = BlockGrid(HEIGHT, WIDTH, 4)
Y, X = np.mgrid[0:HEIGHT, 0:WIDTH] / np.array([HEIGHT, WIDTH])[:, None, None]
LIGHTS = tuple(
    np.stack([level] * 3) for level in (0.3 + X, 0.3 + Y, 0.5 + 0.3 * np.cos(6 * X + 4 * Y))
)
MEASURED = 0.2  # how well grain can be told on some thousand blocks


def white(seed: int) -> Array:
    return np.random.default_rng(seed).normal(size=(3, HEIGHT, WIDTH))


def grainy(light: Array, grain: float, seed: int) -> Array:
    return np.asarray(light * (1 + grain * white(seed)))


def blocks(planes: Array) -> BlockPicture:
    return reduce_picture(list(planes.astype(np.float32)), GRID)


def reported(beauty: Array, passes: list[Array]) -> GrainReport:
    keep = np.ones((3, *GRID.shape), dtype=bool)
    names = tuple(str(index) for index in range(len(passes)))
    judged = BlockSet(names, blocks(beauty), tuple(map(blocks, passes)), keep)
    return grain_report(judged, Judge(judged, judged.residual(np.ones(len(passes)))))


def set_of(*grain: float, beauty: float) -> tuple[Array, list[Array]]:
    """Passes of this grain, and a beauty each of whose lights has grain of its own."""
    passes = [grainy(LIGHTS[n], each, 10 + n) for n, each in enumerate(grain)]
    return np.sum([grainy(light, beauty, 50 + n) for n, light in enumerate(LIGHTS)], 0), passes


def of_sum(*grain: float) -> float:
    """Grain of lights together, in blocks: variances add up."""
    variance = sum((light * each / 4) ** 2 for light, each in zip(LIGHTS, grain, strict=True))
    return float(np.median(np.sqrt(variance) / sum(LIGHTS)))


def test_grain_of_every_picture_is_found() -> None:
    grain = (0.1, 0.2, 0.3)
    found = reported(*set_of(*grain, beauty=0.2))
    deviations = [each.deviation for each in found.passes]
    assert deviations == pytest.approx([each / 4 for each in grain], rel=MEASURED)
    assert found.usual_deviation == pytest.approx(0.2 / 4, rel=MEASURED)
    assert found.sum_deviation == pytest.approx(of_sum(*grain), rel=MEASURED)
    assert found.beauty.measured
    assert found.beauty.deviation == pytest.approx(of_sum(0.2, 0.2, 0.2), rel=MEASURED)
    assert (found.smooth_passes, found.smooth_beauty, found.blotchy) == ((), False, False)


def test_pictures_without_grain_are_told() -> None:
    assert reported(*set_of(0.2, 0.2, 0.0, beauty=0.2)).smooth_passes == (2,)
    beauty, passes = set_of(0.2, 0.2, 0.2, beauty=0.0)
    calm = reported(beauty, passes)
    assert (calm.smooth_passes, calm.smooth_beauty) == ((), True)


def test_a_path_that_struck_one_pass_says_nothing_of_the_beauty() -> None:
    """One block a thousand times too bright must not make the passes look grainy all over."""
    beauty, passes = set_of(0.2, 0.2, 0.2, beauty=0.2)
    before = reported(beauty, passes)
    passes[0][:, 80:84, 80:84] *= 1000
    struck = reported(beauty, passes)
    assert struck.sum_deviation == pytest.approx(before.sum_deviation, rel=MEASURED)
    assert not struck.smooth_beauty


def blotches(seed: int, reach: float) -> Array:
    noise = gaussian_filter(white(seed), (0, reach, reach), mode="wrap")
    return np.asarray(noise / noise.std())


@pytest.mark.parametrize("reach", [0.8, 1.2])
def test_grain_of_a_wide_pixel_filter_is_no_blotch(reach: float) -> None:
    passes = [light * (1 + 0.1 * blotches(n, reach)) for n, light in enumerate(LIGHTS)]
    beauty = np.sum(
        [light * (1 + 0.1 * blotches(9 + n, reach)) for n, light in enumerate(LIGHTS)], 0
    )
    assert not reported(beauty, passes).blotchy


def test_grain_as_wide_as_a_block_is_no_blotch() -> None:
    """A preview whose pixels were enlarged four times: even within blocks, white beyond them."""

    def enlarged(seed: int) -> Array:
        small = np.random.default_rng(seed).normal(size=(3, HEIGHT // 4, WIDTH // 4))
        return np.asarray(np.kron(small, np.ones((1, 4, 4))))

    passes = [light * (1 + 0.05 * enlarged(n)) for n, light in enumerate(LIGHTS)]
    beauty = np.sum([light * (1 + 0.05 * enlarged(9 + n)) for n, light in enumerate(LIGHTS)], 0)
    assert not reported(beauty, passes).blotchy


def test_rounding_to_half_floats_is_nobody_s_grain() -> None:
    """Evenly lit walls without any noise: what differs is rounding, which some pictures escape."""
    steps = np.random.default_rng(5).integers(-1, 2, (3, HEIGHT, WIDTH))
    exact = 0.75 + steps * 2.0**-11  # neighbours among half floats
    walls = [level * (1 + 3e-4 * white(n)) for n, level in enumerate((0.55, 0.6, 0.58))]
    passes = [each.astype(np.float16).astype(float) for each in (*walls, exact)]
    assert np.array_equal(passes[-1], exact)
    found = reported(np.sum(walls, 0) + exact, passes)
    assert not any(each.measured for each in found.passes)
    assert (found.smooth_passes, found.smooth_beauty, found.blotchy) == ((), False, False)
