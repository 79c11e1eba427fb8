"""The file formats of deliverables: how their files end, and what encodes them."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

__all__ = ["FILE_ENDINGS", "REFERENCE_WHITE_NITS", "encoder"]

FILE_ENDINGS = {
    "png": ".png",
    "jpeg": ".jpg",
    "tiff": ".tif",
    "exr": ".exr",
    "avif": ".avif",
    "gain-map jpeg": ".jpg",
}
REFERENCE_WHITE_NITS = 203.0
"""cd/m2 of diffuse white in HDR pictures (ITU-R BT.2408-7, table 1)."""

_ENCODERS = {
    "png": ("png", "encode_png"),
    "jpeg": ("jpeg", "encode_jpeg"),
    "tiff": ("tiff", "encode_tiff"),
    "exr": ("exr", "encode_exr"),
    "avif": ("avif", "encode_avif"),
    "gain-map jpeg": ("gain_map", "encode_gain_map_jpeg"),
}


def encoder(kind: str) -> Callable[..., Any]:
    """Return what encodes a format; its module is imported when it is first asked for.

    Examples
    --------
    >>> encoder("png").__name__
    'encode_png'
    """
    module, name = _ENCODERS[kind]
    function: Callable[..., Any] = getattr(import_module(f"evenfall.deliver.{module}"), name)
    return function
