"""A picture of what beauty and passes differ by: where, how much, and how surely.

The colours run from blue-green (the beauty has more) over paper to rust (the passes have more), at
equal steps of OKLab (Ottosson 2020) on both sides, so that no side looks stronger than it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenfall.drawings.page import INK, PAPER, Page
from evenfall.light.oklab import oklab_to_bt709
from evenfall.light.transfer import encode_srgb
from evenfall.recipe.words.wording import percent_words

if TYPE_CHECKING:
    from PIL import Image

    from evenfall.prove.proof import Proof, ProofMaps

__all__ = ["difference_colours", "draw_residual"]

Codes = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float64]

_MAP_WIDTH, _GUTTER = 800, 44
_QUIET_SIGMAS = 3.0
_SCALES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)
# OKLab lightness and hue plane: paper in the middle, two dark ends of equal lightness.
_MIDDLE = np.array([0.955, 0.0, 0.004])
_MORE_IN_BEAUTY = np.array([0.42, -0.055, -0.07])
_MORE_IN_PASSES = np.array([0.42, 0.075, 0.06])


def difference_colours(differences: Floats, scale: float) -> Codes:
    """Colours of signed differences.

    Parameters
    ----------
    differences : ndarray
        Any shape; positive where the beauty has more.
    scale : float
        The difference at which the colour is strongest.

    Returns
    -------
    ndarray
        sRGB codes, uint8, one axis of 3 more.

    Examples
    --------
    >>> difference_colours(np.array([0.0]), 0.1).tolist()
    [[241, 240, 237]]
    """
    steps = np.clip(differences / scale, -1, 1)[..., None]
    end = np.where(steps > 0, _MORE_IN_BEAUTY, _MORE_IN_PASSES)
    lab = _MIDDLE + np.abs(steps) * (end - _MIDDLE)
    linear = oklab_to_bt709(lab)
    return np.round(encode_srgb(np.clip(linear, 0, 1)) * 255).astype(np.uint8)


def draw_residual(proof: Proof, *, title: str) -> Codes:
    """Draw the beauty, and beside it what it and the sum of the passes differ by.

    Parameters
    ----------
    proof : Proof
        With maps, that is with a beauty.
    title : str
        Name of the view.

    Returns
    -------
    ndarray
        sRGB codes, uint8, shape (H, W, 3).

    Raises
    ------
    ValueError
        When the proof has no maps.
    """
    from PIL import Image

    maps = proof.maps
    if maps is None:
        raise ValueError("a proof without a beauty has no residual")
    height = max(1, round(maps.grid.height * _MAP_WIDTH / maps.grid.width))
    shares, scale = _shares(maps)
    page = Page(2 * _MAP_WIDTH + _GUTTER, unit=1.0)
    lines = [line for found in _findings(proof) for line in page.text.wrapped(found, page.inner, 3)]
    page.begin(height + 160 + page.leading * len(lines))
    page.draw_head(title, _subtitle(proof))
    left, right, top = page.margin, page.margin + _MAP_WIDTH + _GUTTER, page.head
    view = Image.fromarray(_tone(maps.view))
    page.paste(view.resize((_MAP_WIDTH, height), Image.Resampling.LANCZOS), left, top)
    page.paste(_enlarged(difference_colours(shares, scale), maps, height), right, top)
    for start in (left, right):
        _mark_worst(page, proof, start, top)
    bottom = top + height
    page.set((left, bottom + 30), "Beauty", page.figure)
    page.set((right, bottom + 30), "Difference, as a share of the light in each place", page.figure)
    _draw_scale(page, right, bottom + 46, scale)
    for number, line in enumerate(lines):
        page.set((left, bottom + 124 + page.leading * number), line, page.text)
    return page.codes()


def _shares(maps: ProofMaps) -> tuple[Floats, float]:
    """Differences as shares of the light there, noise left out, and a scale that suits them."""
    floor = 0.02 * float(maps.beauty.mean())
    shares = maps.difference / (maps.beauty + floor)
    loud = np.abs(maps.sigmas) > _QUIET_SIGMAS
    usual = float(np.quantile(np.abs(shares[loud]), 0.98)) if loud.any() else 0.0
    quiet = 2 * float(np.median(np.abs(shares)))
    wanted = max(usual, quiet)
    return shares, next((scale for scale in _SCALES if scale >= wanted), _SCALES[-1])


def _tone(light: Floats) -> Codes:
    """Draw the beauty in plain grey, for orientation."""
    usual = float(np.quantile(light, 0.9)) or 1.0
    tone = light / usual
    codes = np.round(encode_srgb(np.clip(tone / (0.35 + tone), 0, 1)) * 255).astype(np.uint8)
    return np.repeat(codes[..., None], 3, axis=2)


def _enlarged(codes: Codes, maps: ProofMaps, height: int) -> Image.Image:
    """Blocks as large as they are in the picture; those at the edge may be cut."""
    from PIL import Image

    grid = maps.grid
    box = (0.0, 0.0, grid.width / grid.size, grid.height / grid.size)
    return Image.fromarray(codes).resize((_MAP_WIDTH, height), Image.Resampling.BOX, box=box)


def _mark_worst(page: Page, proof: Proof, left: int, top: int) -> None:
    if proof.worst is None or proof.maps is None:
        return
    scale = _MAP_WIDTH / proof.maps.grid.width
    place = (
        left + proof.worst.left * scale - 2,
        top + proof.worst.top * scale - 2,
        left + proof.worst.right * scale + 2,
        top + proof.worst.bottom * scale + 2,
    )
    page.draw.rectangle(place, outline=PAPER, width=4)
    page.draw.rectangle(place, outline=INK, width=2)


def _draw_scale(page: Page, left: int, top: int, scale: float) -> None:
    width, height = _MAP_WIDTH, 14
    ramp = difference_colours(np.linspace(-scale, scale, width)[None, :], scale)
    page.paste(np.repeat(ramp, height, axis=0), left, top)
    baseline = top + height + 22
    end = f"{100 * scale:g} %"
    page.set((left, baseline), f"passes hold {end} more", page.label)
    page.set((left + width / 2, baseline), "alike", page.label, align="centre")
    page.set((left + width, baseline), f"{end} of it in no pass", page.label, align="right")


def _subtitle(proof: Proof) -> str:
    region = f". The frame shows the worst place, {proof.worst}" if proof.worst else ""
    found, expected = percent_words(proof.difference_share), percent_words(proof.noise_share)
    return (
        f"Beauty and sum of the passes differ by {found} of the light, block for block; noise "
        f"alone would make {expected}{region}."
    )


def _findings(proof: Proof) -> Sequence[str]:
    remarks = [f"Remark: {remark}" for remark in proof.remarks]
    if not proof.diagnoses:
        return ["The passes add up to the beauty within their noise.", *remarks]
    numbered = [f"{number}. {each}" for number, each in enumerate(proof.diagnoses, 1)]
    return ["The passes do not add up to the beauty.", *numbered, *remarks]
