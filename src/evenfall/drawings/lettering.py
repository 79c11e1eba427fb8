"""Setting type on drawings: the bundled fonts, and text that fits its place."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from evenfall.errors import Fault, OutputError
from evenfall.system.regular import read_whole

if TYPE_CHECKING:
    from PIL import ImageDraw, ImageFont

__all__ = [
    "Lettering",
    "format_kelvin",
    "format_stops",
    "lacking_signs",
    "letter",
    "short_stops",
    "text_height",
]

Cut = Literal["light", "regular", "medium"]
_FILES: dict[str, str] = {
    "light": "InterDisplay-Light.otf",
    "regular": "Inter-Regular.otf",
    "medium": "Inter-Medium.otf",
}
_SETTING_LIBRARY = "libfribidi.so.0"  # of Linux; elsewhere what Pillow says is all that is known
_NO_SUCH_FILE = "No such file"  # of glibc and musl alike
_ELLIPSIS, _MINUS = "\u2026", "\u2212"
_NO_SIGN = "\uffff"  # which Unicode assigns to nothing


def lacking_signs(texts: Iterable[str]) -> tuple[str, ...]:
    """Signs that the bundled fonts do not have, and draw as a box.

    Examples
    --------
    >>> lacking_signs(["Caf\u00e9 \u2014 \u0414\u043e\u043c", "\u5bb6"])
    ('\u5bb6',)
    """
    font = _font("regular", 16)
    box = bytes(font.getmask(_NO_SIGN))
    signs = sorted({sign for text in texts for sign in text if sign > "\x7f"})
    return tuple(sign for sign in signs if bytes(font.getmask(sign)) == box)


@dataclass(frozen=True)
class Lettering:
    """A font at a size and in a colour.

    Parameters
    ----------
    cut : {"light", "regular", "medium"}
        Light is the display cut, for large titles.
    size : int
        Pixels of the em square.
    colour : str
        As Pillow writes colours.
    """

    cut: Cut
    size: int
    colour: str

    @property
    def font(self) -> ImageFont.FreeTypeFont:
        """The font itself."""
        return _font(self.cut, self.size)

    def width(self, text: str) -> float:
        """Width of a line of text in pixels."""
        return float(self.font.getlength(text))

    def fitted(self, text: str, width: float) -> str:
        """Text on one line, shortened by an ellipsis if it is wider than its place.

        Examples
        --------
        >>> Lettering("regular", 20, "black").fitted("Morning", 200)
        'Morning'
        >>> Lettering("regular", 20, "black").fitted("Morning", 40)[-1]
        '…'
        """
        text = " ".join(text.split())
        if self.width(text) <= width:
            return text
        low, high = 0, len(text)
        while low < high:
            middle = (low + high + 1) // 2
            if self.width(text[:middle].rstrip() + _ELLIPSIS) <= width:
                low = middle
            else:
                high = middle - 1
        return text[:low].rstrip() + _ELLIPSIS

    def wrapped(self, text: str, width: float, lines: int) -> list[str]:
        """Text on at most so many lines, the last one shortened if need be."""
        words, found = text.split(), list[str]()
        while words and len(found) < lines - 1:
            taken = 1
            while taken < len(words) and self.width(" ".join(words[: taken + 1])) <= width:
                taken += 1
            found.append(self.fitted(" ".join(words[:taken]), width))
            words = words[taken:]
        if words:
            found.append(self.fitted(" ".join(words), width))
        return found


@lru_cache(maxsize=64)
def _font(cut: str, size: int) -> ImageFont.FreeTypeFont:
    from PIL import ImageFont

    data = read_whole(Path(__file__).parent / "fonts" / _FILES[cut])
    return ImageFont.truetype(BytesIO(data), size, layout_engine=_engine())


def _engine() -> ImageFont.Layout:
    """Give what sets signs beside each other: with kerning, where the system has what it needs.

    Raises
    ------
    OutputError
        When the system has it and did not load it: the same drawing would come out otherwise.
    """
    from PIL import ImageFont, features

    if features.check_feature("raqm"):
        return ImageFont.Layout.RAQM
    reason = _why_not_loaded(_SETTING_LIBRARY)
    if reason is None:
        return ImageFont.Layout.BASIC
    raise OutputError(
        Fault("", "", f"drawings cannot be lettered: {reason}", "", "run again; if it comes again, "
              "check the disk that the system is on")
    )  # fmt: skip


def _why_not_loaded(library: str) -> str | None:
    """Say why a library is not in use; None where there is none, or Pillow was built without it."""
    import ctypes

    try:
        ctypes.CDLL(library)
    except OSError as error:
        return None if _NO_SUCH_FILE in str(error) else str(error)
    return f"{library} could not be loaded at first" if _pillow_names(library) else None


def _pillow_names(library: str) -> bool:
    """Whether what sets type looks for a library by that name."""
    from PIL import _imagingft

    return library.encode() in Path(_imagingft.__file__).read_bytes()


def letter(
    draw: ImageDraw.ImageDraw,
    place: tuple[float, float],
    text: str,
    lettering: Lettering,
    *,
    align: Literal["left", "centre", "right"] = "left",
    halo: str | None = None,
) -> None:
    """Set a line of text with its baseline at a place; a halo keeps lines behind it away."""
    anchor = {"left": "ls", "centre": "ms", "right": "rs"}[align]
    if halo is not None:
        around = max(2, round(lettering.size / 4))
        draw.text(place, text, halo, lettering.font, anchor, stroke_width=around, stroke_fill=halo)
    draw.text(place, text, fill=lettering.colour, font=lettering.font, anchor=anchor)


def text_height(lettering: Lettering) -> float:
    """Height of capitals and figures above the baseline in pixels."""
    _, top, _, bottom = lettering.font.getbbox("H", anchor="ls")
    return float(bottom - top)


def format_stops(stops: float) -> str:
    """Write stops as a meter does: with a sign, to a hundredth.

    Examples
    --------
    >>> format_stops(4 / 3), format_stops(0.5), format_stops(0), format_stops(2.9)
    ('+1.33', '+0.50', '0.00', '+2.90')
    """
    return _signed(stops, f"{abs(stops):.2f}")


def short_stops(stops: float) -> str:
    """Write stops as a scale is marked: a hundredth at most, no zeros at the end.

    Examples
    --------
    >>> short_stops(2), short_stops(7.5), short_stops(0)
    ('+2', '+7.5', '0')
    """
    return _signed(stops, f"{abs(stops):.2f}".rstrip("0").rstrip("."))


def _signed(stops: float, size: str) -> str:
    """Put a sign before all but zero."""
    if not size.strip("0."):
        return size
    return (_MINUS if stops < 0 else "+") + size


def format_kelvin(kelvin: float) -> str:
    """Write a colour temperature to three figures, as far as anybody can see.

    Examples
    --------
    >>> format_kelvin(5499.2), format_kelvin(2700), format_kelvin(13980)
    ('5500 K', '2700 K', '14000 K')
    """
    step = 10 if kelvin < 10000 else 100
    return f"{step * round(kelvin / step)} K"
