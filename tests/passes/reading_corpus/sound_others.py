"""Sound Radiance, TIFF and portable float map files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from reading_corpus.case import HEIGHT, WIDTH, Array, Sound, light
from reading_corpus.sound_exr import ONLY

Writer = Callable[[Path], object]


def hdr_header(*lines: str, size: str = f"-Y {HEIGHT} +X {WIDTH}") -> bytes:
    """Header of a Radiance picture, its size line included."""
    words = ["#?RADIANCE", *lines, "FORMAT=32-bit_rle_rgbe", "", size, ""]
    return "\n".join(words).encode()


def hdr_pixels(rgb: Array, *, run_length: bool = True) -> bytes:
    """Pixels of a Radiance picture, in scan lines as given."""
    import imagecodecs

    rgb = np.ascontiguousarray(rgb, np.float32)
    coded: bytes = imagecodecs.rgbe_encode(rgb, header=False, rle=run_length)
    return coded


def representable(rgb: Array) -> Array:
    """The colours nearest to `rgb` below it that a shared exponent can hold (Ward 1991)."""
    largest = rgb.max(axis=-1, keepdims=True)
    _, exponent = np.frexp(largest)
    step = np.ldexp(np.float32(1), exponent - 8)
    held: Array = (np.floor(rgb / step) * step).astype(np.float32)
    return held


def hdr(rgb: Array, *lines: str, size: str | None = None, run_length: bool = True) -> Writer:
    """Return a writer of a Radiance picture."""
    size = size or f"-Y {rgb.shape[0]} +X {rgb.shape[1]}"
    data = hdr_header(*lines, size=size) + hdr_pixels(rgb, run_length=run_length)
    return lambda path: path.write_bytes(data)


def tif(pixels: Array, **how: Any) -> Writer:
    """Return a writer of a TIFF."""

    def write(path: Path) -> None:
        import tifffile

        tifffile.imwrite(path, pixels, **{"photometric": "rgb", **how})

    return write


def pages(named: dict[str, Array]) -> Writer:
    """Return a writer of a TIFF of several pages with names (tag PageName)."""

    def write(path: Path) -> None:
        import tifffile

        with tifffile.TiffWriter(path) as writer:
            for name, rgb in named.items():
                writer.write(
                    rgb,
                    photometric="rgb",
                    extratags=[(285, "s", 0, name, True)],
                    metadata=None,
                    contiguous=False,
                )

    return write


def pfm(rgb: Array, scale: str, order: str) -> Writer:
    """Return a writer of a portable float map; rows go from the bottom up."""
    kind = b"PF" if rgb.ndim == 3 else b"Pf"
    head = kind + f"\n{rgb.shape[1]} {rgb.shape[0]}\n{scale}\n".encode()
    data = head + rgb[::-1].astype(f"{order}f4").tobytes()
    return lambda path: path.write_bytes(data)


def _turned(size: str, turn: Callable[[Array], Array]) -> Sound:
    rgb = representable(light(70))
    word = size.replace(" ", "").replace("+", "plus_").replace("-", "minus_")
    return Sound(
        f"hdr_{word}.hdr",
        f"Radiance scan lines in the order {size}",
        hdr(turn(rgb), size=size),
        {ONLY: rgb},
    )


def _page_cases() -> Sound:
    named = {"sun": light(80), "sky": light(81)}
    return Sound(
        "pages.tif",
        "one light a page",
        pages(named),
        {(name, "", ""): rgb for name, rgb in named.items()},
    )


_RGB = light(71)
_HELD = representable(_RGB)
_FULL = (_RGB * np.float32(1.2345678)).astype(np.float32)
_RGBA = light(72, channels=4)
_W, _H = WIDTH, HEIGHT

SOUND_OTHERS: tuple[Sound, ...] = (
    Sound("runs.hdr", "Radiance, run-length coded", hdr(_HELD), {ONLY: _HELD}),
    Sound("flat.hdr", "Radiance, not coded", hdr(_HELD, run_length=False), {ONLY: _HELD}),
    Sound(
        "exposure.hdr",
        "Radiance, exposed twice and colour-corrected",
        hdr(_HELD, "EXPOSURE=2.0", "VIEW= -vtv", "EXPOSURE=4", "COLORCORR= 1 0.5 2"),
        {ONLY: _HELD / np.array([8, 4, 16], np.float32)},
    ),
    Sound(
        "aspect.hdr",
        "Radiance, pixels twice as high as wide",
        hdr(_HELD, "PIXASPECT=2.0"),
        {ONLY: _HELD},
        facts={"pixel_aspect": 0.5},
    ),
    Sound(
        "primaries.hdr",
        "Radiance, primaries of its own",
        hdr(_HELD, "PRIMARIES= 0.64 0.33 0.29 0.60 0.15 0.06 0.3333 0.3333"),
        {ONLY: _HELD},
        facts={"chromaticities": (0.64, 0.33, 0.29, 0.60, 0.15, 0.06, 0.3333, 0.3333)},
    ),
    _turned(f"+Y {_H} +X {_W}", lambda rgb: rgb[::-1]),
    _turned(f"-Y {_H} -X {_W}", lambda rgb: rgb[:, ::-1]),
    _turned(f"+Y {_H} -X {_W}", lambda rgb: rgb[::-1, ::-1]),
    _turned(f"+X {_W} -Y {_H}", lambda rgb: rgb.transpose(1, 0, 2)),
    _turned(f"+X {_W} +Y {_H}", lambda rgb: rgb[::-1].transpose(1, 0, 2)),
    _turned(f"-X {_W} -Y {_H}", lambda rgb: rgb[:, ::-1].transpose(1, 0, 2)),
    _turned(f"-X {_W} +Y {_H}", lambda rgb: rgb[::-1, ::-1].transpose(1, 0, 2)),
    Sound("strips.tif", "TIFF, 32-bit float", tif(_FULL, rowsperstrip=8), {ONLY: _FULL}),
    Sound(
        "half.tif",
        "TIFF, half float",
        tif(_RGB.astype(np.float16)),
        {ONLY: _RGB},
        facts={"pixel_type": "half"},
    ),
    Sound("double.tif", "TIFF, 64-bit float", tif(_FULL.astype(np.float64)), {ONLY: _FULL}),
    Sound("big_endian.tif", "TIFF, big-endian", tif(_FULL, byteorder=">"), {ONLY: _FULL}),
    Sound("big.tif", "BigTIFF", tif(_FULL, bigtiff=True), {ONLY: _FULL}),
    Sound(
        "deflate_predictor.tif",
        "TIFF, deflate with predictor, tiled",
        tif(_FULL, compression="zlib", predictor=3, tile=(16, 16)),
        {ONLY: _FULL},
    ),
    Sound("lzw.tif", "TIFF, LZW", tif(_FULL, compression="lzw", rowsperstrip=7), {ONLY: _FULL}),
    Sound(
        "separate.tif",
        "TIFF, planes apart",
        tif(_FULL.transpose(2, 0, 1), planarconfig="separate"),
        {ONLY: _FULL},
    ),
    Sound(
        "grey.tif",
        "TIFF, grey",
        tif(_FULL[..., 0], photometric="minisblack"),
        {ONLY: _FULL[..., :1].repeat(3, -1)},
    ),
    Sound(
        "alpha.tif",
        "TIFF, associated alpha",
        tif(_RGBA, extrasamples=["assocalpha"]),
        {ONLY: _RGBA[..., :3]},
        alpha={ONLY: _RGBA[..., 3]},
    ),
    Sound(
        "straight_alpha.tif",
        "TIFF, unassociated alpha: light is multiplied by it, as in EXR",
        tif(_RGBA, extrasamples=["unassalpha"]),
        {ONLY: _RGBA[..., :3] * _RGBA[..., 3:]},
        alpha={ONLY: _RGBA[..., 3]},
    ),
    Sound(
        "upside_down.tif",
        "TIFF, orientation 4",
        tif(_FULL[::-1], extratags=[(274, "H", 1, 4, True)]),
        {ONLY: _FULL},
    ),
    Sound(
        "on_its_side.tif",
        "TIFF, orientation 6",
        tif(
            np.ascontiguousarray(_FULL[:, ::-1].transpose(1, 0, 2)),
            extratags=[(274, "H", 1, 6, True)],
        ),
        {ONLY: _FULL},
        facts={"width": WIDTH, "height": HEIGHT},
    ),
    _page_cases(),
    Sound("little.pfm", "PFM, little-endian", pfm(_FULL, "-1.0", "<"), {ONLY: _FULL}),
    Sound("big.pfm", "PFM, big-endian", pfm(_FULL, "1.0", ">"), {ONLY: _FULL}),
    Sound(
        "scaled.pfm",
        "PFM, scale factor",
        pfm(_FULL, "-0.25", "<"),
        {ONLY: _FULL * np.float32(0.25)},
    ),
    Sound(
        "grey.pfm",
        "PFM, grey",
        pfm(_FULL[..., 0], "-1", "<"),
        {ONLY: _FULL[..., :1].repeat(3, -1)},
    ),
)
