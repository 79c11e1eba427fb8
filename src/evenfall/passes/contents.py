"""Everything that a file of passes holds: pictures, and channels that make none."""

from __future__ import annotations

from dataclasses import dataclass

from evenfall.passes.header import PassHeader

__all__ = ["Contents", "OtherChannels"]


@dataclass(frozen=True)
class OtherChannels:
    """Channels of one layer that make no picture of light, such as depth or vectors.

    Parameters
    ----------
    layer, part, view : str
        Where they are; empty where the file gives no name.
    channels : tuple of str
        Their names as in the file.
    pixel_type : str
        ``"half"``, ``"float"``, ``"uint"`` or ``"mixed"``.
    deep : bool
        Whether they hold several samples a pixel.
    """

    layer: str
    part: str
    view: str
    channels: tuple[str, ...]
    pixel_type: str
    deep: bool = False


@dataclass(frozen=True)
class Contents:
    """What a file holds, before a pixel is read.

    Parameters
    ----------
    pictures : tuple of PassHeader
        Whatever could be light: R, G, B, luminance and chroma, or grey.
    others : tuple of OtherChannels
        The rest; always empty but for OpenEXR.
    """

    pictures: tuple[PassHeader, ...]
    others: tuple[OtherChannels, ...] = ()
