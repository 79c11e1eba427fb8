"""Pictures of the residual and of broken pixels: even scales, and marks where they belong."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import colour
import numpy as np
import pytest

from evenfall.drawings.flaw_map import FLAW_INKS, draw_flaw_map
from evenfall.drawings.page import Page
from evenfall.drawings.residual_picture import difference_colours, draw_residual
from evenfall.prove.proof import Proof
from evenfall.prove.prove import prove

CODE_STEP = 0.004  # in OKLab lightness: one code of 8 bits


def oklab(codes: np.ndarray) -> np.ndarray:
    """OKLab by colour-science, which is no part of what is tested."""
    xyz = colour.sRGB_to_XYZ(codes / 255)
    return np.asarray(colour.XYZ_to_Oklab(xyz))


def test_scale_is_even_and_the_same_on_both_sides() -> None:
    differences = np.linspace(-1, 1, 41)
    lightness = oklab(difference_colours(differences, 1.0))[:, 0]
    assert np.allclose(lightness, lightness[::-1], atol=2 * CODE_STEP)
    steps = np.diff(lightness[20:])
    assert np.all(steps < 0)
    assert np.allclose(steps, steps.mean(), atol=2 * CODE_STEP)


def test_sides_are_told_apart_and_beyond_the_scale_is_its_end() -> None:
    more, less = difference_colours(np.array([0.5, -0.5]), 0.5).astype(int)
    assert more[2] > more[0]
    assert less[0] > less[2]
    ends = difference_colours(np.array([0.5, 7.0, -0.5, -9.0]), 0.5)
    assert np.array_equal(ends[0], ends[1])
    assert np.array_equal(ends[2], ends[3])


def room_proof(studio: Any, dropped: str | None) -> Proof:
    def picture(rgb: np.ndarray) -> Any:
        planes = [np.ascontiguousarray(rgb[..., channel]) for channel in range(3)]
        return SimpleNamespace(planes=planes, alpha=None)

    passes = {name: rgb for name, rgb in studio.passes().items() if name != dropped}
    return prove(picture(studio.beauty()), lambda: [(k, picture(v)) for k, v in passes.items()])


def test_a_missing_light_shows_where_it_shone(studio: Any) -> None:
    codes = draw_residual(room_proof(studio, "cove"), title="Room").astype(int)
    left, top, width, height = 64 + 800 + 44, 150, 800, 453
    map_ = codes[top : top + height, left : left + width]
    bluer = map_[..., 2] - map_[..., 0]
    assert bluer[:40].mean() > 40  # the cove runs along the top
    assert abs(bluer[200:300, 500:700].mean()) < 25  # and not over the window


def test_a_proof_without_a_beauty_has_no_picture() -> None:
    with pytest.raises(ValueError, match="without a beauty"):
        draw_residual(Proof("cannot be proven", (), ()), title="Room")


def test_marks_lie_where_the_flaws_are() -> None:
    plane = np.full((90, 160), 0.2, np.float32)
    mask = np.zeros((90, 160), bool)
    mask[30, 120] = True
    codes = draw_flaw_map([plane] * 3, {"negative": mask}, title="sky", width=640)
    page = Page(640)
    ink = np.all(codes[page.head : page.head + 360] == FLAW_INKS["negative"], axis=2)
    rows, columns = np.nonzero(ink)
    assert rows.mean() == pytest.approx(4 * 30.5 - 0.5, abs=1)  # the middle of the pixel
    assert columns.mean() == pytest.approx(page.margin + 4 * 120.5 - 0.5, abs=1)


def test_a_wide_flaw_is_hatched_so_that_the_picture_shows_through() -> None:
    plane = np.linspace(0.1, 0.4, 160, dtype=np.float32)[None].repeat(90, axis=0)
    mask = np.zeros((90, 160), bool)
    mask[20:70, 30:130] = True
    page, codes = Page(640), draw_flaw_map([plane] * 3, {"flat top": mask}, title="sky", width=640)
    inside = codes[page.head + 100 : page.head + 260, page.margin + 140 : page.margin + 500]
    inked = np.all(inside == FLAW_INKS["flat top"], axis=2)
    assert 0.25 < inked.mean() < 0.4
    assert len(np.unique(inside[~inked])) > 10  # the greys of the pass


def test_the_legend_of_a_narrow_map_stays_inside_it() -> None:
    plane = np.full((30, 64), 0.2, np.float32)
    flaws = dict.fromkeys(FLAW_INKS, plane > 0)
    codes = draw_flaw_map([plane] * 3, flaws, title="A long name " * 9, width=320)
    page = Page(320)
    for kind in FLAW_INKS:  # below the map of 150 rows
        assert np.all(codes[page.head + 150 :] == FLAW_INKS[kind], axis=2).sum() > 40
    inked = np.any(codes != codes[0, 0], axis=2)
    assert np.flatnonzero(inked.any(axis=0)).max() < page.right
    assert np.flatnonzero(inked.any(axis=1)).max() < codes.shape[0] - 10


def test_black_and_tiny_passes_can_be_mapped() -> None:
    for shape in ((1, 1), (3, 200)):
        plane = np.zeros(shape, np.float16)
        codes = draw_flaw_map([plane] * 3, {"overflow": plane == 0}, title="x", width=200)
        assert codes.dtype == np.uint8
