"""How noise is told from light, on noise whose variance is known because it was put in.

Blocks are 4 x 4 pixels. The mean of n independent pixels of variance v has the variance v / n, and
a sum of n of them n times the variance of one: that is all the truth these tests need.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pytest
from scipy.ndimage import gaussian_filter

from evenfall.prove.blocks import BlockGrid, BlockPicture, reduce_picture
from evenfall.prove.fit import BlockSet, Judge, saturated_residual

Array = npt.NDArray[np.float64]

HEIGHT, WIDTH = 160, 256
GRID = BlockGrid(HEIGHT, WIDTH, 4)
PIXELS = 16  # of a block
FLOOR = 0.002  # of the light: what half floats and lossy codecs do to it


def white(seed: int, sigma: float = 1.0) -> Array:
    """Independent noise of every pixel and channel."""
    return np.random.default_rng(seed).normal(0, sigma, (3, HEIGHT, WIDTH))


def soft(seed: int, reach: float, sigma: float = 1.0) -> Array:
    """Noise that neighbours share, as a wide pixel filter makes it."""
    noise = gaussian_filter(white(seed), (0, reach, reach), mode="wrap")
    return np.asarray(sigma * noise / noise.std())


def blocks(planes: Array) -> BlockPicture:
    return reduce_picture(list(planes.astype(np.float32)), GRID)


def set_of(beauty: Array, *passes: Array) -> BlockSet:
    names = tuple(str(index) for index in range(len(passes)))
    keep = np.ones((3, *GRID.shape), dtype=bool)
    return BlockSet(names, blocks(beauty), tuple(blocks(each) for each in passes), keep)


def judge_of(beauty: Array, *passes: Array) -> Judge:
    judged = set_of(beauty, *passes)
    return Judge(judged, judged.residual(np.ones(len(passes))))


def middle(values: Array | Sequence[float]) -> float:
    return float(np.median(values))


def test_noise_of_a_block_is_that_of_its_pixels_over_their_number() -> None:
    judge = judge_of(10 + white(1, 0.3), np.full((3, HEIGHT, WIDTH), 10.0))
    # Its own contrasts now and then exceed the mean of 25 blocks: the largest counts.
    assert middle(judge.variance) == pytest.approx(0.09 / PIXELS, rel=0.2)
    assert judge.correlation == pytest.approx(1, abs=0.1)
    assert judge.spread == pytest.approx(1, abs=0.15)


@pytest.mark.parametrize("reach", [1.5, 2.5])
def test_noise_that_blocks_share_is_not_taken_for_less(reach: float) -> None:
    """Within a block it hardly differs, so that contrasts alone tell a fraction of it."""
    noise = soft(2, reach, 0.3)
    judge = judge_of(10 + noise, np.full((3, HEIGHT, WIDTH), 10.0))
    within = blocks(noise).contrasts
    true = float(blocks(noise).means.var())
    assert middle(np.mean(within**2, axis=0)) / 4 < 0.7 * true
    # A block's difference from its four neighbours, which is what is looked at, holds less of it.
    assert middle(judge.variance) > 1.5 * float(np.mean(within**2)) / 4
    assert middle(judge.variance) < 1.3 * true


def test_sums_of_soft_noise_vary_as_much_as_is_expected() -> None:
    """Standard errors of groups count what neighbours share: of such noise they are around 1."""
    noise = soft(3, 1.5, 0.3)
    judge = judge_of(10 + noise, np.full((3, HEIGHT, WIDTH), 10.0))
    means = blocks(noise).means
    sigmas = judge.standardised(means, judge.keep)[1]
    by_group = (3, HEIGHT // 16, 4, WIDTH // 16, 4)
    sums, variance = (each.reshape(by_group).sum(axis=(2, 4)) for each in (means, judge.variance))
    assert float((sums / np.sqrt(variance)).std()) > 1.7  # as if blocks were independent
    assert float(sigmas.std()) == pytest.approx(1, abs=0.25)


def test_a_broad_difference_adds_up_over_its_groups() -> None:
    """A third of a standard error in each block is four thirds in 4 x 4 of them, and so on."""
    judge = judge_of(1 + white(4, 0.3), np.ones((3, HEIGHT, WIDTH)))
    faint = np.sqrt(judge.variance) / 3
    fine, groups, wide = map(middle, judge.standardised(faint, judge.keep))
    assert judge.scales == (1, 4, 16)
    assert [fine, groups, wide] == pytest.approx([1 / 3, 4 / 3, 16 / 3], rel=0.15)


def test_clean_light_is_tolerated_to_the_floor_and_no_further() -> None:
    """Rounding and codecs are no noise of pixels: a share of the light counts as one error."""
    clean = np.full((3, HEIGHT, WIDTH), 5.0)
    judge = judge_of(clean, clean)
    off = 5 * FLOOR * np.ones_like(judge.variance)
    # 2 % of the mean light are added to every level, so that the dark counts absolutely.
    expected = 1 / 1.02
    for sigmas in judge.standardised(off, judge.keep):
        assert sigmas == pytest.approx(expected, rel=1e-3)


def test_a_bright_block_has_noise_of_its_own() -> None:
    """Grain is a share of the light: a lamp in a dim room is noisier than the wall around it."""
    light = np.full((3, HEIGHT, WIDTH), 0.1)
    light[:, 80:84, 100:104] = 10  # one block
    grain = 0.2 * white(5)
    judge = judge_of(light * (1 + grain), light)
    row, column = 80 // 4, 100 // 4
    lamp = judge.variance[:, row, column]
    assert np.all(lamp > 0.3 * (10 * 0.2) ** 2 / PIXELS)
    far = judge.variance[:, :10, :10]
    assert middle(far) == pytest.approx((0.1 * 0.2) ** 2 / PIXELS, rel=0.25)


def test_grain_of_a_bulb_that_decides_its_lamp_is_not_fitted_away() -> None:
    """A lamp that lights one block only, once fitted, leaves no difference there but its noise."""
    sky = np.full((3, HEIGHT, WIDTH), 1.0)
    bulb = np.zeros((3, HEIGHT, WIDTH))
    bulb[:, 40:44, 60:64] = 30
    passes = sky * (1 + 0.05 * white(6)), bulb * (1 + 0.3 * white(7))
    beauty = sky * (1 + 0.05 * white(8)) + bulb * (1 + 0.3 * white(9))
    judged = set_of(beauty, *passes)
    plain = blocks(beauty - passes[0] - passes[1])
    there = (slice(None), slice(None), 10, 15)
    found = saturated_residual(judged, ())
    assert found.contrasts[there] == pytest.approx(plain.contrasts[there], rel=1e-3)
    assert np.abs(found.means[:, 10, 15]).max() < 1e-3  # the factor is free: nothing is left there
    elsewhere = saturated_residual(judged, ()).contrasts[:, :, 30:, 40:]
    assert elsewhere == pytest.approx(plain.contrasts[:, :, 30:, 40:], abs=0.01)
