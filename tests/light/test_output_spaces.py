"""Output encodings against the standards' own numbers and colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from evenfall.errors import UsageError
from evenfall.light.output_spaces import OUTPUT_SPACES, output_space
from evenfall.light.transfer import decode_srgb, encode_srgb

EXACT = 1e-7  # the formula itself, in float64, against numbers printed to 8 digits
TABLE = 2e-5  # the quick table: a thirteenth of a 12-bit step

# IEC 61966-2-1:1999, computed with colour-science 0.4.7.
SRGB_ENCODED = {
    0.001: 0.01292000,
    0.0031308: 0.04044994,
    0.01: 0.09985282,
    0.05: 0.24780053,
    0.18: 0.46135613,
    0.5: 0.73535698,
    0.9: 0.95468717,
}
SRGB_LINEAR = {
    0.01: 0.000773994,
    0.04045: 0.003130807,
    0.1: 0.010022826,
    0.25: 0.050876088,
    0.5: 0.214041140,
    0.75: 0.522521554,
}
# ITU-R BT.1886 annex 1, Lw 1, Lb 0.
BT1886_LINEAR = {0.1: 0.0039811, 0.25: 0.0358968, 0.5: 0.1894646, 0.75: 0.5013569}
# Adobe RGB (1998) colour image encoding, 2005-05: gamma 563/256.
ADOBE_LINEAR = {0.1: 0.0063209, 0.25: 0.0474175, 0.5: 0.2177555, 0.75: 0.5311686}


def test_srgb_is_the_standards() -> None:
    linear, encoded = np.array(list(SRGB_ENCODED.items())).T
    np.testing.assert_allclose(encode_srgb(linear), encoded, rtol=0, atol=EXACT)
    encoded, linear = np.array(list(SRGB_LINEAR.items())).T
    np.testing.assert_allclose(decode_srgb(encoded), linear, rtol=0, atol=EXACT)


def test_srgb_bends_where_the_standard_says() -> None:
    """Around 0.0031308 and 0.04045, where its two pieces differ by less than 1e-6."""
    with warnings.catch_warnings():  # of optional packages that are not installed
        warnings.simplefilter("ignore")
        import colour
    linear, encoded = np.linspace(0.0028, 0.0034, 601), np.linspace(0.036, 0.044, 800)
    expected = colour.models.eotf_inverse_sRGB(linear)
    np.testing.assert_allclose(encode_srgb(linear), expected, rtol=0, atol=1e-10)
    expected = colour.models.eotf_sRGB(encoded)
    np.testing.assert_allclose(decode_srgb(encoded), expected, rtol=0, atol=1e-10)


@pytest.mark.parametrize(
    ("name", "values"),
    [("BT.709", BT1886_LINEAR), ("Adobe RGB (1998) compatible", ADOBE_LINEAR)],
)
def test_power_encodings_are_the_standards(name: str, values: dict[float, float]) -> None:
    encoded, linear = np.array(list(values.items())).T
    space = output_space(name)
    np.testing.assert_allclose(space.curve.decode(encoded), linear, rtol=0, atol=EXACT)
    np.testing.assert_allclose(space.curve.encode(linear), encoded, rtol=0, atol=1e-5)


@pytest.mark.parametrize("name", OUTPUT_SPACES)
def test_table_stays_close_to_the_formula(name: str) -> None:
    space = output_space(name)
    dense = np.concatenate([np.linspace(0, 1, 300_001), np.logspace(-14, 0, 100_001)])
    values = dense.astype(np.float32)
    exact = space.curve.encode(values.astype(np.float64))
    np.testing.assert_allclose(space.encode(values), exact, rtol=0, atol=TABLE)
    exact = space.curve.decode(values.astype(np.float64))
    np.testing.assert_allclose(space.decode(values), exact, rtol=0, atol=TABLE)


@pytest.mark.parametrize("name", OUTPUT_SPACES)
def test_black_and_white_are_exact_and_the_rest_is_cut_off(name: str) -> None:
    space = output_space(name)
    ends = np.array([-1.0, -0.0, 0.0, 1.0, 2.0, 1e30], np.float32)
    for convert in (space.encode, space.decode):
        np.testing.assert_allclose(convert(ends), [0, 0, 0, 1, 1, 1], rtol=0, atol=1e-7)


@pytest.mark.parametrize("name", OUTPUT_SPACES)
def test_round_trip_and_order(name: str) -> None:
    space = output_space(name)
    codes = (np.arange(65536) / 65535).astype(np.float32)
    np.testing.assert_allclose(space.encode(space.decode(codes)), codes, rtol=0, atol=4e-5)
    assert (np.diff(space.encode(codes)) >= -1e-6).all()


def test_encoding_may_overwrite_its_input() -> None:
    values = np.linspace(0, 1, 99, dtype=np.float32).reshape(3, 3, 11)
    expected = output_space("sRGB").encode(values)
    again = values.copy()
    assert output_space("sRGB").encode(again, out=again) is again
    np.testing.assert_array_equal(again, expected)


def test_unknown_space_is_named() -> None:
    with pytest.raises(UsageError, match='found "srgb"; expected one of sRGB'):
        output_space("srgb")


def test_an_array_that_cannot_be_written_into_is_refused() -> None:
    """Of an array whose rows do not follow each other, only a copy could be written into."""
    space = output_space("sRGB")
    picture = np.full((4, 6, 3), 0.18, np.float32)
    planes = np.moveaxis(picture, -1, 0)
    np.testing.assert_allclose(space.encode(planes), 0.46135613, rtol=0, atol=TABLE)
    with pytest.raises(ValueError, match=r"out must be C-contiguous float32 of shape \(3, 4, 6\)"):
        space.encode(planes, out=planes)
    with pytest.raises(ValueError, match="found float64"):
        space.decode(planes, out=np.empty((3, 4, 6)))
    with pytest.raises(ValueError, match=r"shape \(72,\)"):
        space.decode(planes, out=np.empty(72, np.float32))
    assert picture.min() == picture.max() == np.float32(0.18)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_curves_keep_the_kind_of_number_and_mirror_below_black(dtype: type) -> None:
    values = np.array([-0.5, -0.001, 0.001, 0.5, 4.0], dtype)
    for convert in (encode_srgb, decode_srgb):
        found = convert(values)
        assert found.dtype == dtype
        np.testing.assert_allclose(found[:2], -found[3:1:-1], rtol=1e-6)
