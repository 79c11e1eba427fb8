"""Sound OpenEXR files of every habit."""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR

from reading_corpus.case import HEIGHT, WIDTH, Array, Sound, light, planes
from reading_corpus.exr_bytes import ExrBytes, plain_exr, rip_mapped_exr, window, with_table

CODECS = (
    "NO", "RLE", "ZIPS", "ZIP", "PIZ", "PXR24", "B44", "B44A", "DWAA", "DWAB",
    "HTJ2K256", "HTJ2K32", "LJ2K", "ZSTD",
)  # fmt: skip
LOSSY = {"B44": 0.05, "B44A": 0.05, "DWAA": 0.5, "DWAB": 0.5, "LJ2K": 0.5}
ONLY = ("", "", "")
RIP_TILES = 12 + 8 + 4 + 4 + 6 + 4 + 2 + 2 + 3 + 2 + 1 + 1 + 3 + 2 + 1 + 1
"""Tiles of 4 x 4 pixels of a rip map of 13 x 11: by 13, 6, 3, 1 wide in rows of 11, 5, 2, 1."""

TABLE_NOTE = (
    "its table of chunks was not whole and was made again from the chunks, of which none is missing"
)

# Chromaticities of ACEScg (AP1): S-2014-004, Academy of Motion Picture Arts and Sciences.
AP1 = (0.713, 0.293, 0.165, 0.830, 0.128, 0.044, 0.32168, 0.33767)

Writer = Callable[[Path], object]


def exr(channels: Mapping[str, Any], codec: str = "ZIP", **header: Any) -> Writer:
    """Return a writer of a single-part scan-line file."""

    def write(path: Path) -> None:
        attributes = {
            "compression": getattr(OpenEXR, f"{codec}_COMPRESSION"),
            "type": OpenEXR.scanlineimage,
            **header,
        }
        OpenEXR.File(attributes, dict(channels)).write(str(path))

    return write


def parts(*named: tuple[dict[str, Any], Mapping[str, Array]]) -> Writer:
    """Return a writer of a multi-part file; each part is its header and its channels."""

    def write(path: Path) -> None:
        made = [
            OpenEXR.Part(
                {
                    "compression": OpenEXR.ZIP_COMPRESSION,
                    "type": OpenEXR.scanlineimage,
                    **header,
                },
                dict(channels),
            )
            for header, channels in named
        ]
        OpenEXR.File(made).write(str(path))

    return write


def tiled(rgb: Array) -> Writer:
    """Return a writer of a tiled file of one level."""

    def write(path: Path) -> None:
        tiles = OpenEXR.TileDescription()
        tiles.xSize, tiles.ySize = 16, 24
        header = {
            "compression": OpenEXR.PIZ_COMPRESSION,
            "type": OpenEXR.tiledimage,
            "tiles": tiles,
        }
        OpenEXR.File(header, planes(rgb)).write(str(path))

    return write


def mip_mapped(rgb: Array) -> Writer:
    """Return a writer of a tiled file with smaller levels behind the picture."""

    def write(path: Path) -> None:
        import OpenImageIO as oiio  # noqa: N813

        config = oiio.ImageSpec()
        config.set_format("half")
        config.tile_width = config.tile_height = 16
        made = oiio.ImageBufAlgo.make_texture(
            oiio.MakeTxTexture, oiio.ImageBuf(rgb), str(path), config
        )
        assert made, oiio.geterror()

    return write


def named(rgb: Array, *names: str) -> dict[str, Array]:
    """Channels of a layer, with the names a renderer gave them."""
    return {
        name: np.ascontiguousarray(rgb[..., index].astype(np.float16))
        for index, name in enumerate(names)
    }


def edited(write: Writer, edit: Callable[[ExrBytes], object]) -> Writer:
    """Return a writer of a file whose bytes were changed after another wrote it."""

    def write_edited(path: Path) -> None:
        write(path)
        apart = ExrBytes.of(path.read_bytes())
        edit(apart)
        path.write_bytes(apart.join())

    return write_edited


