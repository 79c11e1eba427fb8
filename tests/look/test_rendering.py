"""The primaries in which published curves act on each channel: what they were chosen for."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.light.primaries import ACESCG, BT709, DISPLAY_P3, RgbSpace, conversion_matrix
from evenfall.look.curves import reinhard
from evenfall.look.rendering import RENDERING_SPACE

colour = pytest.importorskip("colour")

VISIBLE_CHROMA = 0.05  # Oklab; below it nobody sees a hue

# Nearly pure red, green, blue, cyan, magenta, yellow of BT.709.
COLOURS = np.array(
    [(1, 0.02, 0.02), (0.02, 1, 0.02), (0.02, 0.02, 1), (0.02, 1, 1), (1, 0.02, 1), (1, 1, 0.02)]
)


def turns_degrees(space: RgbSpace) -> np.ndarray:
    """Largest turn of Oklab hue (by colour-science) of each colour over seven stops."""
    levels = 0.18 * 2.0 ** np.linspace(-3, 4, 29)
    scene = COLOURS[:, None, :] * levels[:, None]
    inwards = conversion_matrix(BT709, space)
    toned = np.minimum(reinhard(np.maximum(scene @ inwards.T, 0), 4.0), 1)
    shown = toned @ np.linalg.inv(inwards).T
    to_xyz = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ
    before, after = (colour.XYZ_to_Oklab(rgb @ to_xyz.T) for rgb in (scene, shown))
    hues = [np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) for lab in (before, after)]
    turned = np.abs((hues[1] - hues[0] + 180) % 360 - 180)
    turned[np.hypot(after[..., 1], after[..., 2]) < VISIBLE_CHROMA] = 0
    return turned.max(axis=1)


def test_hues_hold_far_better_than_in_acescg() -> None:
    ours, wide = turns_degrees(RENDERING_SPACE), turns_degrees(ACESCG)
    assert ours.max() < 5
    assert np.sort(ours)[:5].max() < 1
    assert wide.max() > 15
    assert ours.sum() < 0.25 * wide.sum()


def test_all_of_display_p3_lies_inside() -> None:
    assert conversion_matrix(DISPLAY_P3, RENDERING_SPACE).min() > 0
