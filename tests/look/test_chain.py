"""The chain as a whole: what it promises to whoever cuts a picture into strips."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenfall.light.output_spaces import OUTPUT_SPACES, output_space
from evenfall.light.primaries import ACESCG, BT709, BT2020, RgbSpace, conversion_matrix
from evenfall.light.transfer import encode_srgb
from evenfall.look.chain import LookChain, build_chain
from evenfall.recipe.look import Look

NEUTRAL = 3e-6  # float32 rounding through three matrices

IDENTITY_LUT = "LUT_1D_SIZE 2\n0 0 0\n1 1 1\n"
EVERYTHING: dict[str, Any] = {
    "tone": {"curve": "evenfall", "contrast": 1.4},
    "grade": {
        "contrast": 1.1,
        "saturation": 1.2,
        "split_tint": {"shadows": "#404060", "highlights": "#ffe0b0"},
        "cdl": {"slope": (1.1, 1, 0.9), "power": (1.1, 1, 1)},
        "luts": ({"file": "identity.cube", "strength": 0.5},),
    },
    "vignette": {"natural": 1.0, "creative_stops": 1.0, "centre": (0.4, 0.6)},
    "grain": {"strength": 0.5},
}
LOOKS: dict[str, dict[str, Any]] = {
    "default": {},
    "colour to the end": {"tone": {"curve": "evenfall", "to_white": 0.0}},
    "neutral": {"tone": "neutral"},
    "reinhard": {"tone": "reinhard"},
    "aces2": {"tone": "aces2"},
    "clipped gamut": {"gamut": {"method": "clip"}},
    "everything": EVERYTHING,
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "identity.cube").write_text(IDENTITY_LUT)
    return tmp_path


def chain_of(
    look: dict[str, Any],
    size: tuple[int, int],
    folder: Path = Path(),
    *,
    source: RgbSpace = BT709,
    camera: np.ndarray | None = None,
    space: str = "sRGB",
) -> LookChain:
    return build_chain(
        Look(**look),
        source=source,
        camera_matrix=np.eye(3) if camera is None else camera,
        output=output_space(space),
        size=size,
        recipe_folder=folder,
    )


def scene(height: int = 61, width: int = 83, seed: int = 0) -> np.ndarray:
    """Scene-linear values over 16 stops, some saturated, some negative."""
    random = np.random.default_rng(seed)
    level = 2.0 ** random.uniform(-10, 6, (height, width))
    planes = level * random.uniform(-0.02, 1, (3, height, width)) ** 3
    return planes.astype(np.float32)


@pytest.mark.parametrize("name", LOOKS)
def test_strips_make_no_difference_to_the_bytes(name: str, folder: Path) -> None:
    planes = scene(61, 700)
    chain = chain_of(LOOKS[name], (700, 61), folder)
    whole = chain.encode_rows(planes, 0)
    cuts = [0, 1, 2, 9, 10, 43, 60, 61]

    def strip(first: int, last: int) -> np.ndarray:
        return chain.encode_rows(np.ascontiguousarray(planes[:, first:last]), first)

    with ThreadPoolExecutor(3) as pool:
        parts = list(pool.map(strip, cuts[:-1], cuts[1:]))
    np.testing.assert_array_equal(np.concatenate(parts, axis=1), whole)


@pytest.mark.parametrize("name", LOOKS)
def test_input_is_left_alone_and_output_is_shown(name: str, folder: Path) -> None:
    planes = scene()
    kept = planes.copy()
    chain = chain_of(LOOKS[name], (83, 61), folder)
    encoded = chain.encode_rows(planes, 0)
    np.testing.assert_array_equal(planes, kept)
    assert encoded.dtype == np.float32
    assert encoded.min() >= 0
    assert encoded.max() <= 1
    assert np.ptp(encoded) > 0.8
    out = np.empty_like(encoded)
    assert chain.encode_rows(planes, 0, out=out) is out
    np.testing.assert_array_equal(out, encoded)


@pytest.mark.parametrize("name", LOOKS)
@pytest.mark.parametrize("space", ["sRGB", "BT.709"])
def test_linear_rows_show_the_same(name: str, space: str, folder: Path) -> None:
    planes = scene()
    chain = chain_of(LOOKS[name], (83, 61), folder, space=space)
    again = output_space(space).encode(chain.linear_rows(planes, 0))
    np.testing.assert_allclose(again, chain.encode_rows(planes, 0), rtol=0, atol=6e-5)


@pytest.mark.parametrize("space", OUTPUT_SPACES)
@pytest.mark.parametrize("tone", ["evenfall", "reinhard", "hable", "neutral", "clip", "aces2"])
@pytest.mark.parametrize("source", [BT709, BT2020, ACESCG], ids=lambda source: source.name)
def test_neutral_stays_neutral(space: str, tone: str, source: RgbSpace) -> None:
    greys = np.tile(np.logspace(-3, 2, 300, dtype=np.float32), (3, 1)).reshape(3, 1, 300)
    shown = chain_of({"tone": tone}, (300, 1), source=source, space=space).encode_rows(greys, 0)
    tolerance = 1e-4 if tone == "aces2" else 5 * NEUTRAL  # the published transform's own rounding
    assert np.ptp(shown, axis=0).max() < tolerance


@pytest.mark.parametrize("space", OUTPUT_SPACES)
def test_grey_is_shown_as_grey(space: str) -> None:
    grey = np.full((3, 1, 1), 0.18, np.float32)
    shown = chain_of({}, (1, 1), space=space).linear_rows(grey, 0)
    np.testing.assert_allclose(shown, 0.18, rtol=0, atol=2e-5)


def test_clip_without_gamut_is_plain_srgb() -> None:
    """Scene values of BT.709 below 1 come out as IEC 61966-2-1 encodes them."""
    planes = np.random.default_rng(4).uniform(0, 1, (3, 30, 40)).astype(np.float32)
    look = {"tone": "clip", "gamut": {"method": "clip"}}
    shown = chain_of(look, (40, 30)).encode_rows(planes, 0)
    np.testing.assert_allclose(shown, encode_srgb(planes.astype(float)), rtol=0, atol=5e-5)


def test_camera_matrix_comes_first() -> None:
    planes = scene()
    camera = np.diag([2.0, 2.5, 1.5])
    exposed = (camera.astype(np.float32) @ planes.reshape(3, -1)).reshape(planes.shape)
    found = chain_of({}, (83, 61), camera=camera).encode_rows(planes, 0)
    np.testing.assert_allclose(found, chain_of({}, (83, 61)).encode_rows(exposed, 0), atol=2e-5)


def test_passes_in_other_primaries_look_the_same() -> None:
    planes = np.abs(scene())
    wide = conversion_matrix(BT709, BT2020) @ planes.reshape(3, -1).astype(float)
    found = chain_of({}, (83, 61), source=BT2020).encode_rows(
        wide.reshape(planes.shape).astype(np.float32), 0
    )
    np.testing.assert_allclose(found, chain_of({}, (83, 61)).encode_rows(planes, 0), atol=1e-4)


def test_same_colour_in_every_space_that_can_show_it() -> None:
    """A muted colour in sRGB and in Display P3: the same XYZ, by colour-science's decoding."""
    colour = pytest.importorskip("colour")
    planes = (0.3 * np.random.default_rng(6).uniform(0.5, 1, (3, 5, 5))).astype(np.float32)
    seen = []
    for space, model in (("sRGB", "sRGB"), ("Display P3", "Display P3")):
        shown = chain_of({}, (5, 5), space=space).encode_rows(planes, 0).astype(float)
        linear = colour.models.eotf_sRGB(np.moveaxis(shown, 0, -1))
        seen.append(linear @ colour.RGB_COLOURSPACES[model].matrix_RGB_to_XYZ.T)
    np.testing.assert_allclose(seen[0], seen[1], rtol=0, atol=2e-4)