def placed(rgb: Array, left: int, top: int, height: int, width: int) -> Array:
    """`rgb` with its corner at (left, top) of a larger black picture; what sticks out is cut."""
    large = np.zeros((height + 400, width + 400, 3), rgb.dtype)
    large[200 + top : 200 + top + rgb.shape[0], 200 + left : 200 + left + rgb.shape[1]] = rgb
    return large[200 : 200 + height, 200 : 200 + width]


def _windows(name: str, left: int, top: int, display: tuple[int, int, int, int]) -> Sound:
    rgb = light(20)
    width, height = display[2] - display[0] + 1, display[3] - display[1] + 1
    return Sound(
        f"window_{name}.exr",
        "data window different from the display window",
        exr(
            planes(rgb),
            dataWindow=((left, top), (left + WIDTH - 1, top + HEIGHT - 1)),
            displayWindow=(display[:2], display[2:]),
        ),
        {ONLY: placed(rgb, left - display[0], top - display[1], height, width)},
        facts={"width": width, "height": height, "display_window": display},
    )


def _luminance_chroma() -> Sound:
    """Y, RY, BY made of a picture whose chroma is the same in blocks of 2 x 2."""
    weights = np.array([0.212639, 0.715169, 0.072192])  # BT.709: ITU-R BT.709-6 with RP 177
    coarse = light(31, HEIGHT // 2, WIDTH // 2)
    coarse[:] = coarse.mean(axis=(0, 1)) * np.linspace(0.5, 1, WIDTH // 2)[None, :, None]
    y = (coarse @ weights).repeat(2, 0).repeat(2, 1).astype(np.float32)
    chroma = (coarse[..., [0, 2]] / (coarse @ weights)[..., None] - 1).astype(np.float32)
    hue = coarse[0, 0] / (coarse[0, 0] @ weights)
    truth = y[..., None] * hue
    channels = {
        "Y": (y, 1, 1),
        "RY": (np.ascontiguousarray(chroma[..., 0]), 2, 2),
        "BY": (np.ascontiguousarray(chroma[..., 1]), 2, 2),
    }
    return Sound(
        "luminance_chroma.exr",
        "luminance-chroma with subsampled chroma",
        lambda path: path.write_bytes(plain_exr(channels, (0, 0, WIDTH - 1, HEIGHT - 1))),
        {ONLY: truth.astype(np.float32)},
        tolerance=2e-5,  # six digits in the weights
    )


def _subsampled() -> Sound:
    """Blue stored for every second pixel of a ramp, which linear interpolation brings back."""
    ramp = np.arange(0, WIDTH, dtype=np.float32)[None].repeat(HEIGHT, 0)
    ramp[:, -1] = ramp[:, -2]  # nothing behind the last sample: it is repeated
    channels = {
        "R": (ramp, 1, 1),
        "G": (ramp * 2, 1, 1),
        "B": (np.ascontiguousarray(ramp[::2, ::2]), 2, 2),
    }
    return Sound(
        "subsampled_blue.exr",
        "subsampled channel",
        lambda path: path.write_bytes(plain_exr(channels, (0, 0, WIDTH - 1, HEIGHT - 1))),
        {ONLY: np.stack([ramp, ramp * 2, ramp], -1)},
    )


def _mixed_types() -> Sound:
    rgb = np.floor(light(32) * 100)
    mixed = planes(rgb, "f4") | {"B": rgb[..., 2].astype(np.uint32)}
    return Sound(
        "mixed_types.exr",
        "mixed pixel types",
        exr(mixed),
        {ONLY: rgb},
        facts={"pixel_type": "mixed"},
    )


def changed(write: Writer, change: Callable[[bytes], bytes]) -> Writer:
    """Return a writer of a file whose bytes as a whole were changed after another wrote it."""

    def write_changed(path: Path) -> None:
        write(path)
        path.write_bytes(change(path.read_bytes()))

    return write_changed


def table_changed(write: Writer, count: int, change: Callable[[list[int]], object]) -> Writer:
    """Return a writer of a file whose table of `count` chunks was changed."""
    return changed(write, lambda data: with_table(data, change, count))


def _without_table(
    name: str, write: Writer, count: int, truth: Mapping[tuple[str, str, str], Array], how: str
) -> Sound:
    """Return a sound file whose table of chunks is zeros, or partly lies behind its end."""
    ways: dict[str, Callable[[list[int]], object]] = {
        "zeros": lambda table: table.__setitem__(slice(None), [0] * count),
        "one_zero": lambda table: table.__setitem__(1, 0),
        "far": lambda table: table.__setitem__(
            slice(1, None), [2**40 + n for n in range(1, count)]
        ),
        "early": lambda table: table.__setitem__(0, 9),
    }
    return Sound(
        f"table_{name}_{how}.exr",
        "table of chunks not whole, all chunks there",
        table_changed(write, count, ways[how]),
        truth,
        facts={"notes": (TABLE_NOTE,)},
    )


def _without_tables() -> tuple[Sound, ...]:
    rgb, sun, sky = light(70), light(71), light(72)
    rip = light(73, 11, 13)
    two = parts(({"name": "sun"}, planes(sun)), ({"name": "sky"}, planes(sky)))
    of_two = {("sun", "", ""): sun, ("sky", "", ""): sky}
    lines, tiles = exr(planes(rgb)), tiled(rgb)
    return (
        *(
            _without_table("lines", lines, 3, {ONLY: rgb}, how)
            for how in ("zeros", "one_zero", "far", "early")
        ),
        _without_table("tiles", tiles, 8, {ONLY: rgb}, "zeros"),
        _without_table("mip_map", mip_mapped(rgb), 22, {ONLY: rgb}, "zeros"),
        _without_table("rip_map", lambda path: path.write_bytes(rip_mapped_exr(rip, 4)), RIP_TILES,
                       {ONLY: rip}, "zeros"),
        _without_table("parts", two, 6, of_two, "zeros"),
        _without_table("parts", two, 6, of_two, "far"),
    )  # fmt: skip


def _multi_view() -> Sound:
    left, right = light(40), light(41)
    return Sound(
        "multi_view.exr",
        "views in one part",
        exr(
            planes(left) | named(right, "right.R", "right.G", "right.B"),
            multiView=["left", "right"],
        ),
        {("", "", "left"): left, ("", "", "right"): right},
    )


def _multi_view_layers() -> Sound:
    left, right = light(42), light(43)
    return Sound(
        "multi_view_layers.exr",
        "views of layers in one part",
        exr(
            named(left, "sun.left.R", "sun.left.G", "sun.left.B")
            | named(right, "sun.right.R", "sun.right.G", "sun.right.B"),
            multiView=["left", "right"],
        ),
        {("", "sun", "left"): left, ("", "sun", "right"): right},
    )


def _codec(name: str) -> Sound:
    rgb = light(1)
    return Sound(
        f"codec_{name.lower()}.exr",
        f"compression {name}",
        exr(planes(rgb), name),
        {ONLY: rgb},
        tolerance=LOSSY.get(name, 0.0),
        facts={"compression": "none" if name == "NO" else name.lower(), "pixel_type": "half"},
    )


def _incompressible(codec: str) -> Sound:
    """Random bits, which a codec stores as they are; numbers all of them."""
    bits = np.random.default_rng(40).integers(0, 0x7C00, (HEIGHT, WIDTH, 3), dtype=np.uint16)
    rgb = bits.view(np.float16).astype(np.float32)
    return Sound(
        f"incompressible_{codec.lower()}.exr",
        f"pixels that {codec} cannot make smaller",
        exr(planes(rgb), codec),
        {ONLY: rgb},
    )


def _layer(file: str, layer: str, *names: str) -> Sound:
    rgb = light(10)
    return Sound(
        f"layer_{file}.exr",
        f"layer named {names}",
        exr(named(rgb, *names)),
        {("", layer, ""): rgb},
        facts={"channels": names},
    )


def _all_lights() -> Sound:
    lights = {name: light(50 + index) for index, name in enumerate(("fill", "sky", "sun"))}
    channels = {
        f"{name}.{channel}": plane
        for name, rgb in lights.items()
        for channel, plane in planes(rgb).items()
    }
    channels |= {"depth.Z": np.ones((HEIGHT, WIDTH), np.float32)}
    channels |= {f"normal.{axis}": np.ones((HEIGHT, WIDTH), np.float32) for axis in "XYZ"}
    return Sound(
        "all_lights_one_part.exr",
        "one file of all lights, beside depth and normals",
        exr(channels),
        {("", name, ""): rgb for name, rgb in lights.items()},
    )


def _parts() -> Sound:
    sun, lamp, sky = light(60), light(61, 20, 30), light(62)
    display = ((0, 0), (WIDTH - 1, HEIGHT - 1))
    inside = {"dataWindow": ((5, 7), (34, 26)), "displayWindow": display}
    return Sound(
        "one_light_a_part.exr",
        "one light a part, data windows of their own",
        parts(
            ({"name": "sun", "dataWindow": display, "displayWindow": display}, planes(sun)),
            ({"name": "lamp", **inside}, planes(lamp)),
            ({"name": "sky", "dataWindow": display, "displayWindow": display}, planes(sky)),
        ),
        {
            ("sun", "", ""): sun,
            ("lamp", "", ""): placed(lamp, 5, 7, HEIGHT, WIDTH),
            ("sky", "", ""): sky,
        },
    )


def _data(seed: int) -> dict[str, Array]:
    """What stands beside the light: object numbers and coverage, distance, directions, motion."""
    rng = np.random.default_rng(seed)
    shape = (HEIGHT, WIDTH)
    ids = rng.choice(np.array([0x3F1C9A77, 0x7F12345, 0xBEEF1234], np.uint32), shape)
    coverage = rng.random(shape).astype(np.float32)
    directions = rng.normal(size=(3, *shape)).astype(np.float32)
    directions /= np.linalg.norm(directions, axis=0)
    return {
        **{f"ids00.{name}": ids.view(np.float32) for name in "RB"},
        **{f"ids00.{name}": coverage for name in "GA"},
        "depth.Z": np.where(coverage > 0.9, np.float32(1e32), 5 * coverage),
        **{f"N.{axis}": np.ascontiguousarray(directions[i]) for i, axis in enumerate("XYZ")},
        "motion.u": coverage - np.float32(0.5),
        "motion.v": np.float32(0.5) - coverage,
        "number": ids % 7,
    }


def _ids(data: Mapping[str, Array]) -> Array:
    return np.stack([data[f"ids00.{name}"] for name in "RGB"], -1)


def _beauty_with_data() -> Sound:
    rgba, sun, sky = light(80, channels=4), light(81), light(82)
    data = _data(83)
    pictures = {"": rgba[..., :3], "sun": sun, "sky": sky, "ids00": _ids(data)}
    channels = planes(rgba)
    for name, rgb in (("sun", sun), ("sky", sky)):
        channels |= named(rgb, *(f"{name}.{channel}" for channel in "RGB"))
    return Sound(
        "beauty_lights_data.exr",
        "a beauty, lights as layers, and data of every kind",
        exr({**channels, **data}),
        {("", layer, ""): rgb for layer, rgb in pictures.items()},
        alpha={("", "", ""): rgba[..., 3], ("", "ids00", ""): data["ids00.A"]},
    )


def _parts_with_data() -> Sound:
    rgba, sun = light(84, channels=4), light(85)
    data = _data(86)
    ids = {name.removeprefix("ids00."): plane for name, plane in data.items() if "ids00" in name}
    rest = {name: plane for name, plane in data.items() if "." in name and "ids00" not in name}
    return Sound(
        "parts_with_data.exr",
        "parts of light beside parts of data",
        parts(
            ({"name": "rgba"}, planes(rgba)),
            ({"name": "sun"}, planes(sun)),
            ({"name": "ids00"}, ids),
            ({"name": "data"}, rest),
        ),
        {
            ("rgba", "", ""): rgba[..., :3],
            ("sun", "", ""): sun,
            ("ids00", "", ""): _ids(data),
        },
        alpha={("rgba", "", ""): rgba[..., 3], ("ids00", "", ""): data["ids00.A"]},
    )


def _views_in_parts() -> Sound:
    left, right = light(63), light(64)
    return Sound(
        "view_a_part.exr",
        "views, one a part",
        parts(
            ({"name": "left", "view": "left"}, planes(left)),
            ({"name": "right", "view": "right"}, planes(right)),
        ),
        {("left", "", "left"): left, ("right", "", "right"): right},
    )


def _alpha() -> Sound:
    rgba = light(33, channels=4)
    return Sound(
        "rgba.exr",
        "alpha",
        exr(planes(rgba)),
        {ONLY: rgba[..., :3]},
        alpha={ONLY: rgba[..., 3]},
        facts={"has_alpha": True},
    )


def _alpha_in_window() -> Sound:
    rgba = light(34, channels=4)
    wide = (HEIGHT + 9, WIDTH + 6)
    padded = np.zeros((*wide, 4), np.float32)
    padded[4 : 4 + HEIGHT, 2 : 2 + WIDTH] = rgba
    return Sound(
        "rgba_in_window.exr",
        "alpha is 0 outside the data window",
        exr(
            planes(rgba),
            dataWindow=((2, 4), (WIDTH + 1, HEIGHT + 3)),
            displayWindow=((0, 0), (wide[1] - 1, wide[0] - 1)),
        ),
        {ONLY: padded[..., :3]},
        alpha={ONLY: padded[..., 3]},
    )


def _grey(file: str, channel: str) -> Sound:
    grey = light(35, channels=1)
    return Sound(
        file,
        f"single channel {channel}",
        exr({channel: np.ascontiguousarray(grey[..., 0].astype(np.float16))}),
        {ONLY: grey.repeat(3, -1)},
        facts={"channels": (channel,)},
    )


def _simple(file: str, covers: str, write: Callable[[Array], Writer], **more: Any) -> Sound:
    rgb = light(2)
    return Sound(file, covers, write(rgb), {ONLY: rgb}, **more)


def _set(name: str, kind: str, value: bytes) -> Callable[[ExrBytes], object]:
    return lambda apart: apart.attributes.__setitem__(name, (kind, value))


_FLOATS = light(30) * np.float32(1.2345678)

SOUND_EXR: tuple[Sound, ...] = (
    *(_codec(name) for name in CODECS),
    *(_incompressible(name) for name in CODECS if name not in LOSSY),
    Sound(
        "float.exr",
        "32-bit float, negative and huge values",
        exr(planes(_FLOATS * 1e6 - 1e3, "f4")),
        {ONLY: _FLOATS * np.float32(1e6) - np.float32(1e3)},
        facts={"pixel_type": "float"},
    ),
    Sound(
        "uint.exr",
        "unsigned integers",
        exr(planes(np.floor(light(3) * 50), "u4")),
        {ONLY: np.floor(light(3) * 50)},
        facts={
            "pixel_type": "uint",
            "notes": (
                "holds whole numbers without a sign (B, G, R), as object numbers are stored and "
                "light hardly ever is",
            ),
        },
    ),
    _mixed_types(),
    _alpha(),
    _alpha_in_window(),
    _grey("grey_y.exr", "Y"),
    _grey("grey_own_name.exr", "lamp"),
    _layer("dot_upper", "light", "light.R", "light.G", "light.B"),
    _layer("dot_word", "light", "light.red", "light.green", "light.blue"),
    _layer("dot_capital_word", "light", "light.Red", "light.Green", "light.Blue"),
    _layer("two_dots", "a.b", "a.b.R", "a.b.G", "a.b.B"),
    _layer("lower", "", "r", "g", "b"),
    _layer("underscore", "lamp_1", "lamp_1_R", "lamp_1_G", "lamp_1_B"),
    _layer("spaces", "Layer 1", "Layer 1.R", "Layer 1.G", "Layer 1.B"),
    _layer("accents", "lumière", "lumière.R", "lumière.G", "lumière.B"),
    _layer("long", "l" * 80, *(f"{'l' * 80}.{channel}" for channel in "RGB")),
    _all_lights(),
    _parts(),
    _beauty_with_data(),
    _parts_with_data(),
    _views_in_parts(),
    *_without_tables(),
    _simple(
        "longer.exr",
        "bytes behind the last chunk",
        lambda rgb: changed(exr(planes(rgb)), lambda data: data + b"left by a tool" * 70),
        facts={"notes": ("980 bytes behind its last chunk belong to nothing and were left alone",)},
    ),
    _simple(
        "longer_zeros.exr",
        "zeros behind the last chunk",
        lambda rgb: changed(exr(planes(rgb)), lambda data: data + bytes(100)),
        facts={"notes": ("100 bytes behind its last chunk belong to nothing and were left alone",)},
    ),
    Sound(
        "rip_mapped.exr",
        "rip-mapped: level 0",
        lambda path: path.write_bytes(rip_mapped_exr(light(73, 11, 13), 4)),
        {ONLY: light(73, 11, 13)},
    ),
    _multi_view(),
    _multi_view_layers(),
    _simple("tiled.exr", "tiled", tiled),
    _simple("mip_mapped.exr", "mip-mapped: level 0", mip_mapped),
    _simple(
        "decreasing.exr",
        "rows from the bottom up in the file",
        lambda rgb: exr(planes(rgb), lineOrder=OpenEXR.DECREASING_Y),
    ),
    _windows("inside", 5, 7, (0, 0, 99, 79)),
    _windows("overscan", -6, -4, (0, 0, 39, 29)),
    _windows("overlapping", 20, -10, (0, 0, 49, 39)),
    _windows("negative_origin", -100, -90, (-110, -95, -40, -40)),
    replace(
        _windows("apart", 200, 0, (0, 0, 99, 79)),
        facts={
            "notes": (
                "is black: what was stored, at 200, 0 to 253, 37, lies outside the picture, at "
                "0, 0 to 99, 79",
            )
        },
    ),
    _windows("corner_pixel", 99, 79, (0, 0, 99, 79)),
    _luminance_chroma(),
    _subsampled(),
    _simple(
        "pixel_aspect.exr",
        "pixel aspect",
        lambda rgb: exr(planes(rgb), pixelAspectRatio=1.5),
        facts={"pixel_aspect": 1.5},
    ),
    _simple(
        "chromaticities.exr",
        "chromaticities",
        lambda rgb: exr(planes(rgb), chromaticities=AP1),
        facts={"chromaticities": tuple(float(np.float32(number)) for number in AP1)},
    ),
    _simple(
        "xyz_primaries.exr",
        "CIE XYZ as primaries",
        lambda rgb: exr(planes(rgb), chromaticities=(1.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.5, 0.25)),
        facts={"chromaticities": (1.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.5, 0.25)},
    ),
    _simple(
        "interop_id.exr",
        "colorInteropID alone",
        lambda rgb: exr(planes(rgb), colorInteropID="lin_ap1_scene"),
        facts={"colour_interop_id": "lin_ap1_scene", "chromaticities": AP1},
    ),
    _simple(
        "white_luminance.exr",
        "whiteLuminance",
        lambda rgb: exr(planes(rgb), whiteLuminance=120.0),
        facts={"white_luminance": 120.0},
    ),
    _simple(
        "text_not_utf8.exr",
        "a comment in another encoding",
        lambda rgb: edited(exr(planes(rgb)), _set("comments", "string", b"caf\xe9")),
    ),
    _simple(
        "unknown_attribute.exr",
        "an attribute of a kind nobody knows",
        lambda rgb: edited(exr(planes(rgb)), _set("ours", "glow", struct.pack("<3d", 1, 2, 3))),
    ),
    _simple(
        "deep_image_state.exr",
        "an attribute that makes the library refuse a sound file",
        lambda rgb: edited(exr(planes(rgb)), _set("deepImageState", "deepImageState", b"\1")),
    ),
    _simple(
        "vast_display_origin.exr",
        "a display window far from the origin",
        lambda rgb: exr(
            planes(rgb),
            dataWindow=((10**6, 10**6), (10**6 + WIDTH - 1, 10**6 + HEIGHT - 1)),
            displayWindow=((10**6, 10**6), (10**6 + WIDTH - 1, 10**6 + HEIGHT - 1)),
        ),
    ),
    Sound(
        "rows_apart.exr",
        "single-row picture",
        exr(planes(light(4, 1, 300))),
        {ONLY: light(4, 1, 300)},
    ),
    Sound("one_pixel.exr", "one pixel", exr(planes(light(5, 1, 1))), {ONLY: light(5, 1, 1)}),
)

__all__ = [
    "CODECS",
    "ONLY",
    "SOUND_EXR",
    "changed",
    "edited",
    "exr",
    "parts",
    "table_changed",
    "tiled",
    "window",
]
