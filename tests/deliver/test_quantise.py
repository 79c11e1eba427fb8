"""Codes and dithering; expectations follow from the definition, code = floor(v N + u)."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.deliver.blue_noise import TILE, thresholds
from evenfall.deliver.quantise import quantise

CODE = 1 / 255


def flat(value: float, height: int = TILE, width: int = TILE) -> np.ndarray:
    return np.full((3, height, width), value, np.float32)


@pytest.mark.parametrize("share", [0.004, 0.25, 0.5, 0.731, 0.996])
@pytest.mark.parametrize("code", [0, 7, 118, 254])
def test_mean_over_a_tile_is_the_value(share: float, code: int) -> None:
    codes = quantise(flat((code + share) * CODE), 8)
    assert set(np.unique(codes)) == {code, code + 1}
    # One threshold of 16,384 may fall on either side through float32 rounding.
    np.testing.assert_allclose(codes.mean(axis=(0, 1)), code + share, atol=2.5 / TILE**2)


@pytest.mark.parametrize("bits", [8, 16])
def test_black_and_white_stay_clean(bits: int) -> None:
    for value, code in ((0.0, 0), (1.0, 2**bits - 1), (-3.0, 0), (7.5, 2**bits - 1)):
        np.testing.assert_array_equal(np.unique(quantise(flat(value), bits)), [code])


def test_whole_codes_stay_as_they_are() -> None:
    ramp = np.arange(256, dtype=np.float32)[None, None, :] / np.float32(255)
    codes = quantise(np.tile(ramp, (3, TILE, 1)), 8)
    expected = np.broadcast_to(np.arange(256)[None, :, None], codes.shape)
    assert (codes != expected).mean() < 1e-4  # thresholds within float32 rounding of 0 or 1


def test_without_dither_codes_are_rounded() -> None:
    values = np.array([0, 0.49, 0.51, 117.4, 117.6, 254.6], np.float32) * np.float32(CODE)
    codes = quantise(np.tile(values, (3, 1, 1)), 8, dither=False)
    assert codes[0, :, 1].tolist() == [0, 0, 1, 117, 118, 255]


@pytest.mark.parametrize(("bits", "half_up"), [(8, 128), (16, 32768)])
def test_halves_are_rounded_up(bits: int, half_up: int) -> None:
    """0.5 of 255 is 127.5 and of 65,535 32,767.5; both are float32 numbers, and lie half way."""
    codes = quantise(flat(0.5), bits, dither=False)
    np.testing.assert_array_equal(np.unique(codes), [half_up])
    below = quantise(flat(np.nextafter(np.float32(0.5), np.float32(0)) - 1e-4), bits, dither=False)
    assert np.unique(below).max() < half_up


@pytest.mark.parametrize("rows", [1, 50, 99])
def test_wide_strips_join_without_a_seam(rows: int) -> None:
    """At 3,840 pixels a strip is worked on in blocks of 68 rows; noise goes by absolute rows."""
    encoded = np.random.default_rng(6).random((3, 150, 3840), np.float32)
    whole = quantise(encoded, 8, first_row=40)
    strips = [
        quantise(encoded[:, row : row + rows], 8, first_row=40 + row) for row in range(0, 150, rows)
    ]
    np.testing.assert_array_equal(np.concatenate(strips), whole)


def test_rows_a_tile_apart_have_the_same_noise_however_wide_the_picture() -> None:
    codes = quantise(np.full((3, 2 * TILE, 3840), 100.5 * CODE, np.float32), 8)
    np.testing.assert_array_equal(codes[:TILE], codes[TILE:])
    np.testing.assert_array_equal(codes[:, :TILE], codes[:, TILE : 2 * TILE])


def test_numbers_that_are_none_become_black_and_infinities_the_ends() -> None:
    values = np.array([np.nan, np.inf, -np.inf], np.float32)
    codes = quantise(np.tile(values, (3, 1, 1)), 8)
    assert codes[0, :, 0].tolist() == [0, 255, 0]


@pytest.mark.parametrize("split", [1, 7, 128, 200])
def test_strips_of_rows_join_without_a_seam(split: int) -> None:
    encoded = np.random.default_rng(5).random((3, 301, 77), np.float32)
    whole = quantise(encoded, 8)
    strips = [
        quantise(encoded[:, row : row + split], 8, first_row=row) for row in range(0, 301, split)
    ]
    np.testing.assert_array_equal(np.concatenate(strips), whole)
    out = np.empty_like(whole)
    assert quantise(encoded, 8, out=out) is out
    np.testing.assert_array_equal(out, whole)


def test_a_dusk_gradient_does_not_band() -> None:
    """Four codes over 1,920 pixels: plain rounding makes bands, dithering keeps the ramp."""
    ramp = np.linspace(20.0, 24.0, 1920, dtype=np.float32) * np.float32(CODE)
    encoded = np.tile(ramp, (3, 256, 1))
    wanted = np.linspace(20.0, 24.0, 1920)
    window = np.ones(64) / 64

    def worst_error(codes: np.ndarray) -> float:
        columns = codes[..., 1].mean(axis=0)
        return float(np.abs(np.convolve(columns - wanted, window, "valid")).max())

    assert worst_error(quantise(encoded, 8)) < 0.02
    assert worst_error(quantise(encoded, 8, dither=False)) > 0.4


def test_channels_have_noise_of_their_own() -> None:
    codes = quantise(flat(100.5 * CODE), 8).astype(float) - 100.5
    channels = codes.reshape(-1, 3).T
    assert np.abs(np.corrcoef(channels)[np.triu_indices(3, 1)]).max() < 0.05


def test_thresholds_are_blue_noise() -> None:
    """Ulichney 1993: no power at low frequencies; every rank once, so the tile is unbiased."""
    tile = thresholds().astype(np.float64)
    assert np.unique(tile).size == TILE**2
    power = np.abs(np.fft.fftshift(np.fft.fft2(tile - tile.mean()))) ** 2
    power /= power.mean()
    middle = TILE // 2
    low = power[middle - 8 : middle + 9, middle - 8 : middle + 9]
    assert low.mean() < 0.01
    white = np.random.default_rng(1).permutation(TILE**2).reshape(TILE, TILE) / TILE**2
    of_white = np.abs(np.fft.fftshift(np.fft.fft2(white - white.mean()))) ** 2
    assert of_white[middle - 8 : middle + 9, middle - 8 : middle + 9].mean() > 0.5 * of_white.mean()


def test_alpha_is_rounded_not_dithered() -> None:
    encoded = np.full((4, 8, 8), 100.25 * CODE, np.float32)
    assert np.unique(quantise(encoded, 8)[..., 3]).tolist() == [100]
