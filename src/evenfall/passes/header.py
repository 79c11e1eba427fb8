"""What a pass says about itself before a pixel is read."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["PassHeader", "Selector", "Window"]

Window = tuple[int, int, int, int]
"""Min x, min y, max x, max y, all four inside the window, as OpenEXR counts."""


@dataclass(frozen=True)
class Selector:
    """Which picture of a file: layer, part and view; None takes the file's own default.

    Examples
    --------
    >>> Selector(layer="pendants")
    Selector(layer='pendants', part=None, view=None)
    """

    layer: str | None = None
    part: str | None = None
    view: str | None = None


@dataclass(frozen=True)
class PassHeader:
    """One light-like picture of a file: a layer of a part, seen by a view.

    Parameters
    ----------
    path : Path
        The file.
    layer, part, view : str
        Names inside the file; empty where the file gives none.
    width, height : int
        Size of the display window in pixels: the size of the picture.
    display_window, data_window : tuple of 4 int
        Min x, min y, max x, max y, inclusive.
    channels : tuple of str
        Names of the channels in the file that make the picture: R, G, B, then alpha;
        or luminance and chroma; or one channel of grey.
    pixel_type : str
        ``"half"``, ``"float"``, ``"uint"`` or ``"mixed"``.
    compression : str
        Name of the codec in lower case (``"zip"``), or ``"none"``.
    has_alpha : bool
        Whether one of the channels is alpha.
    chromaticities : tuple of 8 float or None
        CIE 1931 xy of red, green, blue and white, if the file says.
    white_luminance : float or None
        cd/m2 of a pixel (1, 1, 1), if the file says.
    colour_interop_id : str or None
        Name of the colour space as interchanged between programs, if the file says.
    pixel_aspect : float
        Width of a pixel over its height.
    kind : str
        ``"exr"``, ``"hdr"``, ``"tiff"`` or ``"pfm"``.
    weight : float
        How much of it counts, where it is one of two places between which a light stands.
    row_bytes : int
        Bytes of one decoded row of the part with all its layers; 0 where some rows cannot be read
        by themselves.
    chunk_rows : int
        Rows that are decoded together.
    notes : tuple of str
        What a person should know about the picture as it is stored; complete when all parts of the
        file were looked at.
    """

    path: Path
    layer: str
    part: str
    view: str
    width: int
    height: int
    display_window: Window
    data_window: Window
    channels: tuple[str, ...]
    pixel_type: str
    compression: str
    has_alpha: bool
    chromaticities: tuple[float, ...] | None
    white_luminance: float | None
    colour_interop_id: str | None
    pixel_aspect: float
    kind: str
    weight: float = 1.0
    row_bytes: int = 0
    chunk_rows: int = 1
    notes: tuple[str, ...] = field(default=(), compare=False)

    @property
    def label(self) -> str:
        """Name for messages: the file, and the layer, part or view if they have names."""
        inner = [
            f"{word} {name!r}"
            for word, name in (("part", self.part), ("layer", self.layer), ("view", self.view))
            if name
        ]
        return f"{self.path} ({', '.join(inner)})" if inner else str(self.path)
