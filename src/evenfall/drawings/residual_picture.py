"""A picture of what beauty and passes differ by: where, how much, and how surely.

The colours run from blue-green (the beauty has more) over paper to rust (the passes have more), at
equal steps of OKLab (Ottosson 2020) on both sides, so that no side looks stronger than it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenfall.drawings.lettering import Lettering, letter
from evenfall.light.oklab import oklab_to_bt709
from evenfall.light.transfer import encode_srgb
from evenfall.recipe.words.wording import percent_words

if TYPE_CHECKING:
    from PIL import Image, ImageDraw

    from evenfall.prove.proof import Proof, ProofMaps

__all__ = ["difference_colours", "draw_residual"]

Codes = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float64]

_PAPER = "#f3f2ef"
_INK = "#1d1d1c"
_SOFT_INK = "#6d6b67"
_MARGIN = 44
_MAP_WIDTH = 800
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
    from PIL import Image, ImageDraw

    maps = proof.maps
    if maps is None:
        raise ValueError("a proof without a beauty has no residual")
    height = max(1, round(maps.grid.height * _MAP_WIDTH / maps.grid.width))
    shares, scale = _shares(maps)
    inner = 2 * _MAP_WIDTH + _MARGIN
    text = Lettering("regular", 18, _INK)
    lines = [line for finding in _findings(proof) for line in text.wrapped(finding, inner, 3)]
    head, below = 130, 140 + 30 * len(lines)
    sheet = Image.new("RGB", (inner + 2 * _MARGIN, head + height + below), _PAPER)
    draw = ImageDraw.Draw(sheet)
    _draw_head(draw, title, _subtitle(proof), inner)
    right = 2 * _MARGIN + _MAP_WIDTH
    view = Image.fromarray(_tone(maps.view))
    view = view.resize((_MAP_WIDTH, height), Image.Resampling.LANCZOS)
    sheet.paste(view, (_MARGIN, head))
    sheet.paste(_enlarged(difference_colours(shares, scale), maps, height), (right, head))
    for left in (_MARGIN, right):
        _mark_worst(draw, proof, left, head)
    bottom = head + height
    names = Lettering("medium", 17, _INK)
    letter(draw, (_MARGIN, bottom + 30), "Beauty", names)
    letter(draw, (right, bottom + 30), "Difference, as a share of the light in each place", names)
    _draw_scale(sheet, draw, right, bottom + 46, scale)
    for index, line in enumerate(lines):
        letter(draw, (_MARGIN, bottom + 124 + 30 * index), line, text)
    return np.asarray(sheet)


def _draw_head(draw: ImageDraw.ImageDraw, title: str, subtitle: str, width: float) -> None:
    """Set title and subtitle, shortened if they are wider than the maps."""
    headline, below = Lettering("light", 38, _INK), Lettering("regular", 18, _SOFT_INK)
    letter(draw, (_MARGIN, 66), headline.fitted(title, width), headline)
    letter(draw, (_MARGIN, 100), below.fitted(subtitle, width), below)


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


def _mark_worst(draw: ImageDraw.ImageDraw, proof: Proof, left: int, top: int) -> None:
    if proof.worst is None or proof.maps is None:
        return
    scale = _MAP_WIDTH / proof.maps.grid.width
    place = (
        left + proof.worst.left * scale - 2,
        top + proof.worst.top * scale - 2,
        left + proof.worst.right * scale + 2,
        top + proof.worst.bottom * scale + 2,
    )
    draw.rectangle(place, outline=_PAPER, width=4)
    draw.rectangle(place, outline=_INK, width=2)


def _draw_scale(
    sheet: Image.Image, draw: ImageDraw.ImageDraw, left: int, top: int, scale: float
) -> None:
    from PIL import Image

    width, height = _MAP_WIDTH, 14
    ramp = difference_colours(np.linspace(-scale, scale, width)[None, :], scale)
    strip = Image.fromarray(np.repeat(ramp, height, axis=0))
    sheet.paste(strip, (left, top))
    small = Lettering("regular", 16, _SOFT_INK)
    baseline = top + height + 22
    end = f"{100 * scale:g} %"
    letter(draw, (left, baseline), f"passes hold {end} more", small)
    letter(draw, (left + width / 2, baseline), "alike", small, align="centre")
    letter(draw, (left + width, baseline), f"{end} of it in no pass", small, align="right")


def _subtitle(proof: Proof) -> str:
    region = f". The frame shows the worst place, {proof.worst}" if proof.worst else ""
    found, expected = percent_words(proof.difference_share), percent_words(proof.noise_share)
    return (
        f"Beauty and sum of the passes differ by {found} of the light, block for block; noise "
        f"alone would make {expected}{region}."
    )


def _findings(proof: Proof) -> Sequence[str]:
    if not proof.diagnoses:
        return ["The passes add up to the beauty within their noise."]
    return [str(diagnosis) for diagnosis in proof.diagnoses]
