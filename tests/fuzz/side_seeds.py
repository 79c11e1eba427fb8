"""Sound files of every kind that may stand beside the passes, small, and made anew each time."""

from __future__ import annotations

import io
import struct
import tempfile
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

__all__ = ["SIDES", "seeds_of"]

_WIDTH, _HEIGHT = 37, 23
_EDGE = 3  # entries along an edge of a 3D table
_CDL = """<{0} id="warm"><SOPNode><Slope>1.1 1 0.9</Slope><Offset>0.01 0 -0.01</Offset>
<Power>1 1.1 1</Power></SOPNode><SatNode><Saturation>0.9</Saturation></SatNode></{0}>"""


def _picture(channels: int, dtype: Any = np.uint8) -> np.ndarray:
    rng = np.random.default_rng(9)
    y, x = np.mgrid[:_HEIGHT, :_WIDTH]
    smooth = (np.sin(x / 5)[..., None] + np.cos(y / 4)[..., None] + 2) / 4
    shares = np.clip(
        smooth * rng.uniform(0.5, 1, channels) + rng.normal(0, 0.02, smooth.shape), 0, 1
    )
    top = np.iinfo(dtype).max if np.dtype(dtype).kind == "u" else 1
    return np.ascontiguousarray((shares * top).astype(dtype))


def _by_pillow(array: np.ndarray, kind: str, **options: Any) -> bytes:
    from PIL import Image

    picture = Image.fromarray(array[..., 0] if array.shape[-1] == 1 else array)
    if options.pop("palette", False):
        picture = picture.quantize(20)
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def _tiff(array: np.ndarray, **options: Any) -> bytes:
    import tifffile

    kind = "minisblack" if array.ndim == 2 or array.shape[-1] == 1 else "rgb"
    out = io.BytesIO()
    tifffile.imwrite(out, array, **{"photometric": kind, "metadata": None, **options})
    return out.getvalue()


def _exr(channels: dict[str, np.ndarray]) -> bytes:
    import OpenEXR

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.exr"
        OpenEXR.File({}, channels).write(str(path))
        return path.read_bytes()


def _planes(names: str, dtype: Any) -> dict[str, np.ndarray]:
    return {
        name: np.ascontiguousarray(plane)
        for name, plane in zip(names, np.moveaxis(_picture(len(names), dtype), -1, 0), strict=True)
    }


def _pfm() -> bytes:
    return b"PF\n%d %d\n-1.0\n" % (_WIDTH, _HEIGHT) + _picture(3, np.float32).tobytes()


def _radiance() -> bytes:
    codes = np.concatenate([_picture(3), np.full((_HEIGHT, _WIDTH, 1), 128, np.uint8)], -1)
    head = b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y %d +X %d\n" % (_HEIGHT, _WIDTH)
    return head + codes.tobytes()


def _plates() -> Iterator[tuple[str, bytes]]:
    import imagecodecs

    rgb, rgba, deep = _picture(3), _picture(4), _picture(3, np.uint16)
    for name, array in (("rgb", rgb), ("rgba", rgba), ("16", deep), ("grey", _picture(1))):
        yield f"{name}.png", imagecodecs.png_encode(array[..., 0] if name == "grey" else array)
    yield "palette.png", _by_pillow(rgb, "PNG", palette=True)
    for name, options in {
        "full": {"quality": 90, "subsampling": 0},
        "halved": {"quality": 70, "subsampling": 2},
        "progressive": {"quality": 80, "progressive": True},
    }.items():
        yield f"{name}.jpg", _by_pillow(rgb, "JPEG", **options)
    yield "grey.jpg", _by_pillow(_picture(1), "JPEG")
    yield "lossless.webp", _by_pillow(rgba, "WEBP", lossless=True)
    yield "lossy.webp", _by_pillow(rgb, "WEBP", quality=80)
    yield "plain.bmp", _by_pillow(rgb, "BMP")
    for codec in ("lzw", "deflate", "packbits", "jpeg"):
        yield f"{codec}.tif", _tiff(rgb, compression=codec, rowsperstrip=8)
    yield "plain.tif", _tiff(rgb)
    yield "alpha.tif", _tiff(rgba, extrasamples=["unassalpha"])
    yield "tiles.tif", _tiff(deep, tile=(16, 16), compression="zlib", predictor=True)
    yield "planar.tif", _tiff(np.moveaxis(rgb, -1, 0).copy(), planarconfig="separate")
    yield "large.tif", _tiff(deep, bigtiff=True)
    yield "words.tif", _tiff(_picture(3, np.uint32))
    yield "float.tif", _tiff(_picture(3, np.float32))
    yield "palette.tif", _by_pillow(rgb, "TIFF", palette=True)
    yield "light.exr", _exr(_planes("RGBA", np.float16))
    yield "light.pfm", _pfm()
    yield "light.hdr", _radiance()


