"""Counting and mending numbers, placing windows, grouping channels: against hand-made cases."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pytest

from evenfall.passes import PixelCensus
from evenfall.passes.finite import NonFiniteRule, count_and_replace
from evenfall.passes.image import Brightest
from evenfall.passes.openexr.chroma import luminance_chroma_to_rgb, upsample
from evenfall.passes.openexr.layers import group_channels
from evenfall.passes.placement import place

DTYPES = (np.float16, np.float32)


def every_half() -> np.ndarray:
    """All 65,536 half values, shape (256, 256)."""
    return np.arange(65536, dtype=np.uint16).view(np.float16).reshape(256, 256)


def test_every_half_value_is_counted_by_ieee_754() -> None:
    """2 x 1,023 NaNs, two infinities, 31,743 negative values and -inf (IEEE 754 binary16)."""
    plane = every_half().copy()
    census = count_and_replace([plane], None, "black")
    assert census == PixelCensus(
        nan=2046, infinite=2, negative=31743 + 1, overflow=2 + 2, replaced=2048
    )
    assert np.isfinite(plane).all()
    sound = np.isfinite(every_half())
    assert (plane[sound].view(np.uint16) == every_half()[sound].view(np.uint16)).all()
    assert (plane[~sound] == 0).all()


@pytest.mark.parametrize("dtype", DTYPES)
def test_sound_planes_are_not_touched(dtype: type[np.floating]) -> None:
    plane = np.linspace(0, 60000, 300, dtype=dtype).reshape(10, 30)
    before = plane.copy()
    assert count_and_replace([plane], None, "black") == PixelCensus()
    np.testing.assert_array_equal(plane, before)


@pytest.mark.parametrize("dtype", DTYPES)
def test_minus_zero_is_not_negative(dtype: type[np.floating]) -> None:
    assert count_and_replace([np.full((2, 2), -0.0, dtype)], None, "black") == PixelCensus()


@pytest.mark.parametrize("dtype", DTYPES)
def test_pixels_are_counted_once_whatever_the_number_of_channels(
    dtype: type[np.floating],
) -> None:
    red, green, blue = (np.ones((300, 4), dtype) for _ in range(3))
    red[0, 0] = green[0, 0] = np.nan
    green[299, 3] = np.inf
    blue[150, 1] = red[150, 1] = -1
    census = count_and_replace([red, green, blue], None, "black")
    assert (census.nan, census.infinite, census.negative, census.replaced) == (1, 1, 1, 2)
    assert red[0, 0] == green[0, 0] == blue[0, 0] == blue[299, 3] == 0
    assert red[150, 1] == -1


@pytest.mark.parametrize("rule", ["black", "neighbours"])
@pytest.mark.parametrize("dtype", DTYPES)
def test_alpha_is_mended_by_itself_and_colour_kept(
    dtype: type[np.floating], rule: NonFiniteRule
) -> None:
    planes = [np.array([[0.5, 0, 2, 3]], dtype) for _ in range(3)]
    alpha = np.array([[np.nan, np.nan, -np.inf, 0.25]], dtype)
    assert count_and_replace(planes, alpha, rule) == PixelCensus(alpha=3)
    assert [plane.tolist() for plane in planes] == [[[0.5, 0, 2, 3]]] * 3
    assert alpha.tolist() == [[1, 0, 1, 0.25]]  # covered where there is light


def test_alpha_of_a_broken_colour_is_kept() -> None:
    planes = [np.array([[np.nan, 1]], np.float32), np.array([[2, 1]], np.float32)]
    alpha = np.array([[0.5, np.inf]], np.float32)
    assert count_and_replace(planes, alpha, "black") == PixelCensus(nan=1, replaced=1, alpha=1)
    assert planes[1].tolist() == [[0, 1]]
    assert alpha.tolist() == [[0.5, 1]]


def test_the_farthest_from_light_is_named_by_its_place() -> None:
    planes = [np.ones((300, 5), np.float32) for _ in range(3)]
    planes[0][2, 1] = 2e12
    planes[1][299, 4] = -3e38
    planes[2][299, 4] = np.nan
    planes[2][299, 3] = np.inf
    census = count_and_replace(planes, None, "black")
    assert (census.huge, census.negative, census.replaced) == (2, 1, 2)
    assert census.brightest is not None
    assert (census.brightest.column, census.brightest.row) == (4, 299)
    assert str(census.brightest) == "-3e+38 at 4, 299"


def test_censuses_of_two_parts_add_up() -> None:
    upper = PixelCensus(nan=1, huge=1, brightest=Brightest(3, 2, 1e13))
    lower = PixelCensus(nan=2, alpha=4, huge=1, brightest=Brightest(0, 1, -1e14)).lowered(10)
    assert upper + lower == PixelCensus(nan=3, alpha=4, huge=2, brightest=Brightest(0, 11, -1e14))
    assert PixelCensus.of(asdict(lower)) == lower
    assert PixelCensus.of(asdict(PixelCensus(nan=1))) == PixelCensus(nan=1)


@pytest.mark.parametrize("dtype", DTYPES)
def test_neighbours_are_the_median_of_sound_ones(dtype: type[np.floating]) -> None:
    plane = np.array([[1, 2, 3], [4, np.nan, 6], [7, np.inf, 100]], dtype)
    count_and_replace([plane], None, "neighbours")
    # Of 1 2 3 4 6 7 100 the median is 4; of 4 6 7 100 (the other is broken itself) 6.5.
    assert plane[1, 1] == 4
    assert plane[2, 1] == 6.5


def test_large_holes_are_filled_from_farther_and_the_middle_of_vast_ones_is_black() -> None:
    plane = np.full((41, 41), 5.0, np.float32)
    plane[5:8, 5:8] = np.nan
    plane[15:40, 15:40] = np.nan
    census = count_and_replace([plane], None, "neighbours")
    assert census.replaced == 9 + 625
    assert (plane[5:8, 5:8] == 5).all()
    assert plane[27, 27] == 0


@pytest.mark.parametrize("rule", ["black", "neighbours"])
def test_all_broken_is_black(rule: NonFiniteRule) -> None:
    plane = np.full((4, 4), np.nan, np.float32)
    assert count_and_replace([plane], None, rule).replaced == 16
    assert (plane == 0).all()


@pytest.mark.parametrize(
    ("names", "layers"),
    [
        (["R", "G", "B", "A"], {"": "RGBA"}),
        (["r", "g", "b"], {"": "RGB"}),
        (["Y"], {"": "Y"}),
        (["Y", "A"], {"": "YA"}),
        (["a.b.R", "a.b.G", "a.b.B"], {"a.b": "RGB"}),
        (["key.Red", "key.Green", "key.Blue", "key.Alpha"], {"key": "RGBA"}),
        (["N.X", "N.Y", "N.Z"], {}),
        (["X", "Y", "Z", "R", "G", "B"], {"": "RGB"}),
        (["R", "G"], {}),
        (["Z"], {}),
        (["id"], {}),
        (["lamp"], {"": "Y"}),
        (["left.lamp"], {"left": "Y"}),
        (["sun_R", "sun_G", "sun_B", "sun_Z"], {"sun": "RGB"}),
        (["glow_R"], {"": "Y"}),
        (["glow_R", "haze_G"], {}),
        (["sun.R", "sun.G", "sun.B", "sun.r", "sun.g", "sun.b"], {"sun": "RGB"}),
    ],
)
def test_layers_by_channel_names(names: list[str], layers: dict[str, str]) -> None:
    found = {
        layer: "".join(role for role in ("R", "G", "B", "Y", "A") if role in roles)
        for layer, roles in group_channels(names).items()
    }
    assert found == layers


def test_the_short_upper_case_spelling_wins() -> None:
    assert group_channels(["s.R", "s.G", "s.B", "s.red"])["s"]["R"] == "s.R"


def test_upsampling_brings_back_a_plane_of_two_slopes() -> None:
    y, x = np.mgrid[0:9, 0:13].astype(np.float32)
    plane = 3 * x + 5 * y
    rebuilt = upsample(plane[::4, ::3], 3, 4, 13, 9)
    np.testing.assert_allclose(rebuilt, plane, rtol=1e-6)  # thirds are no float32


def test_upsampling_keeps_broken_samples_where_they_are() -> None:
    samples = np.array([[1.0, np.inf, 3.0]], np.float32)
    seen = upsample(samples, 2, 1, 6, 1)[0]
    assert seen[0] == 1
    assert seen[2] == np.inf
    assert seen[4] == 3


def test_luminance_weights_are_those_of_the_primaries() -> None:
    """For BT.2020 the luma of pure red is 0.2627 (ITU-R BT.2020-2, table 4)."""
    bt2020 = (0.708, 0.292, 0.170, 0.797, 0.131, 0.046, 0.3127, 0.329)
    luminance = np.full((1, 1), 0.2627, np.float32)
    red_chroma = (1 - luminance) / luminance
    red, green, blue = luminance_chroma_to_rgb(
        luminance, red_chroma, -luminance / luminance, bt2020
    )
    np.testing.assert_allclose(
        [red[0, 0], green[0, 0], blue[0, 0]],
        [1, 0, 0],
        atol=1e-4,  # four digits in the table
    )


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        ((0, 0, 1, 1), [[1, 2, 0], [3, 4, 0]]),
        ((1, 0, 2, 1), [[0, 1, 2], [0, 3, 4]]),
        ((-1, -1, 0, 0), [[4, 0, 0], [0, 0, 0]]),
        ((2, 1, 3, 2), [[0, 0, 0], [0, 0, 1]]),
        ((9, 9, 10, 10), [[0, 0, 0], [0, 0, 0]]),
    ],
)
def test_windows_are_placed(data: tuple[int, int, int, int], expected: list[list[int]]) -> None:
    stored = np.array([[1, 2], [3, 4]], np.float16)
    assert place(stored, data, (0, 0, 2, 1)).tolist() == expected
