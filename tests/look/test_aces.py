"""The ACES 2.0 output transforms against OpenColorIO's own configuration."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import PyOpenColorIO
import pytest

from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import ACESCG, BT709, RgbSpace
from evenfall.look.chain import build_chain
from evenfall.recipe.look import Look

SAME = 1e-4  # processors of different optimisation differ by 7e-6; our encoding's table by 2e-5
CONFIG = "cg-config-v4.0.0_aces-v2.0_ocio-v2.5"

# Through OpenColorIO 2.6.0, config as named above, to "sRGB - Display",
# view "ACES 2.0 - SDR 100 nits (Rec.709)".
GREYS = {0.02: 0.03850, 0.18: 0.34919, 0.5: 0.56555, 1: 0.70668, 2: 0.82091, 16: 0.97473}
COLOURS = [
    ((0.5, 0.1, 0.05), (0.58484, 0.25049, 0.16147), (0.71721, 0.16331, 0.12882)),
    ((0.05, 0.2, 0.8), (0.17409, 0.36864, 0.71042), (0.00895, 0.40146, 0.64569)),
    ((4, 2, 0.5), (0.95465, 0.82591, 0.66906), (1.00000, 0.80634, 0.63810)),
]


def show(scene: np.ndarray, source: RgbSpace, space: str = "sRGB", peak: float = 1.0) -> np.ndarray:
    planes = np.ascontiguousarray(scene.T.reshape(3, 1, -1), np.float32)
    chain = build_chain(
        Look(tone="aces2"),
        source=source,
        camera_matrix=np.eye(3),
        output=output_space(space),
        size=(planes.shape[2], 1),
        recipe_folder=Path(),
        peak=peak,
    )
    shown = chain.encode_rows(planes, 0) if peak == 1 else chain.linear_rows(planes, 0)
    return shown[:, 0].T


def reference(scene: np.ndarray, display: str, view: str) -> np.ndarray:
    config = PyOpenColorIO.Config.CreateFromBuiltinConfig(CONFIG)
    processor = config.getProcessor(
        "Linear Rec.709 (sRGB)", display, view, PyOpenColorIO.TRANSFORM_DIR_FORWARD
    ).getDefaultCPUProcessor()
    shown = scene.astype(np.float32).copy()
    processor.applyRGB(shown)
    return shown


def some_colours() -> np.ndarray:
    random = np.random.default_rng(2)
    return (2.0 ** random.uniform(-8, 4, (300, 1))) * random.uniform(0, 1, (300, 3)) ** 2


def test_greys() -> None:
    scene, display = np.array(list(GREYS.items())).T
    found = show(np.tile(scene[:, None], 3), BT709)
    np.testing.assert_allclose(found, np.tile(display[:, None], 3), rtol=0, atol=SAME)


@pytest.mark.parametrize(("source", "column"), [(BT709, 1), (ACESCG, 2)])
def test_colours(source: RgbSpace, column: int) -> None:
    scene = np.array([row[0] for row in COLOURS])
    expected = np.array([row[column] for row in COLOURS])
    np.testing.assert_allclose(show(scene, source), expected, rtol=0, atol=SAME)


@pytest.mark.parametrize(
    ("space", "display", "view"),
    [
        ("sRGB", "sRGB - Display", "ACES 2.0 - SDR 100 nits (Rec.709)"),
        ("Display P3", "Display P3 - Display", "ACES 2.0 - SDR 100 nits (P3 D65)"),
        ("BT.709", "Rec.1886 Rec.709 - Display", "ACES 2.0 - SDR 100 nits (Rec.709)"),
    ],
)
def test_every_published_display(space: str, display: str, view: str) -> None:
    scene = some_colours()
    expected = np.clip(reference(scene, display, view), 0, 1)
    np.testing.assert_allclose(show(scene, BT709, space), expected, rtol=0, atol=SAME)


def test_adobe_rgb_is_limited_by_its_own_primaries_and_greys_are_the_same() -> None:
    scene = np.tile(np.logspace(-2, 1, 20)[:, None], 3)
    to_linear = output_space("Adobe RGB (1998) compatible").curve.decode
    greys = to_linear(show(scene, BT709, "Adobe RGB (1998) compatible").astype(np.float64))
    expected = output_space("sRGB").curve.decode(show(scene, BT709).astype(np.float64))
    np.testing.assert_allclose(greys, expected, rtol=0, atol=SAME)
    saturated = show(some_colours(), BT709, "Adobe RGB (1998) compatible")
    assert saturated.min() >= 0
    assert saturated.max() <= 1


def test_luminance_anchor_and_headroom() -> None:
    # The published tone scale puts 18 % grey at 10 cd/m2 of 100 (Lib.Academy.Tonescale.ctl).
    grey = np.full((1, 3), 0.18)
    linear = output_space("sRGB").curve.decode(show(grey, BT709).astype(np.float64))
    np.testing.assert_allclose(linear, 0.1, rtol=2e-3)


@pytest.mark.parametrize("peak", [1000 / 203, 10.0])
def test_headroom(peak: float) -> None:
    """Any peak, though the function itself takes whole cd/m2 only."""
    bright, white = show(np.array([[64.0] * 3, [1.0] * 3]), BT709, peak=peak)
    assert bright.max() <= peak
    assert bright.min() > 0.6 * peak
    assert 0.3 < white.min() < 1.2
