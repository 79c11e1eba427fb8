"""The header of a picture whose format knows no layers, views or windows."""

from __future__ import annotations

from pathlib import Path

from evenfall.passes.faults import absurd_size, damaged
from evenfall.passes.header import PassHeader

__all__ = ["plain_header"]


def plain_header(
    path: Path,
    size: tuple[int, int],
    channels: tuple[str, ...],
    *,
    kind: str,
    compression: str = "none",
    pixel_type: str = "float",
    part: str = "",
    chromaticities: tuple[float, ...] | None = None,
    pixel_aspect: float = 1.0,
    place: str = "",
) -> PassHeader:
    """Make the header of a picture that fills its window, if its size can be believed.

    Parameters
    ----------
    path : Path
        The file.
    size : tuple of 2 int
        Width and height in pixels, upright.
    channels : tuple of str
        ``R``, ``G``, ``B`` or ``Y``, and ``A`` if there is alpha.
    kind, compression, pixel_type, part, chromaticities, pixel_aspect
        As `PassHeader` has them.
    place : str
        Where in the file, for the error.

    Raises
    ------
    PassError
        When no picture is believed to have this size.

    Examples
    --------
    >>> header = plain_header(Path("sun.pfm"), (640, 360), ("Y",), kind="pfm")
    >>> header.data_window, header.has_alpha
    ((0, 0, 639, 359), False)
    """
    width, height = size
    allowed = absurd_size(width, height)
    if allowed is not None:
        raise damaged(path, f"a size of {width:,} x {height:,} pixels", allowed, place=place)
    window = (0, 0, width - 1, height - 1)
    return PassHeader(
        path=path,
        layer="",
        part=part,
        view="",
        width=width,
        height=height,
        display_window=window,
        data_window=window,
        channels=channels,
        pixel_type=pixel_type,
        compression=compression,
        has_alpha="A" in channels,
        chromaticities=chromaticities,
        white_luminance=None,
        colour_interop_id=None,
        pixel_aspect=pixel_aspect,
        kind=kind,
    )
