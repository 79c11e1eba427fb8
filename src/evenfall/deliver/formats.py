"""All file formats of deliverables, each from arrays to bytes."""

from __future__ import annotations

from evenfall.deliver.avif import encode_avif
from evenfall.deliver.exr import EncodedExr, encode_exr, to_half
from evenfall.deliver.gain_map import encode_gain_map_jpeg
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.deliver.png import encode_png
from evenfall.deliver.tiff import encode_tiff

__all__ = [
    "FILE_ENDINGS",
    "EncodedExr",
    "encode_avif",
    "encode_exr",
    "encode_gain_map_jpeg",
    "encode_jpeg",
    "encode_png",
    "encode_tiff",
    "to_half",
]

FILE_ENDINGS = {
    "png": ".png",
    "jpeg": ".jpg",
    "tiff": ".tif",
    "exr": ".exr",
    "avif": ".avif",
    "gain-map jpeg": ".jpg",
}
