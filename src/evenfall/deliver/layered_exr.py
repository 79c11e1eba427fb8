"""Scene-linear OpenEXR files with every light as a layer beside the mix, for retouching."""

from __future__ import annotations

import threading

from evenfall.deliver.exr import encode_exr, find_record, noted
from evenfall.deliver.finished import Encoded, Finished

__all__ = ["encode", "find_record"]

_one_at_a_time = threading.Lock()
"""All layers of a file are held until it is written; those of two files never are."""


def encode(finished: Finished) -> Encoded:
    """EXR file of a mix and the lights that add up to it.

    R, G, B and A are the mix, as in a plain EXR file; a light called sun is sun.R, sun.G, sun.B,
    premultiplied by the same alpha. Object numbers are in a channel called id.
    """
    with _one_at_a_time:
        mix, layers = finished.scene_linear(), finished.layers()
        encoded = encode_exr(
            mix.planes,
            mix.alpha,
            bits=16 if finished.deliverable.bit_depth == 16 else 32,
            chromaticities=mix.chromaticities,
            white_luminance=mix.white_luminance,
            pixel_aspect=mix.pixel_aspect,
            provenance=finished.provenance,
            layers=layers.lights,
            ids=layers.ids,
        )
    return noted(encoded, *([layers.left_out] if layers.left_out else []))
