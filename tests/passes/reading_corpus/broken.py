"""Files that must be refused, each with the words that say why."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np

from evenfall.passes import Selector
from reading_corpus.case import HEIGHT, WIDTH, Broken, light, planes
from reading_corpus.exr_bytes import ExrBytes, plain_exr, window
from reading_corpus.sound_exr import CODECS, edited, exr, parts, tiled
from reading_corpus.sound_others import hdr, pfm, tif

Writer = Callable[[Path], object]

LAST_ROWS = HEIGHT % 16
"""Rows in the last chunk of a ZIP file."""

_RGB = light(1)
_ZIP = exr(planes(_RGB))
_PLAIN = exr(planes(_RGB), "NO")


def _bytes(data: bytes) -> Writer:
    return lambda path: path.write_bytes(data)


def _rewritten(write: Writer, change: Callable[[bytes], bytes]) -> Writer:
    def write_changed(path: Path) -> None:
        write(path)
        path.write_bytes(change(path.read_bytes()))

    return write_changed


def _cut(write: Writer, keep: float | int) -> Writer:
    """Return a writer of a cut file: a share of its bytes, or all but some at the end."""
    return _rewritten(
        write, lambda data: data[: int(len(data) * keep) if isinstance(keep, float) else keep]
    )


def _cut_in_table(data: bytes) -> bytes:
    apart = ExrBytes.of(data)
    return data[: data.index(apart.chunks[0]) - 5]


def _with(name: str, kind: str, value: bytes, write: Writer = _ZIP) -> Writer:
    return edited(write, lambda apart: apart.attributes.__setitem__(name, (kind, value)))


def _window(name: str, *corners: int) -> Writer:
    return _with(name, *window(*corners))


def _without(name: str) -> Writer:
    return edited(_ZIP, lambda apart: apart.attributes.pop(name))


def _chunks(change: Callable[[list[bytes]], object], write: Writer = _ZIP) -> Writer:
    return edited(write, lambda apart: change(apart.chunks))


def _shorter(write: Writer) -> Writer:
    """Return a writer whose data window has lost its last rows, the chunks being there."""

    def shorten(apart: ExrBytes) -> None:
        left, top, right, bottom = struct.unpack("<4i", apart.attributes["dataWindow"][1])
        apart.attributes["dataWindow"] = window(left, top, right, bottom - LAST_ROWS)

    return edited(write, shorten)


def _shorter_table(write: Writer) -> Writer:
    """Return the same with the table shortened as well, as a careless tool would leave it."""

    def change(data: bytes) -> bytes:
        apart = ExrBytes.of(data)
        left, top, right, bottom = struct.unpack("<4i", apart.attributes["dataWindow"][1])
        apart.attributes["dataWindow"] = window(left, top, right, bottom - LAST_ROWS)
        lost = apart.chunks.pop()
        return apart.join() + lost

    return _rewritten(write, change)


def _zero_table(data: bytes) -> bytes:
    apart = ExrBytes.of(data)
    return apart.join([0] * len(apart.chunks))


def _stretched(apart: ExrBytes) -> None:
    apart.chunks[0] = apart.chunks[0] + b"\0" * 7


def _swapped_leaders(chunks: list[bytes]) -> None:
    chunks[0], chunks[1] = chunks[1][:4] + chunks[0][4:], chunks[0][:4] + chunks[1][4:]


def _rotten(data: bytes) -> bytes:
    """Zeros in the middle of a chunk's deflate stream, which its checksum tells."""
    apart = ExrBytes.of(data)
    middle = len(apart.chunks[1]) // 2
    apart.chunks[1] = apart.chunks[1][:middle] + bytes(40) + apart.chunks[1][middle + 40 :]
    return apart.join()


def _crashing(data: bytes) -> bytes:
    """One number of a JPEG 2000 header changed, at which the decoder of OpenEXR 3.5.3 crashes.

    It is the last point of a lookup table: segment NLT, ISO/IEC 15444-2.
    """
    place = data.index(b"\xff\x76") + 15
    return data[:place] + b"\0\0\0\1" + data[place + 4 :]


def _unsorted(apart: ExrBytes) -> None:
    kind, listed = apart.attributes["channels"]
    apart.attributes["channels"] = (kind, listed.replace(b"B\0", b"X\0", 1))


def _doubled(data: bytes) -> bytes:
    apart = ExrBytes.of(data)
    (place,) = struct.unpack_from("<Q", data, data.index(apart.chunks[0]) - 8 * len(apart.chunks))
    return apart.join([place] * len(apart.chunks))


def _deep(path: Path) -> None:
    import OpenImageIO as oiio  # noqa: N813

    spec = oiio.ImageSpec(8, 8, 5, "float")
    spec.deep = True
    spec.channelnames = ("R", "G", "B", "A", "Z")
    deep = oiio.DeepData()
    deep.init(64, 5, ("float",) * 5, spec.channelnames)
    for pixel in range(64):
        deep.set_samples(pixel, 1)
    output = oiio.ImageOutput.create(str(path))
    assert output.open(str(path), spec)
    assert output.write_deep_image(deep)
    output.close()


