"""Crop, size, print, resizing in linear light, guides."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from evenfall.deliver.composition import GUIDES, draw_guides
from evenfall.deliver.frame import Frame, crop_box, frame_of, print_pixels
from evenfall.deliver.resize import resize_linear
from evenfall.errors import OutputError, UsageError
from evenfall.light.transfer import encode_srgb
from evenfall.recipe.deliverables import Deliverable

MEAN_TOLERANCE = 1e-3  # relative; a Lanczos kernel weighs border pixels a little otherwise


def test_nothing_asked_is_the_view_pixel_for_pixel() -> None:
    frame = frame_of(Deliverable(), 1920, 1080)
    assert frame == Frame(0, 0, 1920, 1080, 1920, 1080)
    assert (frame.left, frame.top, frame.right, frame.bottom) == (0, 0, 1920, 1080)
    assert not frame.is_resized


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({"width": 960}, Frame(0, 0, 1920, 1080, 960, 540)),
        ({"height": 2160}, Frame(0, 0, 1920, 1080, 3840, 2160)),
        ({"crop": "4:5"}, Frame(528, 0, 1392, 1080, 864, 1080)),
        ({"crop": "21:9", "crop_position": (0.5, 1.0)}, Frame(0, 257, 1920, 1080, 1920, 823)),
        ({"width": 500, "height": 500}, Frame(420, 0, 1500, 1080, 500, 500)),
        (
            {"crop": "1:1", "crop_position": (0.0, 0.5), "width": 64},
            Frame(0, 0, 1080, 1080, 64, 64),
        ),
        # DIN A3 is 420 mm wide (ISO 216); 420 / 25.4 * 300 = 4960.6
        (
            {"print": {"width_mm": 420, "dpi": 300}},
            Frame(0, 0, 1920, 1080, 4961, 2791, 300),
        ),
    ],
)
def test_frames(asked: dict, expected: Frame) -> None:
    assert frame_of(Deliverable(**asked), 1920, 1080) == expected


def test_a_size_that_no_file_holds_is_refused_with_advice() -> None:
    asked = Deliverable(print={"width_mm": 5000, "dpi": 2400})
    with pytest.raises(OutputError, match=r"472,441 x 265,748 pixels; .*fewer dpi"):
        frame_of(asked, 1920, 1080)
    with pytest.raises(OutputError, match=r"png holds 65,535 on a side, and .* 400,000,000"):
        frame_of(Deliverable(width=60000), 1000, 800)
    with pytest.raises(OutputError, match=r"webp holds 16,383 on a side"):
        frame_of(Deliverable(format="webp", height=16000), 2000, 1000)


def test_as_many_pixels_as_are_allowed_and_no_more() -> None:
    """20,000 x 20,000 are 400,000,000."""
    assert frame_of(Deliverable(width=20000, height=20000), 100, 100).width == 20000
    with pytest.raises(OutputError, match="20,000 x 20,001 pixels"):
        frame_of(Deliverable(width=20000, height=20001), 100, 100)


def test_sizes_that_contradict_each_other_are_refused() -> None:
    with pytest.raises(ValidationError, match="not both"):
        Deliverable(print={"width_mm": 300}, width=100)
    with pytest.raises(ValidationError, match=r"crop 16:9 and 500 x 500 pixels do not agree"):
        Deliverable(crop="16:9", width=500, height=500)
    assert Deliverable(crop="16:9", width=1366, height=768).crop == "16:9"  # within a pixel


@pytest.mark.parametrize("position", [(0.0, 0.0), (0.3, 0.9), (1.0, 1.0), (-2.0, 7.0)])
@pytest.mark.parametrize("aspect", [0.2, 1.0, 1.5, 16 / 9, 9.0])
def test_a_crop_lies_inside_and_has_its_aspect(aspect: float, position: tuple) -> None:
    left, top, right, bottom = crop_box(1000, 700, aspect, position)
    assert 0 <= left < right <= 1000
    assert 0 <= top < bottom <= 700
    width, height = right - left, bottom - top
    assert width == 1000 or height == 700
    assert abs(width - aspect * height) <= max(1, aspect)


def test_print_sizes() -> None:
    # 25.4 mm are an inch; DIN A4 on its side at 300 dpi is 3508 pixels, as paper tables say.
    assert print_pixels(25.4, 300) == 300
    assert print_pixels(297, 300) == 3508
    assert print_pixels(0.01, 72) == 1


def picture(height: int = 240, width: int = 320) -> np.ndarray:
    """Scene-like: smooth light, grain, a window edge and a few lamps of 40 times white."""
    rng = np.random.default_rng(11)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    planes = np.stack([0.2 + x / 900, 0.3 + y / 900, 0.5 + 0.2 * np.sin(x / 30)])
    planes = planes * rng.gamma(40, 1 / 40, planes.shape)
    planes[:, 60:160, 200:280] += 3
    planes[:, 100:104, 60:64] += 40
    return planes.astype(np.float32)


@pytest.mark.parametrize("kernel", ["lanczos", "area"])
@pytest.mark.parametrize(("width", "height"), [(160, 120), (101, 77), (80, 60), (480, 360)])
def test_resizing_keeps_the_mean(kernel: str, width: int, height: int) -> None:
    planes = np.minimum(picture(), 1)
    resized = resize_linear(planes, width, height, kernel=kernel)
    assert resized.shape == (3, height, width)
    assert resized.dtype == np.float32
    np.testing.assert_allclose(
        resized.mean(axis=(1, 2)), planes.mean(axis=(1, 2)), rtol=MEAN_TOLERANCE
    )


def test_whole_number_area_reduction_is_the_mean_of_blocks() -> None:
    planes = picture()
    blocks = planes.reshape(3, 60, 4, 80, 4).mean(axis=(2, 4))
    np.testing.assert_allclose(resize_linear(planes, 80, 60, kernel="area"), blocks, rtol=1e-5)


def test_a_fine_checkerboard_becomes_half_the_light() -> None:
    """Half the light of white is sRGB code 188, not 128: the reason for linear light."""
    checks = (np.indices((64, 64)).sum(axis=0) % 2).astype(np.float32)[None].repeat(3, axis=0)
    small = resize_linear(checks, 16, 16)
    np.testing.assert_allclose(small[:, 3:-3, 3:-3], 0.5, atol=2e-3)
    assert round(float(encode_srgb(small[0, 8, 8].astype(float)) * 255)) == 188


def test_lanczos_stays_within_the_range_of_the_picture() -> None:
    planes = picture()
    resized = resize_linear(planes, 100, 75)
    for before, after in zip(planes, resized, strict=True):
        assert before.min() <= after.min()
        assert after.max() <= before.max()


def test_a_level_stays_level_and_the_same_size_stays_the_same() -> None:
    level = np.full((3, 50, 70), 0.18, np.float32)
    np.testing.assert_allclose(resize_linear(level, 33, 21), 0.18, rtol=1e-6)
    planes = picture()
    np.testing.assert_array_equal(resize_linear(planes, 320, 240), planes)


def test_impossible_sizes() -> None:
    with pytest.raises(UsageError, match="cannot be 0 x 9 pixels"):
        resize_linear(picture(), 0, 9)


@pytest.mark.parametrize("base", [0, 118, 255])
def test_guides_show_on_any_ground_and_only_there(base: int) -> None:
    ground = np.full((720, 1280, 3), base, np.uint8)
    drawn = draw_guides(ground, ["thirds"])
    changed = np.abs(drawn.astype(int) - base).max(axis=2) > 40
    columns = np.flatnonzero(changed[100])  # a row between the level lines
    assert {round(c / 1280 * 300) for c in columns} == {100, 200}
    rows = np.flatnonzero(changed[:, 100])
    assert {round(r / 720 * 300) for r in rows} == {100, 200}
    assert np.array_equal(ground, np.full_like(ground, base))
    assert changed.mean() < 0.02


def test_golden_section_and_diagonals() -> None:
    ground = np.full((500, 1000, 3), 118, np.uint8)
    drawn = draw_guides(ground, ["golden"])
    columns = np.flatnonzero(np.abs(drawn[10].astype(int) - 118).max(axis=1) > 40)
    assert {382, 618} <= set(columns.tolist()) | set((columns + 1).tolist())  # 1 / 1.618 = 0.618
    diagonal = draw_guides(ground, ["diagonals"])
    assert np.abs(diagonal[250, 500].astype(int) - 118).max() > 10
    assert np.array_equal(draw_guides(ground, []), ground)
    assert set(GUIDES) == {"thirds", "golden", "centre", "diagonals"}
