"""Maps of which light rules where, and of each light's share."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from evenfall.drawings.lettering import Lettering
from evenfall.drawings.page import INK, SOFT_INK, Page
from evenfall.light.oklab import oklab_to_bt709
from evenfall.light.transfer import encode_srgb

__all__ = ["draw_rule_map", "draw_share_map"]

Floats = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8]

_CHROMA, _DARKEST, _LIGHTEST = 0.11, 0.25, 0.9
_STEPS = 9


def draw_rule_map(luminances: Mapping[str, Floats], *, title: str, subtitle: str = "") -> Codes:
    """Draw which light is the strongest at each place, as light as the picture is there.

    Parameters
    ----------
    luminances : mapping of str to ndarray, shape (H, W)
        By the light's title; 0.18 is middle grey.
    title, subtitle : str
        Stand above the map.

    Returns
    -------
    ndarray, shape (h, w, 3), uint8
        sRGB codes.

    Examples
    --------
    >>> left = np.zeros((90, 160), np.float32); left[:, :80] = 0.5
    >>> draw_rule_map({"Sun": left, "Sky": 0.2 - 0.2 * (left > 0)}, title="Day").shape[2]
    3
    """
    names = list(luminances)
    stack = np.stack([np.maximum(plane, 0) for plane in luminances.values()])
    total = stack.sum(axis=0)
    strongest = stack.argmax(axis=0)
    stops = np.log2(np.maximum(total, 1e-9) / 0.18)
    lightness = np.clip(0.58 + 0.07 * stops, _DARKEST, _LIGHTEST)
    hues = _hues(len(names))[strongest]
    picture = _codes(lightness, np.full_like(lightness, _CHROMA), hues)
    legend = [
        (name, _swatch(hue), f"strongest in {float((strongest == number).mean()):.0%}")
        for number, (name, hue) in enumerate(zip(names, _hues(len(names)), strict=True))
    ]
    return _page(picture, legend, title, subtitle)


def draw_share_map(share: Floats, *, title: str, subtitle: str = "") -> Codes:
    """Draw a light's share of the picture's light at each place, in steps of a ninth.

    Parameters
    ----------
    share : ndarray, shape (H, W)
        0 to 1.
    title, subtitle : str
        Stand above the map.

    Examples
    --------
    >>> ramp = np.linspace(0, 1, 160, dtype=np.float32) + np.zeros((90, 1), np.float32)
    >>> draw_share_map(ramp, title="Pendants").dtype
    dtype('uint8')
    """
    step = np.minimum(np.floor(np.clip(share, 0, 1) * _STEPS), _STEPS - 1) / (_STEPS - 1)
    picture = _share_codes(step)
    legend = []
    for number in range(_STEPS):
        at = np.array([[number / (_STEPS - 1)]])
        swatch = _codes(0.22 + 0.7 * at, 0.03 + 0.09 * np.sin(np.pi * at), 0.9 + 0 * at)[0, 0]
        low, high = number / _STEPS, (number + 1) / _STEPS
        legend.append(
            (f"{low:.0%} to {high:.0%}", (int(swatch[0]), int(swatch[1]), int(swatch[2])), "")
        )
    return _page(picture, legend, title, subtitle)


def _share_codes(step: npt.NDArray[np.floating]) -> Codes:
    return _codes(0.22 + 0.7 * step, 0.03 + 0.09 * np.sin(np.pi * step), 0.9 + 0 * step)


def _hues(count: int) -> npt.NDArray[np.float64]:
    """Hues that neighbours in a list tell well apart."""
    golden = math.pi * (3 - math.sqrt(5))
    return np.asarray(0.6 + golden * np.arange(count), np.float64)


def _swatch(hue: float) -> tuple[int, int, int]:
    codes = _codes(np.array([[0.68]]), np.array([[_CHROMA]]), np.array([[hue]]))[0, 0]
    return int(codes[0]), int(codes[1]), int(codes[2])


def _codes(
    lightness: npt.NDArray[np.floating],
    chroma: npt.NDArray[np.floating],
    hue: npt.NDArray[np.floating],
) -> Codes:
    lab = np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)
    linear = np.clip(oklab_to_bt709(lab.astype(np.float64)), 0, 1)
    return np.round(255 * encode_srgb(linear)).astype(np.uint8)


def _page(
    picture: Codes,
    legend: Sequence[tuple[str, tuple[int, int, int], str]],
    title: str,
    subtitle: str,
) -> Codes:
    from PIL import Image

    height, width = picture.shape[:2]
    scale = max(1, round(960 / width)) if width < 960 else 1
    page = Page(width * scale)
    columns = max(1, page.inner // page.of(300))
    rows = math.ceil(len(legend) / columns)
    line = page.of(34)
    page.begin(height * scale + page.of(40) + rows * line + page.margin)
    page.draw_head(title, subtitle)
    shown = Image.fromarray(picture)
    if scale > 1:
        shown = shown.resize((width * scale, height * scale), Image.Resampling.NEAREST)
    page.image.paste(shown, (page.margin, page.head))
    top = page.head + height * scale + page.of(50)
    name, said = Lettering("regular", page.of(19), INK), Lettering("regular", page.of(17), SOFT_INK)
    room = page.inner // columns
    for number, (whole, colour, more) in enumerate(legend):
        row, column = divmod(number, columns)
        x, y = page.margin + column * room, top + row * line
        side = page.of(16)
        page.draw.rectangle((x, y - side, x + side, y), fill=colour)
        words = name.fitted(whole, room - page.of(170) if more else room - page.of(40))
        page.set((x + page.of(26), y), words, name)
        if more:
            page.set((x + page.of(36) + name.width(words), y), more, said)
    return page.codes()
