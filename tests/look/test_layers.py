"""Plates, cut-outs, light wrap and regions: against OpenImageIO and by construction."""

from __future__ import annotations

from math import erfc
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import ACESCG, BT709, DISPLAY_P3, RgbSpace, conversion_matrix
from evenfall.look.additions import Additions
from evenfall.look.chain import build_chain
from evenfall.look.layers import place_overlay, place_plate, put_overlay
from evenfall.look.over import over
from evenfall.look.regions import RegionChange, apply_region
from evenfall.passes.side.pictures import Picture
from evenfall.recipe.look import Look
from evenfall.recipe.moods import Overlay, Plate

ROUNDING = 2e-6


def picture(
    rgb: np.ndarray,
    alpha: np.ndarray | None = None,
    space: RgbSpace = ACESCG,
    *,
    premultiplied: bool = False,
) -> Picture:
    return Picture(rgb.astype(np.float32), alpha, space.chromaticities, premultiplied)


def random(*shape: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).uniform(0, 1, shape).astype(np.float32)


def test_over_is_that_of_openimageio() -> None:
    oiio = pytest.importorskip("OpenImageIO")
    front_alpha, back_alpha = random(20, 30, seed=1), random(20, 30, seed=2)
    front = 3 * random(3, 20, 30, seed=3) * front_alpha
    back = 2 * random(3, 20, 30, seed=4) * back_alpha

    def buffer(planes: np.ndarray, alpha: np.ndarray) -> Any:
        spec = oiio.ImageSpec(30, 20, 4, "float")
        image = oiio.ImageBuf(spec)
        pixels = np.moveaxis(np.concatenate([planes, alpha[None]]), 0, -1)
        image.set_pixels(oiio.ROI(0, 30, 0, 20), np.ascontiguousarray(pixels))
        return image

    combined = oiio.ImageBufAlgo.over(buffer(front, front_alpha), buffer(back, back_alpha))
    expected = np.moveaxis(combined.get_pixels(oiio.FLOAT), -1, 0)
    np.testing.assert_allclose(over(front, front_alpha, back), expected[:3], atol=ROUNDING)
    alpha = over(front_alpha[None], front_alpha, back_alpha[None])[0]
    np.testing.assert_allclose(alpha, expected[3], atol=ROUNDING)


# --- plates -----------------------------------------------------------------------------------


def test_a_plate_of_the_views_size_is_taken_as_it_is() -> None:
    rgb = random(20, 30, 3)
    placed = place_plate(picture(rgb), Plate(file="x"), (30, 20))
    np.testing.assert_allclose(np.moveaxis(placed, 0, -1), rgb, atol=ROUNDING)


def test_plate_has_its_own_stops_tint_and_primaries() -> None:
    rgb = random(8, 8, 3)
    plate = Plate(file="x", stops=-1, rgb=(1.0, 0.5, 2.0))
    placed = place_plate(picture(rgb, space=DISPLAY_P3), plate, (8, 8))
    tinted = 0.5 * rgb * np.array([1.0, 0.5, 2.0])
    expected = tinted @ conversion_matrix(DISPLAY_P3, ACESCG).T
    np.testing.assert_allclose(np.moveaxis(placed, 0, -1), expected, atol=1e-5)


@pytest.mark.parametrize(
    ("fit", "position", "corners"),
    [
        # A plate 2 wide to 1 high, blue on the left and red on the right, in a square view.
        ("cover", (0.5, 0.5), "br"),
        ("cover", (0.0, 0.5), "bb"),
        ("cover", (1.0, 0.5), "rr"),
        ("stretch", (0.5, 0.5), "br"),
    ],
)
def test_fits(fit: str, position: tuple[float, float], corners: str) -> None:
    rgb = np.zeros((50, 100, 3))
    rgb[:, :50, 2] = 1.0
    rgb[:, 50:, 0] = 1.0
    plate = Plate(file="x", fit=fit, position=position)  # type: ignore[arg-type]
    placed = place_plate(picture(rgb), plate, (60, 60))
    for colour, column in zip(corners, (3, 56), strict=True):
        expected = {"b": (0, 0, 1), "r": (1, 0, 0)}[colour]
        for row in (0, 59):
            np.testing.assert_allclose(placed[:, row, column], expected, atol=1e-3)


