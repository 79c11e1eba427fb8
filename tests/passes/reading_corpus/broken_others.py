"""Radiance, TIFF and PFM files that must be refused, each with the words that say why."""

from __future__ import annotations

import numpy as np

from reading_corpus.broken_exr import cut, of_bytes
from reading_corpus.case import HEIGHT, WIDTH, Broken, light
from reading_corpus.sound_exr import changed
from reading_corpus.sound_others import hdr, pfm, tif

_RGB = light(1)

BROKEN_OTHERS: tuple[Broken, ...] = (
    Broken(
        "cut.hdr",
        "Radiance, cut",
        cut(hdr(_RGB), -1),
        "ends in scan line|last scan line",
        by_pixels=True,
    ),
    Broken(
        "half.hdr",
        "Radiance, half of it",
        cut(hdr(_RGB), 0.5),
        "the file ends in scan line",
        by_pixels=True,
    ),
    Broken(
        "cut_flat.hdr",
        "Radiance, not coded, cut",
        cut(hdr(_RGB, run_length=False), -1),
        "bytes of pixels",
        by_pixels=True,
    ),
    Broken(
        "short.hdr",
        "Radiance, rows left out of its size",
        hdr(_RGB, size=f"-Y {HEIGHT - 1} +X {WIDTH}"),
        "after the last scan line",
        by_pixels=True,
    ),
    Broken("vast.hdr", "Radiance, vast", hdr(_RGB, size="-Y 999999999 +X 999999999"), "a size of"),
    Broken("exposure_0.hdr", "Radiance, exposure 0", hdr(_RGB, "EXPOSURE=0"), "EXPOSURE=0"),
    *(
        Broken(
            f"many_{key.lower()}_{number}.hdr",
            "Radiance, a product of header numbers too far",
            hdr(_RGB, *[f"{key}={number}"] * 20),
            f"{key}={number}",
        )
        for key in ("EXPOSURE", "PIXASPECT")
        for number in ("1e-17", "1e17")
    ),
    Broken("cut.tif", "TIFF, cut", cut(tif(_RGB, rowsperstrip=8), 0.7), "missing|does not read"),
    Broken(
        "cut_zip.tif",
        "TIFF, deflate, cut",
        cut(tif(_RGB, rowsperstrip=8, compression="zlib"), -20),
        "missing|does not read",
    ),
    Broken(
        "8_bit.tif",
        "TIFF of 8-bit integers",
        tif(np.zeros((8, 8, 3), np.uint8)),
        "8-bit integers, which are display-encoded",
    ),
    Broken(
        "16_bit.tif",
        "TIFF of 16-bit integers",
        tif(np.zeros((8, 8, 3), np.uint16)),
        "16-bit integers",
    ),
    Broken("cut.pfm", "PFM, cut", cut(pfm(_RGB, "-1", "<"), -1), "by its header"),
    Broken(
        "longer.pfm",
        "PFM with bytes behind",
        changed(pfm(_RGB, "-1", "<"), lambda data: data + b"x"),
        "by its header",
    ),
    Broken("scale.pfm", "PFM of scale 0", pfm(_RGB, "0", "<"), "scale factor"),
    Broken("vast.pfm", "PFM, vast", of_bytes(b"PF\n999999999 999999999\n-1\n"), "a size of"),
)
