"""Profiles against published colorants, Little CMS and colour-science."""

from __future__ import annotations

import hashlib
import io
import warnings

import imagecodecs
import numpy as np
import pytest
from PIL import Image, ImageCms

from evenfall.deliver.icc import icc_profile
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.deliver.png import encode_png
from evenfall.deliver.quantise import quantise
from evenfall.deliver.tiff import encode_tiff
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import BT709, colorants, conversion_matrix

with warnings.catch_warnings():  # of optional packages that are not installed
    warnings.simplefilter("ignore")
    import colour

# D50 colorants by Bradford's adaptation, columns R, G, B, as colour-science 0.4.7 derives them from
# IEC 61966-2-1, SMPTE EG 432-1 (with D65) and the Adobe RGB (1998) encoding. Profiles that are in
# circulation differ from them by up to 2.2e-4.
COLORANTS = {
    "sRGB": ((0.43604, 0.22248, 0.01392), (0.38511, 0.71691, 0.09707), (0.14305, 0.06061, 0.71391)),
    "Display P3": (
        (0.51512, 0.24119, -0.00105), (0.29198, 0.69224, 0.04188), (0.15710, 0.06657, 0.78407),
    ),
    "Adobe RGB (1998) compatible": (
        (0.60974, 0.31111, 0.01947), (0.20527, 0.62568, 0.06087), (0.14919, 0.06321, 0.74456),
    ),
}  # fmt: skip
COLORANTS["BT.709"] = COLORANTS["sRGB"]
COLORANT_TOLERANCE = 3e-4
DELTA_E_2000 = 0.5
SPACES = tuple(COLORANTS)


@pytest.mark.parametrize("space", SPACES)
def test_colorants_are_the_published_ones(space: str) -> None:
    found = colorants(output_space(space).rgb).T
    np.testing.assert_allclose(found, COLORANTS[space], atol=COLORANT_TOLERANCE)
    opened = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile(space))).profile
    for name, expected in zip(("red", "green", "blue"), COLORANTS[space], strict=True):
        theirs = getattr(opened, f"{name}_colorant")[0]
        np.testing.assert_allclose(theirs, expected, atol=COLORANT_TOLERANCE)


@pytest.mark.parametrize("space", SPACES)
def test_little_cms_opens_it(space: str) -> None:
    opened = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile(space))).profile
    assert opened.profile_description == output_space(space).profile_name
    assert opened.version == pytest.approx(4.4)
    assert opened.xcolor_space.strip() == "RGB"
    assert opened.is_matrix_shaper
    np.testing.assert_allclose(opened.media_white_point[0], [0.9642, 1.0, 0.8249], atol=2e-5)


@pytest.mark.parametrize("space", SPACES)
def test_bytes_never_change_and_carry_their_own_identifier(space: str) -> None:
    profile = icc_profile(space)
    icc_profile.cache_clear()
    assert icc_profile(space) == profile
    # ICC.1:2022, 7.2.18: MD5 with flags, rendering intent and identifier zero.
    blank = bytearray(profile)
    blank[44:48], blank[64:68], blank[84:100] = bytes(4), bytes(4), bytes(16)
    assert profile[84:100] == hashlib.md5(blank).digest()


def patches() -> np.ndarray:
    """Linear BT.709 colours: a grid of 5 levels a channel and a scale of greys; shape (N, 3)."""
    levels = np.array([0.0, 0.05, 0.2, 0.5, 1.0])
    grid = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(-1, 3)
    greys = np.linspace(0.01, 1, 25)[:, None].repeat(3, axis=1)
    return np.concatenate([grid, greys])


def lab_of(linear_bt709: np.ndarray) -> np.ndarray:
    """CIE Lab under the D50 of the connection space, by colour-science."""
    d65 = np.array([0.3127, 0.3290])
    xyz = linear_bt709 @ colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ.T
    d50 = np.array([0.9642, 1.0, 0.8249])
    adapted = colour.adaptation.chromatic_adaptation_VonKries(
        xyz, colour.xy_to_XYZ(d65), d50, transform="Bradford"
    )
    return colour.XYZ_to_Lab(adapted, colour.XYZ_to_xy(d50))


def test_patches_come_back_through_little_cms() -> None:
    """A file of every space, converted with its embedded profile, shows the colours put in."""
    linear = patches()
    expected = lab_of(linear)
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    for space in SPACES:
        described = output_space(space)
        own = np.clip(linear @ conversion_matrix(BT709, described.rgb).T, 0, 1)
        encoded = described.curve.encode(own).astype(np.float32)
        codes = quantise(encoded.T.reshape(3, 10, -1), 16, dither=False)
        for data in (encode_png(codes, space=space), encode_tiff(codes, space=space)):
            with Image.open(io.BytesIO(data)) as opened:
                embedded = opened.info["icc_profile"]
            assert embedded == icc_profile(space)
            found = imagecodecs.cms_transform(
                codes, embedded, lab, colorspace="rgb",
                outcolorspace="lab", outdtype="float64", intent=1,
            )  # fmt: skip
            error = colour.delta_E(expected, found.reshape(-1, 3), method="CIE 2000")
            assert error.max() < DELTA_E_2000, f"{space}: {error.max()}"
        shifted = colour.delta_E(expected, lab_of(linear * [1.03, 1, 1]), method="CIE 2000")
        assert shifted.max() > DELTA_E_2000  # the measure does see a 3 % fault in red


@pytest.mark.parametrize(
    ("space", "expected"),
    # Little CMS, relative colorimetric, from circulating profiles of these spaces to sRGB.
    [("Display P3", (138, 59, 207)), ("Adobe RGB (1998) compatible", (146, 62, 205))],
)
def test_codes_convert_as_with_profiles_in_circulation(space: str, expected: tuple) -> None:
    patch = np.array([128, 64, 200], np.uint8) * np.ones((8, 8, 1), np.uint8)
    with Image.open(io.BytesIO(encode_jpeg(patch, space=space, quality=100))) as opened:
        source = ImageCms.ImageCmsProfile(io.BytesIO(opened.info["icc_profile"]))
    converted = ImageCms.profileToProfile(
        Image.fromarray(patch), source, ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )  # fmt: skip
    assert np.abs(np.asarray(converted)[4, 4].astype(int) - expected).max() <= 1