def _masks() -> Iterator[tuple[str, bytes]]:
    import imagecodecs

    yield "weights_8.png", imagecodecs.png_encode(_picture(1)[..., 0])
    yield "weights_16.png", imagecodecs.png_encode(_picture(1, np.uint16)[..., 0])
    yield "channel.png", imagecodecs.png_encode(_picture(4))
    yield "weights.tif", _tiff(_picture(1, np.uint16)[..., 0], compression="deflate")
    yield "weights.jpg", _by_pillow(_picture(1), "JPEG")
    yield "weights.exr", _exr({"A": _picture(1, np.float16)[..., 0].copy()})
    numbers = np.random.default_rng(2).integers(0, 9, (_HEIGHT, _WIDTH))
    yield "ids.exr", _exr({"id": numbers.astype(np.uint32), "objects.R": numbers.astype("f4")})
    yield "ids.tif", _tiff(numbers.astype(np.uint32))
    yield "ids.png", imagecodecs.png_encode(numbers.astype(np.uint16))


def _curve(kind: int, *numbers: float) -> bytes:
    """One parametric curve, ICC.1:2022 10.18."""
    fixed = b"".join(struct.pack(">i", round(number * 65536)) for number in numbers)
    return b"para" + bytes(4) + struct.pack(">HH", kind, 0) + fixed


def _with_curves(profile: bytes, curve: bytes) -> bytes:
    """Put another curve behind a profile and let all three channels use it."""
    (count,) = struct.unpack_from(">I", profile, 128)
    changed = bytearray(profile + curve)
    for number in range(count):
        place = 132 + 12 * number
        if profile[place : place + 4] in (b"rTRC", b"gTRC", b"bTRC"):
            struct.pack_into(">II", changed, place + 4, len(profile), len(curve))
    struct.pack_into(">I", changed, 0, len(changed))
    return bytes(changed)


def _profiles() -> Iterator[tuple[str, bytes]]:
    from PIL import ImageCms

    from evenfall.deliver.icc import icc_profile

    for space in ("sRGB", "Display P3"):
        yield f"{space}.icc", icc_profile(space)
    yield "by another hand.icc", ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    own = icc_profile("sRGB")
    samples = np.linspace(0, 1, 33) ** 2.2 * 65535
    table = b"curv" + bytes(4) + struct.pack(">I33H", 33, *(round(value) for value in samples))
    yield "sampled.icc", _with_curves(own, table + b"\0\0")
    for kind, numbers in ((0, (2.2,)), (1, (2.2, 1, 0)), (2, (2.2, 0.9, 0.05, 0.01)),
                          (4, (2.4, 0.95, 0.05, 0.08, 0.04, 0.0, 0.0))):  # fmt: skip
        yield f"parametric {kind}.icc", _with_curves(own, _curve(kind, *numbers))


def _baked() -> Iterator[tuple[str, bytes]]:
    """Every kind of table that the library itself can write."""
    import PyOpenColorIO

    config = PyOpenColorIO.Config.CreateRaw()
    config.addColorSpace(PyOpenColorIO.ColorSpace(name="in"))
    slope, offset, power = [1.1, 1.0, 0.9], [0, 0.01, 0], [1.2, 1.0, 0.9]
    for name, saturation in (("colours", 0.8), ("channels", 1.0)):
        space = PyOpenColorIO.ColorSpace(name=name)
        correction = PyOpenColorIO.CDLTransform(slope, offset, power, saturation)
        space.setTransform(correction, PyOpenColorIO.COLORSPACE_DIR_FROM_REFERENCE)
        config.addColorSpace(space)
    for number, (kind, ending) in enumerate(PyOpenColorIO.Baker.getFormats()):
        baker = PyOpenColorIO.Baker()
        baker.setConfig(config)
        baker.setFormat(kind)
        baker.setInputSpace("in")
        baker.setCubeSize(5)
        for name in ("colours", "channels"):  # some kinds hold a curve a channel alone
            baker.setTargetSpace(name)
            if ending == "lut" and name == "channels":  # which it writes and does not read
                continue
            try:
                yield f"{name}_{number}.{ending}", baker.bake().encode()
            except PyOpenColorIO.Exception:
                continue