def _png(path: Path) -> None:
    from PIL import Image

    Image.fromarray(np.zeros((8, 8, 3), np.uint8)).save(path, "PNG")


def _jpeg(path: Path) -> None:
    from PIL import Image

    Image.fromarray(np.zeros((8, 8, 3), np.uint8)).save(path, "JPEG")


def _bomb(codec: int, width: int, height: int) -> Writer:
    """Return a writer of a small file whose chunks are all there and claim to be vast."""
    apart = ExrBytes.of(plain_exr({"Y": (np.zeros((1, 1), np.float16), 1, 1)}, (0, 0, 0, 0)))
    rows = {9: 256, 13: 1}[codec]
    apart.attributes["compression"] = ("compression", bytes([codec]))
    apart.attributes["dataWindow"] = window(0, 0, width - 1, height - 1)
    channels = b"".join(
        name + b"\0" + struct.pack("<iIii", 2, 0, 1, 1) for name in (b"B", b"G", b"R")
    )
    apart.attributes["channels"] = ("chlist", channels + b"\0")
    apart.chunks = [struct.pack("<ii", top, 8) + b"\1" * 8 for top in range(0, height, rows)]
    return _bytes(apart.join())


_THREE_PARTS = parts(
    *(({"name": name}, planes(light(index))) for index, name in enumerate(("sky", "sun", "fill")))
)

