"""A studio's logo: a PNG or SVG file, looked at before it is let onto a page."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PixelSourceError

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["Logo", "read_logo"]

_LARGEST_BYTES = 8 << 20
_LARGEST_SVG_BYTES = 500_000  # drawing takes its time for each of its lines
_LARGEST_PIXELS = 40_000_000
_LARGEST_ASPECT = 40
_ALLOWED = "a PNG or SVG file of at most 8 MB"


@dataclass(frozen=True)
class Logo:
    """A logo that can be drawn.

    Parameters
    ----------
    data : bytes
        PNG or SVG file.
    aspect : float
        Width over height.
    is_vector : bool
        Whether it is SVG.
    """

    data: bytes = field(repr=False)
    aspect: float
    is_vector: bool

    @property
    def sha256(self) -> str:
        """Hash of the file."""
        return hashlib.sha256(self.data).hexdigest()

    def pixels(self, width: int, height: int) -> npt.NDArray[np.uint8]:
        """Draw it at a size, for pictures.

        Returns
        -------
        ndarray, shape (height, width, 4), uint8
            R, G, B, not premultiplied, and alpha.
        """
        from io import BytesIO

        from PIL import Image

        picture = _rasterised(self) if self.is_vector else Image.open(BytesIO(self.data))
        resized = picture.convert("RGBA").resize((width, height), Image.Resampling.LANCZOS)
        return np.asarray(resized)


def read_logo(path: Path) -> Logo:
    """Read a logo, and try whether it can be drawn.

    Raises
    ------
    PixelSourceError
        When it is no such picture, too large, or refers to other files.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "logo.svg"
    >>> _ = path.write_text(
    ...     '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 30 10">'
    ...     '<rect width="30" height="10"/></svg>')
    >>> read_logo(path).aspect
    3.0
    """
    try:
        if not path.is_file():
            raise _refused(path, "is no file")
        if path.stat().st_size > _LARGEST_BYTES:
            raise _refused(path, f"has {path.stat().st_size:,} bytes")
        data = path.read_bytes()
    except OSError as error:
        raise _refused(path, f"cannot be read: {error.strerror or error}") from None
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        logo = _png(path, data)
    elif b"<svg" in data[:4096]:
        logo = _svg(path, data)
    else:
        raise _refused(path, "is neither a PNG nor an SVG file")
    if not 1 / _LARGEST_ASPECT <= logo.aspect <= _LARGEST_ASPECT:
        shape = f"at most {_LARGEST_ASPECT} times as wide as high, or as high as wide"
        raise _refused(path, "has the shape of a line", shape)
    return logo


def _rasterised(logo: Logo) -> Image.Image:
    """Pixels of a vector logo: on white and on black, from which its alpha follows."""
    from io import BytesIO

    import pypdfium2
    from fpdf import FPDF
    from PIL import Image

    height = 200.0
    width = height * logo.aspect
    pdf = FPDF(unit="pt", format=(width, height))
    pdf.set_margin(0)
    pdf.set_auto_page_break(False)
    pdf.add_page()
    pdf.image(BytesIO(logo.data), x=0, y=0, w=width, h=height)
    page = pypdfium2.PdfDocument(bytes(pdf.output()))[0]

    def on(ground: int) -> npt.NDArray[np.float32]:
        colour = (ground, ground, ground, 255)
        drawn = page.render(scale=2, fill_color=colour, rev_byteorder=True).to_numpy()
        return np.asarray(drawn[..., :3], np.float32)

    white, black = on(255), on(0)
    alpha = np.clip(255 - (white - black).mean(axis=2), 0, 255)
    colour = black * 255 / np.maximum(alpha, 1)[..., None]
    together = np.dstack([np.clip(colour, 0, 255), alpha])
    return Image.fromarray(np.round(together).astype(np.uint8), "RGBA")


def _png(path: Path, data: bytes) -> Logo:
    from io import BytesIO

    from PIL import Image

    try:
        with Image.open(BytesIO(data), formats=("PNG",)) as picture:
            width, height = picture.size
            if width * height > _LARGEST_PIXELS:
                raise _refused(path, f"has {width} x {height} pixels", "at most 40 megapixels")
            picture.load()
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise _refused(path, f"cannot be decoded: {error}") from None
    return Logo(data, width / height, is_vector=False)


def _svg(path: Path, data: bytes) -> Logo:
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import ParseError, fromstring

    if len(data) > _LARGEST_SVG_BYTES:
        raise _refused(path, f"has {len(data):,} bytes", "an SVG file of at most 500 kB, or a PNG")
    try:
        root = fromstring(data, forbid_dtd=True)
    except (ParseError, DefusedXmlException, ValueError, LookupError) as error:
        reason = "holds a document type" if isinstance(error, DefusedXmlException) else error
        raise _refused(path, f"cannot be read as SVG: {reason}") from None
    _refuse_references(path, root)
    width, height = _drawn(path, data)
    if not (width > 0 and height > 0):
        raise _refused(path, "has no size", 'an SVG with a viewBox, such as viewBox="0 0 300 100"')
    return Logo(data, width / height, is_vector=True)


def _refuse_references(path: Path, root: Any) -> None:
    """Refuse what would make the drawing read another file."""
    for element in root.iter():
        name = str(element.tag).rpartition("}")[2]
        if name in ("image", "foreignObject", "script", "style"):
            raise _refused(path, f"holds <{name}>", "drawn shapes, with their colours at them")
        for key, value in element.attrib.items():
            outside = key.rpartition("}")[2] == "href" and not value.startswith("#")
            if outside or ("url(" in value and "url(#" not in value):
                raise _refused(path, f"refers to {value[:80]}", "nothing outside the file")


def _drawn(path: Path, data: bytes) -> tuple[float, float]:
    """Try to draw it; give width and height."""
    from fpdf import FPDF
    from fpdf.svg import SVGObject

    try:
        drawing = SVGObject(data)
        width, height = _size(drawing)
        pdf = FPDF(unit="mm", format=(100, 100))
        pdf.add_page()
        if width > 0 and height > 0:
            drawing.draw_to_page(pdf)
    except ImportError:
        raise
    except Exception as error:
        raise _refused(path, f"cannot be drawn: {error}") from None
    return width, height


def _size(drawing: Any) -> tuple[float, float]:
    if drawing.viewbox is not None:
        return float(drawing.viewbox[2]), float(drawing.viewbox[3])
    try:
        return float(drawing.width or 0), float(drawing.height or 0)
    except (TypeError, ValueError):
        return 0.0, 0.0


def _refused(path: Path, found: str, allowed: str = _ALLOWED) -> PixelSourceError:
    return PixelSourceError([Fault(str(path), "project.logo", found, allowed)])