def _luts() -> Iterator[tuple[str, bytes]]:
    from evenfall.deliver.icc import icc_profile

    yield from _baked()
    grid = list(product(range(_EDGE), repeat=3))
    share = 1 / (_EDGE - 1)
    lines = [" ".join(f"{number * share:g}" for number in entry) for entry in grid]
    yield "curve.cube", b"LUT_1D_SIZE 4\n0 0 0\n0.3 0.3 0.3\n0.7 0.6 0.6\n1 1 1\n"
    yield (
        "range.cube",
        (
            f'TITLE "warm"\nLUT_3D_SIZE {_EDGE}\nDOMAIN_MIN 0 0 0\nDOMAIN_MAX 1 1 1\n'
            + "\n".join(lines)
        ).encode(),
    )
    yield "matrix.spimtx", b"1.1 0 0 0\n0 1 0.1 0\n0 0 0.9 655.35\n"
    codes = 3 * [*range(256)]
    yield "codes.lut", ("LUT: 3 256\n" + "\n".join(map(str, codes)) + "\n").encode()
    numbered = [
        f"{n} " + " ".join(str(each * 127) for each in entry) for n, entry in enumerate(grid)
    ]
    head = "channel 3d\nin 27\nout 256\nformat lut\nvalues red green blue\n"
    for ending in ("mga", "m3d"):
        yield f"numbered.{ending}", (head + "\n".join(numbered)).encode()
    yield (
        "grid.vf",
        (
            "#Inventor V2.1 ascii\n"  # which is how this kind begins
            f"grid_size {_EDGE} {_EDGE} {_EDGE}\nglobal_transform "
            "1 0 0 0 0 1 0 0 0 0 1 0 0 0 0 1\ndata\n" + "\n".join(lines)
        ).encode(),
    )
    table = np.array(grid, "<f4").tobytes().hex()
    yield (
        "table.look",
        (
            f'<?xml version="1.0" ?>\n<look><LUT><size>"{_EDGE}"</size><data>"{table}"</data>'
            "</LUT></look>"
        ).encode(),
    )
    yield "profile.icc", icc_profile("sRGB")


def _cdls() -> Iterator[tuple[str, bytes]]:
    one = _CDL.format("ColorCorrection")
    yield "one.cc", one.encode()
    space = 'xmlns="urn:ASC:CDL:v1.2"'
    collection = f"<ColorCorrectionCollection {space}>{one}</ColorCorrectionCollection>"
    yield "several.ccc", collection.encode()
    decisions = "<ColorDecision>" + one + "</ColorDecision>"
    yield "list.cdl", f"<ColorDecisionList {space}>{decisions}</ColorDecisionList>".encode()
    yield "named.cc", ('<?xml version="1.0" encoding="UTF-8"?>\n' + one).encode()


_CONFIG = """ocio_profile_version: 2
search_path: luts
roles: {scene_linear: house linear, default: house linear, aces_interchange: exchange}
displays:
  desk:
    - !<View> {name: plain, colorspace: house display, looks: +warm}
looks:
  - !<Look>
    name: warm
    process_space: house linear
    transform: !<CDLTransform> {slope: [1.1, 1, 0.9], power: [1, 1.1, 1], sat: 0.9}
colorspaces:
  - !<ColorSpace> {name: house linear, bitdepth: 32f, isdata: false}
  - !<ColorSpace>
    name: exchange
    to_scene_reference: !<MatrixTransform>
      matrix: [1, 0, 0, 0, 0, 1.1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]
  - !<ColorSpace>
    name: house display
    from_scene_reference: !<GroupTransform>
      children:
        - !<RangeTransform> {min_in_value: 0, min_out_value: 0}
        - !<LogCameraTransform> {base: 2, log_side_slope: [0.25, 0.25, 0.25], lin_side_break: 0.01}
        - !<ExponentWithLinearTransform>
          gamma: [2.4, 2.4, 2.4, 1]
          offset: [0.055, 0.055, 0.055, 0]
        - !<FileTransform> {src: desk.cube, interpolation: linear}
"""


def _configs() -> Iterator[tuple[str, bytes]]:
    yield "house.ocio", _CONFIG.encode()
    yield (
        "first.ocio",
        (
            b"ocio_profile_version: 1\nroles: {scene_linear: house linear, default: house linear}\n"
            b"displays:\n  desk:\n    - !<View> {name: plain, colorspace: house display}\n"
            b"colorspaces:\n  - !<ColorSpace> {name: house linear}\n  - !<ColorSpace>\n"
            b"    name: house display\n    allocation: uniform\n    allocationvars: [0, 1]\n"
            b"    from_reference: !<ExponentTransform> {value: [0.45, 0.45, 0.45, 1]}\n"
        ),
    )


SIDES = {
    "plates": _plates,
    "masks": _masks,
    "profiles": _profiles,
    "luts": _luts,
    "cdls": _cdls,
    "configs": _configs,
}


def seeds_of(side: str) -> dict[str, bytes]:
    """Sound files of one kind, by their names."""
    return dict(SIDES[side]())