def test_contain_leaves_black_beside_and_keeps_proportions() -> None:
    plate = Plate(file="x", fit="contain", position=(0.5, 1.0))
    placed = place_plate(picture(np.ones((50, 100, 3))), plate, (60, 60))
    np.testing.assert_allclose(placed[:, 30:], 1.0, atol=1e-5)
    assert (placed[:, :30] == 0).all()


@pytest.mark.parametrize(("position", "left"), [(0.0, 0), (0.5, 15), (1.0, 30)])
def test_a_tall_plate_stands_where_it_is_put(position: float, left: int) -> None:
    plate = Plate(file="x", fit="contain", position=(position, 0.5))
    placed = place_plate(picture(np.ones((100, 50, 3))), plate, (60, 60))
    lit = np.nonzero(placed[1].any(axis=0))[0]
    assert (lit.min(), lit.max() + 1) == (left, left + 30)


def test_resampling_keeps_the_mean_and_draws_no_rings_around_a_sun() -> None:
    rgb = np.full((400, 600, 3), 0.3)
    rgb[200, 300] = 5000.0
    for size in ((150, 100), (1200, 800)):
        placed = place_plate(picture(rgb), Plate(file="x"), size)
        assert placed.min() > 0.2
    smooth = random(40, 60, 3).repeat(10, axis=0).repeat(10, axis=1)
    placed = place_plate(picture(smooth), Plate(file="x"), (150, 100))
    np.testing.assert_allclose(placed.mean(axis=(1, 2)), smooth.mean(axis=(0, 1)), rtol=1e-2)


# --- the chain with additions -----------------------------------------------------------------


def chain(look: Look | None = None, size: tuple[int, int] = (30, 20), exposure: float = 1.0) -> Any:
    return build_chain(
        look or Look(), source=BT709, camera_matrix=exposure * np.eye(3),
        output=output_space("sRGB"), size=size, recipe_folder=Path(),
    )  # fmt: skip


def test_plate_lies_behind_alpha_and_is_not_exposed_by_the_camera() -> None:
    planes = np.full((3, 20, 30), 0.05, np.float32)
    alpha = np.ones((20, 30), np.float16)
    alpha[:, :15] = 0
    planes[:, :, :15] = 0
    plates = [(Plate(file="x"), picture(np.full((20, 30, 3), 0.18)), 1.0)]
    exposed = chain(exposure=4.0).whole(planes, alpha, Additions(plates=plates))
    np.testing.assert_allclose(exposed[:, :, :15], 0.18, rtol=1e-5)
    np.testing.assert_allclose(exposed[:, :, 15:], 0.2, rtol=1e-5)
    shown = chain(exposure=4.0).linear_rows(exposed, 0, exposed=True)
    np.testing.assert_allclose(shown[:, :, :15], 0.18, atol=2e-5)  # a grey plate is middle grey


def test_filters_that_overshoot_cover_all_or_nothing() -> None:
    """Alpha is the share of a pixel that is covered (Porter and Duff 1984), whatever a negative
    lobe of a renderer's filter makes of it."""
    planes = random(3, 20, 30)
    plates = [(Plate(file="x"), picture(np.full((20, 30, 3), 0.5)), 1.0)]
    sound, odd = np.ones((20, 30), np.float16), np.full((20, 30), 1.25, np.float16)
    sound[:, :15], odd[:, :15] = 0, -0.25
    np.testing.assert_array_equal(
        chain().whole(planes.copy(), odd, Additions(plates=plates)),
        chain().whole(planes.copy(), sound, Additions(plates=plates)),
    )


def test_a_cutout_covers_the_view_and_is_not_exposed_by_the_camera() -> None:
    overlay = Overlay(file="x", position=(0.5, 1.0), height=0.5)
    overlays = [(overlay, picture(np.full((10, 10, 3), 0.18)))]
    planes = np.full((3, 20, 30), 0.05, np.float32)
    exposed = chain(exposure=4.0).whole(planes, None, Additions(overlays=overlays))
    np.testing.assert_allclose(exposed[:, 11:, 11:19], 0.18, rtol=1e-5)
    np.testing.assert_allclose(exposed[:, :9], 0.2, rtol=1e-5)