def test_whole_then_rows_is_the_same_as_rows_alone_when_nothing_is_asked() -> None:
    planes = scene()
    chain = chain_of({}, (83, 61))
    assert not chain.needs_whole
    exposed = chain.whole(planes)
    np.testing.assert_allclose(
        chain.encode_rows(exposed, 0, exposed=True), chain.encode_rows(planes, 0), atol=2e-5
    )


@pytest.mark.parametrize("part", ["glare", "sharpen", "fringe"])
def test_whole_is_needed_for(part: str) -> None:
    assert chain_of({part: {"strength": 0.1}}, (83, 61)).needs_whole


def test_headroom_shows_highlights_above_white_and_leaves_grey() -> None:
    ramp = np.tile(np.array([0.18, 1.0, 20.0, 200.0], np.float32), (3, 1)).reshape(3, 1, 4)
    chain = build_chain(
        Look(), source=BT709, camera_matrix=np.eye(3), output=output_space("Display P3"),
        size=(4, 1), recipe_folder=Path(), peak=4.0,
    )  # fmt: skip
    shown = chain.linear_rows(ramp, 0)[0, 0]
    assert shown[0] == pytest.approx(0.18, abs=2e-5)
    assert 1.5 < shown[2] < 4.0
    assert shown[3] == pytest.approx(4.0, abs=1e-4)
    assert (chain.encode_rows(ramp, 0) <= 1).all()