BROKEN: tuple[Broken, ...] = (
    Broken("empty.exr", "an empty file", _bytes(b""), "is empty"),
    Broken("png.exr", "a PNG renamed", _png, "is a PNG: display-encoded"),
    Broken("picture.jpg", "a JPEG", _jpeg, "is a JPEG: display-encoded"),
    Broken("text.exr", "a text", _bytes(b"hello there, render farm"), "no picture of a known"),
    Broken("magic.exr", "four bytes of an EXR", _bytes(b"\x76\x2f\x31\x01"),
           "ends inside the header"),
    Broken("future.exr", "another version", _rewritten(
        _ZIP, lambda data: data[:4] + b"\3" + data[5:]), "unknown version field"),
    Broken("deep.exr", "a deep image", _deep, "deep image"),
    Broken("depth_only.exr", "no light at all", exr(
        {"Z": planes(_RGB)["R"], "N.X": planes(_RGB)["R"]}), "holds no picture.*N.X, Z"),
    *(
        Broken(f"cut_{codec.lower()}_{keep}.exr", f"{codec} cut",
               _cut(exr(planes(_RGB), codec), keep), "ends|beyond the end|chunk")
        for codec in CODECS
        for keep in (-1, 0.6)
    ),
    *(
        Broken(f"cut_parts_{keep}.exr", "many parts, cut", _cut(_THREE_PARTS, keep),
               "ends|beyond the end|chunk", Selector(part="fill"))
        for keep in (-1, 0.3, 0.9)
    ),
    Broken("cut_tiles.exr", "tiles, cut", _cut(tiled(_RGB), -1), "ends|beyond the end"),
    Broken("cut_header.exr", "cut in the header", _cut(_ZIP, 100), "ends inside the header"),
    Broken("cut_table.exr", "cut in the table", _rewritten(_ZIP, _cut_in_table),
           "inside its table"),
    Broken("longer.exr", "bytes after the end", _rewritten(_ZIP, lambda data: data + b"more"),
           "4 bytes at .* belong to no chunk"),
    Broken("zero_table.exr", "a renderer stopped", _rewritten(_ZIP, _zero_table),
           "3 of 3 chunks were never written"),
    Broken("short_window.exr", "rows left out of the window", _shorter(_ZIP), "belong to no chunk"),
    Broken("short_table.exr", "rows left out of window and table", _shorter_table(_ZIP),
           "belong to no chunk"),
    Broken("narrow_window.exr", "columns left out of the window",
           _with("dataWindow", *window(0, 0, WIDTH - 9, HEIGHT - 1), write=_PLAIN), "chunk 0 has"),
    Broken("lost_chunk.exr", "a chunk removed", _chunks(lambda chunks: chunks.pop(1)),
           "no chunk|beyond the end|never|where"),
    Broken("swapped_chunks.exr", "chunks in each other's place",
           _chunks(lambda chunks: chunks.insert(0, chunks.pop())), "not where they should be"),
    Broken("swapped_rows.exr", "rows in each other's place", _chunks(_swapped_leaders),
           "not where they should be"),
    Broken("stretched.exr", "a gap between chunks", edited(_ZIP, _stretched), "belong to no chunk"),
    Broken("doubled_offset.exr", "one chunk twice", _rewritten(
        _ZIP, _doubled), "not where they should be|overlap"),
    Broken("rotten.exr", "bytes changed in a deflate stream", _rewritten(_ZIP, _rotten),
           "cannot be decoded"),
    Broken("crashing.exr", "a number that crashes the decoder",
           _rewritten(exr(planes(_RGB), "LJ2K"), _crashing), "cannot be decoded"),
    *(
        Broken(f"without_{name}.exr", "a required attribute is missing", _without(name),
               f"{name} is missing")
        for name in ("channels", "compression", "dataWindow", "displayWindow", "lineOrder",
                     "pixelAspectRatio", "screenWindowCenter", "screenWindowWidth")
    ),
    Broken("codec_99.exr", "unknown compression", _with("compression", "compression", b"\x63"),
           "unknown compression 99"),
    Broken("unsorted.exr", "channels out of order", edited(_ZIP, _unsorted), "sorted by name"),
    Broken("empty_window.exr", "an empty window", _window("dataWindow", 10, 0, 5, 5),
           "dataWindow of -4"),
    Broken("vast_window.exr", "a window of 2^31", _window(
        "dataWindow", -(2**31), -(2**31), 2**31 - 1, 2**31 - 1), "dataWindow of 4,294,967,296"),
    Broken("vast_display.exr", "a display window of 2^31", _window(
        "displayWindow", 0, 0, 2**31 - 1, 2**31 - 1), "displayWindow of 2,147,483,648"),
    Broken("far_window.exr", "a window 2^31 away", _window(
        "dataWindow", 2**31 - 100, 0, 2**31 - 47, HEIGHT - 1), "begins at"),
    Broken("bomb_dwab.exr", "3 GB in a few bytes", _bomb(9, 65536, 4096), "from so few"),
    Broken("bomb_zstd.exr", "3 GB in a few bytes, by rows", _bomb(13, 65536, 4096), "from so few"),
    Broken("flat_primaries.exr", "primaries on a line", exr(
        planes(_RGB), chromaticities=(0.1, 0.1, 0.2, 0.2, 0.3, 0.3, 0.3127, 0.329)),
        "chromaticities 0.1 0.1 .* span no colour space"),
    Broken("black_white.exr", "a white without luminance", exr(
        planes(_RGB), chromaticities=(0.64, 0.33, 0.3, 0.6, 0.15, 0.06, 0.3127, 0.0)),
        "span no colour space"),
    Broken("nan_primaries.exr", "primaries that are no numbers", exr(
        planes(_RGB), chromaticities=(float("nan"), 0.33, 0.3, 0.6, 0.15, 0.06, 0.31, 0.33)),
        "span no colour space"),
    Broken("encoded.exr", "the file says sRGB", exr(
        planes(_RGB), colorInteropID="srgb_rec709_scene"), "display-encoded: colorInteropID"),
    Broken("cut.hdr", "Radiance, cut", _cut(hdr(_RGB), -1), "ends in scan line|last scan line"),
    Broken("half.hdr", "Radiance, half of it", _cut(hdr(_RGB), 0.5), "the file ends in scan line"),
    Broken("cut_flat.hdr", "Radiance, not coded, cut", _cut(hdr(_RGB, run_length=False), -1),
           "bytes of pixels"),
    Broken("short.hdr", "Radiance, rows left out of its size",
           hdr(_RGB, size=f"-Y {HEIGHT - 1} +X {WIDTH}"), "after the last scan line"),
    Broken("vast.hdr", "Radiance, vast", hdr(_RGB, size="-Y 999999999 +X 999999999"), "a size of"),
    Broken("exposure_0.hdr", "Radiance, exposure 0", hdr(_RGB, "EXPOSURE=0"), "EXPOSURE=0"),
    *(Broken(f"many_{key.lower()}_{number}.hdr", "Radiance, a product of header numbers too far",
             hdr(_RGB, *[f"{key}={number}"] * 20), f"{key}={number}")
      for key in ("EXPOSURE", "PIXASPECT") for number in ("1e-17", "1e17")),
    Broken("cut.tif", "TIFF, cut", _cut(tif(_RGB, rowsperstrip=8), 0.7), "missing|does not read"),
    Broken("cut_zip.tif", "TIFF, deflate, cut",
           _cut(tif(_RGB, rowsperstrip=8, compression="zlib"), -20), "missing|does not read"),
    Broken("8_bit.tif", "TIFF of 8-bit integers", tif(np.zeros((8, 8, 3), np.uint8)),
           "8-bit integers, which are display-encoded"),
    Broken("16_bit.tif", "TIFF of 16-bit integers", tif(np.zeros((8, 8, 3), np.uint16)),
           "16-bit integers"),
    Broken("cut.pfm", "PFM, cut", _cut(pfm(_RGB, "-1", "<"), -1), "by its header"),
    Broken("longer.pfm", "PFM with bytes behind", _rewritten(
        pfm(_RGB, "-1", "<"), lambda data: data + b"x"), "by its header"),
    Broken("scale.pfm", "PFM of scale 0", pfm(_RGB, "0", "<"), "scale factor"),
    Broken("vast.pfm", "PFM, vast", _bytes(b"PF\n999999999 999999999\n-1\n"), "a size of"),
)  # fmt: skip