def test_plate_without_alpha_is_hidden() -> None:
    planes = random(3, 20, 30)
    plates = [(Plate(file="x"), picture(np.ones((20, 30, 3))), 1.0)]
    np.testing.assert_array_equal(
        chain().whole(planes, None, Additions(plates=plates)), chain().whole(planes)
    )


@pytest.mark.parametrize("width", [400, 1600])
def test_light_wrap_brightens_the_edge_in_front_and_only_there(width: int) -> None:
    size, edge = (width, 40), width // 2
    planes = np.full((3, 40, width), 0.1, np.float32)
    alpha = np.ones((40, width), np.float32)
    alpha[:, :edge] = 0
    planes[:, :, :edge] = 0
    bright = picture(np.full((40, width, 3), 2.0))
    plain = chain(size=size).whole(
        planes, alpha, Additions(plates=[(Plate(file="x"), bright, 1.0)])
    )
    wrapped = chain(size=size).whole(
        planes, alpha, Additions(plates=[(Plate(file="x", light_wrap=0.5), bright, 1.0)])
    )
    spill = wrapped - plain
    np.testing.assert_array_equal(spill[:, :, :edge], 0)
    # A Gaussian of 0.8 % of the width over a straight edge: the error function.
    beside = np.array([0, 1, width // 100])
    expected = [
        0.5 * 2.0 * 0.5 * erfc((pixel + 0.5) / (0.008 * width * 2**0.5)) for pixel in beside
    ]
    np.testing.assert_allclose(spill[0, 20, edge + beside], expected, rtol=0.03)
    assert (np.diff(spill[0, 20, edge:]) <= 1e-6).all()
    assert spill[0, 20, edge + width // 14 :].max() < 1e-6


# --- cut-outs ---------------------------------------------------------------------------------


def cutout() -> tuple[np.ndarray, np.ndarray]:
    """A solid block with a soft border, of one colour, straight."""
    alpha = np.zeros((40, 20), np.float32)
    alpha[4:36, 4:16] = 1.0
    alpha[3], alpha[36] = 0.5 * (alpha[4] > 0), 0.5 * (alpha[35] > 0)
    return np.broadcast_to(np.array([0.2, 0.4, 0.6]), (40, 20, 3)), alpha


def test_cutout_stands_where_it_is_put() -> None:
    rgb, alpha = cutout()
    overlay = Overlay(file="x", position=(0.25, 0.9), height=0.4)
    placed = place_overlay(picture(rgb, alpha), overlay, (200, 100))
    assert placed is not None
    # 40 rows high, so one to one; bottom middle at column 50, row 90.
    assert (placed.top, placed.left) == (50, 40)
    assert placed.alpha.shape == (40, 20)
    np.testing.assert_allclose(placed.alpha, alpha, atol=1e-5)
    view = np.ones((3, 100, 200), np.float32)
    put_overlay(view, placed)
    np.testing.assert_allclose(view[:, 70, 50], [0.2, 0.4, 0.6], atol=1e-5)
    np.testing.assert_allclose(view[:, 53, 50], [0.6, 0.7, 0.8], atol=1e-5)  # half covered
    assert (view[:, 49] == 1).all()
    assert (view[:, :, 39] == 1).all()


@pytest.mark.parametrize("scale", [0.37, 1.0, 2.6])
def test_straight_and_premultiplied_files_look_the_same_and_have_no_fringe(scale: float) -> None:
    rgb, alpha = cutout()
    overlay = Overlay(file="x", height=0.4 * scale)
    straight = place_overlay(picture(rgb, alpha), overlay, (200, 100))
    multiplied = picture(rgb * alpha[..., None], alpha, premultiplied=True)
    premultiplied = place_overlay(multiplied, overlay, (200, 100))
    assert straight is not None
    assert premultiplied is not None
    np.testing.assert_allclose(straight.planes, premultiplied.planes, atol=ROUNDING)
    visible = straight.alpha > 0.05
    colour = straight.planes[:, visible] / straight.alpha[visible]
    np.testing.assert_allclose(colour, np.tile([[0.2], [0.4], [0.6]], colour.shape[1]), rtol=0.02)


def test_recipe_may_say_how_alpha_is_stored_against_the_files_kind() -> None:
    rgb, alpha = cutout()
    multiplied = picture(rgb * alpha[..., None], alpha, premultiplied=False)
    told = place_overlay(multiplied, Overlay(file="x", alpha="premultiplied"), (200, 100))
    expected = place_overlay(picture(rgb, alpha), Overlay(file="x"), (200, 100))
    assert told is not None
    assert expected is not None
    np.testing.assert_allclose(told.planes, expected.planes, atol=ROUNDING)


def test_opacity_stops_and_borders() -> None:
    rgb, alpha = cutout()
    overlay = Overlay(file="x", position=(0.0, 1.1), height=0.4, opacity=0.5, stops=1)
    placed = place_overlay(picture(rgb, alpha), overlay, (200, 100))
    assert placed is not None
    assert (placed.top, placed.left) == (70, 0)  # a quarter below and half beside the view
    assert placed.alpha.shape == (30, 10)
    assert placed.alpha.max() == pytest.approx(0.5, abs=1e-5)
    np.testing.assert_allclose(placed.planes[:, 10, 2], [0.2, 0.4, 0.6], rtol=1e-4)
    outside = Overlay(file="x", position=(1.5, 0.5), height=0.2)
    assert place_overlay(picture(rgb, alpha), outside, (200, 100)) is None


def test_picture_without_alpha_is_solid() -> None:
    placed = place_overlay(picture(np.ones((10, 10, 3))), Overlay(file="x"), (40, 40))
    assert placed is not None
    np.testing.assert_allclose(placed.alpha, 1.0, atol=1e-5)


# --- regions ----------------------------------------------------------------------------------


def ramp() -> np.ndarray:
    return np.tile(np.linspace(0, 1, 5, dtype=np.float32), (2, 1))


def test_region_changes_exposure_by_its_share_of_the_stops() -> None:
    planes = random(3, 2, 5)
    changed = planes.copy()
    apply_region(changed, RegionChange(ramp(), exposure_stops=2.0))
    np.testing.assert_allclose(changed / planes, np.tile(2.0 ** (2 * ramp()), (3, 1, 1)), rtol=1e-5)


def test_region_changes_colour_only_where_it_weighs() -> None:
    planes = random(3, 2, 5)
    changed = planes.copy()
    balance = np.diag([1.2, 1.0, 0.7])
    apply_region(changed, RegionChange(ramp(), balance=balance, saturation=0.0))
    np.testing.assert_array_equal(changed[:, :, 0], planes[:, :, 0])
    full = changed[:, :, -1]
    np.testing.assert_allclose(full, np.broadcast_to(full[0], full.shape), rtol=1e-5)  # grey
    balanced = planes[:, :, -1] * np.diag(balance)[:, None].astype(np.float32)
    weights = np.array([0.272229, 0.674082, 0.053690])  # Y of ACEScg, SMPTE RP 177
    np.testing.assert_allclose(full[0], weights @ balanced, rtol=1e-5)


def test_regions_act_on_the_view_and_not_on_the_plate() -> None:
    planes, alpha = np.full((3, 20, 30), 0.05, np.float32), np.ones((20, 30), np.float32)
    planes[:, :, :15], alpha[:, :15] = 0, 0
    everywhere = RegionChange(np.ones((20, 30), np.float32), exposure_stops=3.0)
    plates = [(Plate(file="x"), picture(np.full((20, 30, 3), 0.18)), 1.0)]
    additions = Additions(regions=(everywhere,), plates=plates)
    exposed = chain().whole(planes, alpha, additions)
    np.testing.assert_allclose(exposed[:, :, :15], 0.18, rtol=1e-5)
    np.testing.assert_allclose(exposed[:, :, 15:], 8 * 0.05, rtol=1e-5)