EXTREMES: dict[str, dict[str, Any]] = {
    **LOOKS,
    "strong contrast": {"grade": {"contrast": 4.0}},
    "strong tints": {"grade": {"split_tint": {"shadows": "#0000ff", "highlights": "#000000"}}},
    "strong cdl": {"grade": {"cdl": {"slope": (2, 1, 1), "power": (0.5, 2, 3)}}},
    "colour to the end": {"tone": {"curve": "evenfall", "to_white": 0, "contrast": 3}},
    "glare": {"glare": {"strength": 1.0, "radius": 0.5}},
    "sharpen": {"sharpen": {"strength": 1.0, "radius": 0.05}},
    "fringe": {"fringe": {"strength": 1.0}},
}


@pytest.mark.parametrize("name", EXTREMES)
def test_any_finite_value_is_shown_without_a_warning(name: str, folder: Path) -> None:
    values = [0.0, -0.0, 1e-40, 2e-8, -1e-6, 1.0, 65504.0, 1e10, -1e10, 3e30]
    planes = np.stack(np.meshgrid(values, values, values)).reshape(3, 10, 100).astype(np.float32)
    chain = chain_of(EXTREMES[name], (100, 10), folder)
    ready = chain.whole(planes) if chain.needs_whole else planes
    shown = chain.encode_rows(ready, 0, exposed=chain.needs_whole)
    assert np.isfinite(shown).all()
    assert shown.min() >= 0
    assert shown.max() <= 1


def test_the_lens_comes_before_the_grade() -> None:
    """A corner of grey two stops down has four with twice the contrast around grey (own sum)."""
    grey = np.full((3, 1, 1), 0.18, np.float32)
    look = {
        "tone": "clip",
        "gamut": {"method": "clip"},
        "vignette": {"creative_stops": 2.0, "centre": (0.0, 0.0)},
    }
    size = (100_001, 1)  # its last pixel is the corner
    row = np.broadcast_to(grey, (3, 1, size[0])).copy()
    plain = chain_of(look, size).linear_rows(row, 0)[:, 0, -1]
    graded = chain_of({**look, "grade": {"contrast": 2.0}}, size).linear_rows(row, 0)[:, 0, -1]
    assert plain == pytest.approx(0.18 / 4, rel=1e-3)
    assert graded == pytest.approx(0.18 / 16, rel=1e-3)


def test_one_pixel_near_the_largest_number_leaves_the_others_their_glare(folder: Path) -> None:
    """Sums over a picture that holds 3e38 leave single precision, and would make all of it NaN."""
    planes = scene(40, 60)
    planes[:, 20, 30] = 3e38
    chain = chain_of({"glare": {"strength": 0.05}}, (60, 40), folder, camera=100 * np.eye(3))
    assert np.isfinite(chain.whole(planes)).all()
