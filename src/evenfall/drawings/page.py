"""The paper that every drawing is on: its colours, its margins, its head and its notes.

Lengths are given for a drawing of the reference width and scaled with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from evenfall.drawings.lettering import Lettering, letter

if TYPE_CHECKING:
    from PIL import Image, ImageDraw

__all__ = [
    "ACCENT",
    "AREA",
    "FAINT_INK",
    "HAIRLINE",
    "INK",
    "PAPER",
    "REFERENCE_WIDTH",
    "SOFT_INK",
    "Page",
    "scaled_unit",
]

PAPER = "#f3f2ef"
INK = "#1d1d1c"
SOFT_INK = "#6d6b67"
FAINT_INK = "#9b9893"
HAIRLINE = "#d9d6d0"
AREA = "#c9c6c0"
ACCENT = "#b0582a"

REFERENCE_WIDTH = 1280
_NARROWEST = 420  # pixels that title, scale and notes need
_SMALLEST_UNIT = 0.65  # below it the lettering is too small to read

Codes = npt.NDArray[np.uint8]
Ink = str | tuple[int, int, int]


def scaled_unit(
    width: int, *, reference: int = REFERENCE_WIDTH, smallest: float = _SMALLEST_UNIT
) -> float:
    """Return the pixels of a unit on a drawing so wide.

    Examples
    --------
    >>> scaled_unit(2560), scaled_unit(100)
    (2.0, 0.65)
    """
    return max(width / reference, smallest)


class Page:
    """Paper with a head, and room for a drawing between its margins.

    Parameters
    ----------
    inner : int
        Width between the margins in pixels; widened to what title and notes need.
    unit : float or None
        Pixels of a unit of length; by the width if None.
    margin : float
        In units.
    narrowest : int
        Least width between the margins in pixels.
    smooth : int
        Times the size that it is drawn at before it is reduced, so that lines come out smooth.

    Examples
    --------
    >>> page = Page(1280)
    >>> page.begin(page.of(200))
    >>> page.draw_head("Dusk", "exposure +1.40 stops")
    >>> page.codes().shape
    (350, 1408, 3)
    """

    image: Image.Image
    draw: ImageDraw.ImageDraw

    def __init__(
        self,
        inner: int,
        unit: float | None = None,
        *,
        margin: float = 64,
        narrowest: int = _NARROWEST,
        smooth: int = 1,
    ) -> None:
        width = max(inner, narrowest)
        self.smooth = smooth
        self.inner = width * smooth
        self.unit = (scaled_unit(width) if unit is None else unit) * smooth
        self.margin = self.of(margin)
        self.width = self.inner + 2 * self.margin
        self.right = self.margin + self.inner
        self.head = self.of(150)
        self.leading = self.of(30)
        self.title = Lettering("light", self.of(44), INK)
        self.subtitle = Lettering("regular", self.of(20), SOFT_INK)
        self.text = Lettering("regular", self.of(18), INK)
        self.figure = Lettering("regular", self.of(19), INK)
        self.label = Lettering("regular", self.of(17), SOFT_INK)

    def of(self, length: float) -> int:
        """Pixels of a length in units, at least 1."""
        return max(1, round(length * self.unit))

    def begin(self, below: int) -> None:
        """Take a sheet of paper that is so many pixels high below the head."""
        from PIL import Image, ImageDraw

        self.image = Image.new("RGB", (self.width, self.head + below), PAPER)
        self.draw = ImageDraw.Draw(self.image)

    def draw_head(self, title: str, subtitle: str = "") -> None:
        """Set title and subtitle, shortened if they are wider than the page."""
        shown = self.title.fitted(title, self.inner)
        self.set_flush((self.margin, self.of(86)), shown, self.title)
        below = self.subtitle.fitted(subtitle, self.inner)
        self.set((self.margin, self.of(122)), below, self.subtitle)

    def set(
        self,
        place: tuple[float, float],
        text: str,
        lettering: Lettering,
        *,
        align: Literal["left", "centre", "right"] = "left",
        halo: str | None = None,
    ) -> None:
        """Set a line of text with its baseline at a place."""
        letter(self.draw, place, text, lettering, align=align, halo=halo)

    def set_flush(self, place: tuple[float, float], text: str, lettering: Lettering) -> None:
        """Set large text so that its first letter, not the air before it, stands at the place."""
        bearing = lettering.font.getbbox(text, anchor="ls")[0]
        self.set((place[0] - bearing, place[1]), text, lettering)

    def notes(self, *notes: str) -> list[str]:
        """Break notes into lines, each note on lines of its own."""
        return [line for note in notes for line in self.label.wrapped(note, self.inner, 4)]

    def draw_notes(self, lines: Sequence[str], baseline: float) -> None:
        """Set notes below figures that stand on this baseline."""
        for number, line in enumerate(lines, 1):
            self.set((self.margin, baseline + number * self.leading), line, self.label)

    def paste(self, codes: Codes | Image.Image, left: int, top: int) -> None:
        """Put a picture on the page."""
        from PIL import Image

        picture = codes if isinstance(codes, Image.Image) else Image.fromarray(codes)
        self.image.paste(picture, (left, top))

    def disc(
        self,
        x: float,
        y: float,
        radius: float,
        fill: Ink,
        outline: Ink | None = None,
        width: int = 1,
    ) -> None:
        """Draw a filled circle, with a line around it if one is asked for."""
        box = (x - radius, y - radius, x + radius, y + radius)
        self.draw.ellipse(box, fill=fill, outline=outline, width=width if outline else 0)

    def codes(self) -> Codes:
        """Return what has been drawn as sRGB codes, uint8, shape (H, W, 3)."""
        from PIL import Image

        if self.smooth == 1:
            return np.asarray(self.image)
        size = (self.image.width // self.smooth, self.image.height // self.smooth)
        return np.asarray(self.image.resize(size, Image.Resampling.BOX))
