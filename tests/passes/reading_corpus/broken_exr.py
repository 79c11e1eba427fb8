"""OpenEXR files that must be refused, and files called so, each with the words that say why."""

from __future__ import annotations

import struct
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from evenfall.passes import Selector
from reading_corpus.case import HEIGHT, WIDTH, Broken, light, planes
from reading_corpus.exr_bytes import (
    MAGIC,
    MULTIPART,
    TILED,
    ExrBytes,
    header_bytes,
    plain_exr,
    window,
)
from reading_corpus.sound_exr import (
    CODECS,
    changed,
    edited,
    exr,
    mip_mapped,
    parts,
    table_changed,
    tiled,
)

Writer = Callable[[Path], object]

LAST_ROWS = HEIGHT % 16
"""Rows in the last chunk of a ZIP file."""

_RGB = light(1)
_ZIP = exr(planes(_RGB))
_PLAIN = exr(planes(_RGB), "NO")


def of_bytes(data: bytes) -> Writer:
    return lambda path: path.write_bytes(data)


def cut(write: Writer, keep: float | int) -> Writer:
    """Return a writer of a cut file: a share of its bytes, or all but some at the end."""
    return changed(
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

    return changed(write, change)


def _half_written(data: bytes) -> bytes:
    """A table of zeros, and only some of the chunks behind it."""
    apart = ExrBytes.of(data)
    return apart.join([0] * len(apart.chunks))[: -len(apart.chunks[-1])]


def _zero_table_doubled(data: bytes) -> bytes:
    apart = ExrBytes.of(data)
    apart.chunks[2] = apart.chunks[0]
    return apart.join([0] * len(apart.chunks))


def _zero_and_wrong(table: list[int]) -> None:
    table[0], table[1] = 0, table[2]


def _shorter_tiles(data: bytes) -> bytes:
    """Leave the last row of tiles out of window and table, as a careless tool would."""
    apart = ExrBytes.of(data)
    apart.attributes["dataWindow"] = window(0, 0, WIDTH - 1, 23)
    lost = apart.chunks[4:]
    del apart.chunks[4:]
    return apart.join() + b"".join(lost)


def _stretched(apart: ExrBytes) -> None:
    apart.chunks[0] = apart.chunks[0] + b"\0" * 7


def _halved_rows(apart: ExrBytes) -> None:
    """Let the first channel have every second row only."""
    kind, listed = apart.attributes["channels"]
    end = listed.index(b"\0") + 1 + 16
    apart.attributes["channels"] = kind, listed[: end - 4] + struct.pack("<i", 2) + listed[end:]


def _emptied_last_level(chunks: list[bytes]) -> None:
    """Leave the smallest picture of a mip map without data; a tile's leader is five numbers."""
    chunks[-1] = chunks[-1][:16] + struct.pack("<i", 0)


def _between_blocks(data: bytes) -> bytes:
    """No table, and a chunk that begins a row too low."""
    apart = ExrBytes.of(data)
    apart.chunks[0] = struct.pack("<i", 1) + apart.chunks[0][4:]
    return apart.join([0] * len(apart.chunks))


def _three_bytes(chunks: list[bytes]) -> None:
    chunks[0] = chunks[0][:4] + struct.pack("<i", 3) + chunks[0][8:11]


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
    return of_bytes(apart.join())


def _exchanged_tables(table: list[int]) -> None:
    """Let each of two parts find its chunks where those of the other are."""
    table[:3], table[3:] = table[3:], table[:3]


def _named_alike(data: bytes) -> bytes:
    return data.replace(b"two", b"one")


def _with_chunk_count(data: bytes) -> bytes:
    """Claim a chunk more of the first part."""
    name = b"chunkCount\0int\0"
    at = data.index(name) + len(name) + 4
    return data[:at] + struct.pack("<i", 4) + data[at + 4 :]


def _attribute_twice(data: bytes) -> bytes:
    twice = b"lineOrder\0lineOrder\0" + struct.pack("<i", 1) + b"\0"
    at = data.index(b"lineOrder\0")
    return data[:at] + twice + data[at:]


def _channel_twice(apart: ExrBytes) -> None:
    kind, listed = apart.attributes["channels"]
    apart.attributes["channels"] = (kind, listed.replace(b"B\0", b"G\0", 1))


def _overlapping(data: bytes) -> bytes:
    """Bytes of a chunk that reach into the next one, of a codec that does not mind."""
    apart = ExrBytes.of(data)
    y, size = struct.unpack_from("<ii", apart.chunks[0])
    apart.chunks[0] = struct.pack("<ii", y, size + 5) + apart.chunks[0][8:]
    return apart.join()


def _flags(version: int) -> Callable[[bytes], bytes]:
    return lambda data: data[:4] + struct.pack("<I", version) + data[8:]


def _long_name(data: bytes) -> bytes:
    return data.replace(b"channels\0", b"c" * 32 + b"\0", 1)


def _greedy_attribute(data: bytes) -> bytes:
    at = data.index(b"chlist\0") + 7
    return data[:at] + struct.pack("<i", 1 << 30) + data[at + 4 :]


def _endless_header(path: Path) -> None:
    """Attributes that go on and on, and none of them required."""
    one = b"a%04d\0int\0" + struct.pack("<i", 4) + bytes(4)
    listed = b"".join(one.replace(b"%04d", b"%04d" % number) for number in range(4200))
    path.write_bytes(MAGIC + struct.pack("<I", 2) + listed)


def _many_parts(path: Path) -> None:
    header = ExrBytes.of(_written(_ZIP)).attributes
    header |= {"type": ("string", b"scanlineimage"), "chunkCount": ("int", struct.pack("<i", 3))}
    made = [header_bytes(header | {"name": ("string", b"p%d" % number)}) for number in range(1025)]
    path.write_bytes(MAGIC + struct.pack("<I", 2 | MULTIPART) + b"".join(made) + b"\0")


def _written(write: Writer) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "file"
        write(path)
        return path.read_bytes()


def _raw_by_chance(path: Path) -> None:
    """A JPEG 2000 chunk that is as long as the pixels of a window a row less would be."""
    dark_below = _RGB * (np.arange(HEIGHT) < 32)[:, None, None]
    apart = ExrBytes.of(_written(exr(planes(dark_below, "f4"), "HTJ2K32")))
    row, rows = 4 * 3 * WIDTH, HEIGHT - 32
    chunk = apart.chunks[-1]
    chunk = chunk[:4] + struct.pack("<i", row * (rows - 1)) + chunk[8:]
    apart.chunks[-1] = chunk + bytes(8 + row * (rows - 1) - len(chunk))
    apart.attributes["dataWindow"] = window(0, 0, WIDTH - 1, HEIGHT - 2)
    path.write_bytes(apart.join())


def _stream_as_pixels(codec: str) -> Writer:
    """Return a writer of a chunk whose window was changed to the size of its coded pixels."""
    rows = 1 if codec in ("ZIPS", "ZSTD") else 16

    def write(path: Path) -> None:
        for columns in range(200, 300):
            grey = light(1, rows, columns)[..., 0].astype(np.float16)
            apart = ExrBytes.of(_written(exr({"Y": grey}, codec)))
            coded = len(apart.chunks[0]) - 8
            if coded % 2 == 0 and coded < grey.nbytes:
                apart.attributes["dataWindow"] = window(0, 0, coded // 2 - 1, 0)
                path.write_bytes(apart.join())
                return
        raise AssertionError(f"no {codec} stream is as long as a row of halves")

    return write


def _wide(write: Writer, columns: int = 1, rows: int = 0) -> Writer:
    """Return a writer whose data window is larger than what was stored, or smaller."""
    corners = window(0, 0, WIDTH - 1 + columns, HEIGHT - 1 + rows)
    return edited(write, lambda apart: apart.attributes.__setitem__("dataWindow", corners))


_TWO_PARTS = parts(({"name": "one"}, planes(light(7))), ({"name": "two"}, planes(light(8))))
_THREE_PARTS = parts(
    *(({"name": name}, planes(light(index))) for index, name in enumerate(("sky", "sun", "fill")))
)

BROKEN_EXR: tuple[Broken, ...] = (
    Broken("empty.exr", "an empty file", of_bytes(b""), "is empty"),
    Broken("png.exr", "a PNG renamed", _png, "is a PNG: display-encoded"),
    Broken("picture.jpg", "a JPEG", _jpeg, "is a JPEG: display-encoded"),
    Broken("text.exr", "a text", of_bytes(b"hello there, render farm"), "not a picture of a known"),
    Broken(
        "magic.exr", "four bytes of an EXR", of_bytes(b"\x76\x2f\x31\x01"), "ends inside the header"
    ),
    Broken(
        "future.exr",
        "another version",
        changed(_ZIP, lambda data: data[:4] + b"\3" + data[5:]),
        "unknown version field",
    ),
    Broken("deep.exr", "a deep image", _deep, "deep image"),
    Broken(
        "depth_only.exr",
        "no light at all",
        exr({"Z": planes(_RGB)["R"], "N.X": planes(_RGB)["R"]}),
        "holds no picture.*N.X, Z",
    ),
    *(
        Broken(
            f"cut_{codec.lower()}_{keep}.exr",
            f"{codec} cut",
            cut(exr(planes(_RGB), codec), keep),
            "ends|beyond the end|chunk",
        )
        for codec in CODECS
        for keep in (-1, 0.6)
    ),
    *(
        Broken(
            f"cut_parts_{keep}.exr",
            "many parts, cut",
            cut(_THREE_PARTS, keep),
            "ends|beyond the end|chunk",
            Selector(part="fill"),
        )
        for keep in (-1, 0.3, 0.9)
    ),
    Broken("cut_tiles.exr", "tiles, cut", cut(tiled(_RGB), -1), "ends|beyond the end"),
    Broken("cut_header.exr", "cut in the header", cut(_ZIP, 100), "ends inside the header"),
    Broken("cut_table.exr", "cut in the table", changed(_ZIP, _cut_in_table), "inside its table"),
    Broken(
        "zero_table.exr",
        "a renderer stopped",
        changed(_ZIP, _half_written),
        "3 of 3 chunks were never written",
    ),
    Broken(
        "zero_table_doubled.exr",
        "no table, a chunk twice and one not",
        changed(_ZIP, _zero_table_doubled),
        "3 of 3 chunks were never written",
    ),
    Broken(
        "zero_and_wrong.exr",
        "a table of which one entry is 0 and one another's",
        table_changed(_ZIP, 3, _zero_and_wrong),
        "1 of 3 chunks was never written",
    ),
    Broken(
        "far_table_cut.exr",
        "a table that leads behind the end of a cut file",
        cut(_ZIP, 0.6),
        "2 of 3 chunks are missing|1 of 3 chunks is missing",
    ),
    Broken("short_window.exr", "rows left out of the window", _shorter(_ZIP), "belong to no chunk"),
    Broken(
        "short_table.exr",
        "rows left out of window and table",
        _shorter_table(_ZIP),
        "behind its last chunk, at .*, is another of its chunks",
    ),
    Broken(
        "short_tiles.exr",
        "tiles left out of window and table",
        changed(tiled(_RGB), _shorter_tiles),
        "behind its last chunk, at .*, is another of its chunks",
    ),
    Broken(
        "narrow_window.exr",
        "columns left out of the window",
        _with("dataWindow", *window(0, 0, WIDTH - 9, HEIGHT - 1), write=_PLAIN),
        "chunk 0 has",
    ),
    Broken(
        "subsampled_tiles.exr",
        "subsampled channels in tiles",
        edited(tiled(light(1, 48, 48)), _halved_rows),
        "subsampled channels in tiles",
    ),
    Broken(
        "empty_level.exr",
        "a level of a mip map without data",
        _chunks(_emptied_last_level, mip_mapped(_RGB)),
        "1 chunk is empty",
    ),
    Broken(
        "between_blocks.exr",
        "no table, and a chunk that begins between two blocks of rows",
        changed(_ZIP, _between_blocks),
        "3 of 3 chunks were never written",
    ),
    # Deflate makes at most 1,032 of a byte (zlib, technical details): 16 rows here need 6.
    Broken(
        "three_bytes.exr", "a chunk of three bytes", _chunks(_three_bytes), "chunk 0 has 3 bytes"
    ),
    Broken(
        "lost_chunk.exr",
        "a chunk removed",
        _chunks(lambda chunks: chunks.pop(1)),
        "no chunk|beyond the end|never|where",
    ),
    Broken(
        "swapped_chunks.exr",
        "chunks in each other's place",
        _chunks(lambda chunks: chunks.insert(0, chunks.pop())),
        "not where they should be",
    ),
    Broken(
        "swapped_rows.exr",
        "rows in each other's place",
        _chunks(_swapped_leaders),
        "not where they should be",
    ),
    Broken("stretched.exr", "a gap between chunks", edited(_ZIP, _stretched), "belong to no chunk"),
    Broken(
        "doubled_offset.exr",
        "one chunk twice",
        changed(_ZIP, _doubled),
        "not where they should be|overlap",
    ),
    Broken(
        "rotten.exr",
        "bytes changed in a deflate stream",
        changed(_ZIP, _rotten),
        "cannot be decoded",
        by_pixels=True,
    ),
    Broken(
        "crashing.exr",
        "a number that crashes the decoder",
        changed(exr(planes(_RGB), "LJ2K"), _crashing),
        "cannot be decoded",
        by_pixels=True,
    ),
    *(
        Broken(
            f"without_{name}.exr",
            "a required attribute is missing",
            _without(name),
            f"{name} is missing",
        )
        for name in (
            "channels",
            "compression",
            "dataWindow",
            "displayWindow",
            "lineOrder",
            "pixelAspectRatio",
            "screenWindowCenter",
            "screenWindowWidth",
        )
    ),
    Broken(
        "exchanged_tables.exr",
        "two parts with each other's chunks",
        table_changed(_TWO_PARTS, 6, _exchanged_tables),
        "a chunk belongs to another part",
        Selector(part="one"),
    ),
    Broken(
        "named_alike.exr",
        "two parts of one name",
        changed(_TWO_PARTS, _named_alike),
        "two parts have the same name",
        Selector(part="one"),
    ),
    Broken(
        "chunk_count.exr",
        "a count of chunks that is wrong",
        changed(_TWO_PARTS, _with_chunk_count),
        "chunkCount 4; expected 3",
        Selector(part="two"),
    ),
    Broken("many_parts.exr", "over a thousand parts", _many_parts, "more than 1024 parts"),
    Broken(
        "no_part.exr",
        "a file of many parts without one",
        of_bytes(MAGIC + struct.pack("<I", 2 | MULTIPART) + bytes(8)),
        "no part at all",
    ),
    Broken(
        "tiled_and_parts.exr",
        "flags that exclude each other",
        changed(_ZIP, _flags(2 | TILED | MULTIPART)),
        "both single tiled and multi-part",
    ),
    Broken(
        "unknown_flag.exr",
        "a flag that nobody knows",
        changed(_ZIP, _flags(2 | 0x4000)),
        "unknown version field 0x4002",
    ),
    Broken(
        "attribute_twice.exr",
        "an attribute twice",
        changed(_ZIP, _attribute_twice),
        "attribute 'lineOrder' comes twice",
    ),
    Broken(
        "endless_header.exr",
        "thousands of attributes",
        _endless_header,
        "more than 4,096 attributes",
    ),
    Broken(
        "greedy_attribute.exr",
        "an attribute larger than the file",
        changed(_ZIP, _greedy_attribute),
        "claims 1,073,741,824 bytes",
    ),
    Broken(
        "long_name.exr",
        "a long name in a file of short ones",
        changed(_ZIP, _long_name),
        "a name of more than 31 bytes",
    ),
    Broken(
        "channel_twice.exr",
        "a channel twice",
        edited(_ZIP, _channel_twice),
        "channel 'G' comes after 'G'",
    ),
    Broken(
        "no_end_of_channels.exr",
        "a list of channels without its end",
        _with("channels", "chlist", b"R\0" + struct.pack("<iIii", 1, 0, 1, 1)),
        "has no end",
    ),
    Broken(
        "cut_channels.exr",
        "a list of channels that is cut",
        _with("channels", "chlist", b"R\0" + bytes(5)),
        "the list of channels is cut",
    ),
    Broken(
        "no_channel.exr",
        "a list of no channels",
        _with("channels", "chlist", b"\0"),
        "the list of channels is empty",
    ),
    Broken(
        "channel_of_bytes.exr",
        "a channel whose name is no text",
        _with("channels", "chlist", b"\xff\0" + struct.pack("<iIii", 1, 0, 1, 1) + b"\0"),
        "is no text",
    ),
    Broken(
        "channel_type.exr",
        "a channel of an unknown type",
        _with("channels", "chlist", b"Y\0" + struct.pack("<iIii", 3, 0, 1, 1) + b"\0"),
        "unknown pixel type 3",
    ),
    Broken(
        "channel_step.exr",
        "a channel sampled in steps that do not fit",
        _with("channels", "chlist", b"Y\0" + struct.pack("<iIii", 1, 0, 4, 1) + b"\0"),
        "sampled every 4 x 1 pixels",
    ),
    Broken(
        "line_order.exr",
        "an unknown line order",
        _with("lineOrder", "lineOrder", b"\3"),
        "unknown line order 3",
    ),
    Broken(
        "wrong_kind.exr",
        "a required attribute of another kind",
        _with("lineOrder", "compression", b"\0"),
        "attribute 'lineOrder' is 'compression'",
    ),
    Broken(
        "aspect_0.exr",
        "pixels without width",
        _with("pixelAspectRatio", "float", struct.pack("<f", 1e-7)),
        "pixelAspectRatio 1e-07",
    ),
    Broken(
        "wide_aspect.exr",
        "pixels that are absurdly wide",
        _with("pixelAspectRatio", "float", struct.pack("<f", 2e6)),
        "pixelAspectRatio 2e+06".replace("+", r"\+"),
    ),
    Broken(
        "long_aspect.exr",
        "an attribute of the right kind and the wrong size",
        _with("pixelAspectRatio", "float", struct.pack("<2f", 1, 1)),
        "attribute 'pixelAspectRatio' is 'float' of 8 bytes",
    ),
    Broken(
        "tile_rounding.exr",
        "levels of tiles that are rounded in no known way",
        edited(
            tiled(_RGB),
            lambda apart: apart.attributes.__setitem__(
                "tiles", ("tiledesc", struct.pack("<IIB", 16, 24, 0x20))
            ),
        ),
        "unknown level mode 32",
    ),
    Broken(
        "aspect_nan.exr",
        "a pixel aspect that is no number",
        _with("pixelAspectRatio", "float", struct.pack("<f", float("nan"))),
        "pixelAspectRatio nan",
    ),
    Broken(
        "overlapping.exr",
        "chunks that reach into each other",
        changed(exr(planes(_RGB), "ZIPS"), _overlapping),
        "chunks overlap",
    ),
    Broken(
        "no_tiles.exr",
        "tiles that are not described",
        edited(tiled(_RGB), lambda apart: apart.attributes.pop("tiles")),
        "without a description of its tiles",
    ),
    Broken(
        "vast_tiles.exr",
        "vast tiles",
        _with("tiles", "tiledesc", struct.pack("<IIB", 1 << 20, 8, 0), write=tiled(_RGB)),
        "tiles of 1,048,576",
    ),
    Broken(
        "level_mode.exr",
        "tiles of levels of an unknown kind",
        _with("tiles", "tiledesc", struct.pack("<IIB", 16, 24, 3), write=tiled(_RGB)),
        "unknown level mode 3",
    ),
    Broken(
        "part_type.exr",
        "a part of an unknown type",
        changed(_TWO_PARTS, lambda data: data.replace(b"scanlineimage", b"scanlineimagf")),
        "part of unknown type 'scanlineimagf'",
        Selector(part="one"),
    ),
    Broken(
        "red_and_green.exr",
        "a colour left out",
        exr({name: planes(_RGB)[name] for name in "RG"}),
        "its channels are G, R: B is missing",
    ),
    *(
        Broken(
            f"wide_{codec.lower()}_{columns}_{rows}.exr",
            "a window larger than what was stored",
            _wide(exr(planes(_RGB), codec), columns, rows),
            says,
            by_pixels=True,
        )
        for codec, says in (
            ("PIZ", "holds fewer than|cannot be decoded"),
            ("LJ2K", "holds an image of"),
            ("B44A", "bytes instead of"),
            ("PXR24", "holds other than"),
            ("ZIP", "cannot be decoded|bytes;"),
        )
        for columns, rows in ((3, 0), (WIDTH, 0), (0, 6))
    ),
    Broken(
        "narrow_b44a.exr",
        "columns left out, of a codec of blocks",
        _wide(exr(planes(_RGB), "B44A"), -4),
        "bytes instead of",
        by_pixels=True,
    ),
    Broken(
        "narrow_lj2k.exr",
        "a column left out, of a codec that pads",
        _wide(exr(planes(_RGB), "LJ2K"), -1),
        "holds an image of 54 x 38 instead of 53 x 38",
        by_pixels=True,
    ),
    Broken(
        "raw_by_chance.exr",
        "coded pixels that could be taken for bare ones",
        _raw_by_chance,
        r"chunk 1 is as long as its pixels, but holds them compressed \(htj2k32\)",
        by_pixels=True,
    ),
    *(
        Broken(
            f"stream_as_pixels_{codec.lower()}.exr",
            f"a {codec} chunk that is just as long as the pixels of a changed window",
            _stream_as_pixels(codec),
            "chunk 0 is as long as its pixels, but holds them compressed",
            by_pixels=True,
        )
        for codec in ("ZIPS", "ZIP", "PIZ", "PXR24", "DWAA", "DWAB", "ZSTD")
    ),
    Broken(
        "codec_99.exr",
        "unknown compression",
        _with("compression", "compression", b"\x63"),
        "unknown compression 99",
    ),
    Broken("unsorted.exr", "channels out of order", edited(_ZIP, _unsorted), "sorted by name"),
    Broken(
        "empty_window.exr",
        "an empty window",
        _window("dataWindow", 10, 0, 5, 5),
        "dataWindow of -4",
    ),
    Broken(
        "vast_window.exr",
        "a window of 2^31",
        _window("dataWindow", -(2**31), -(2**31), 2**31 - 1, 2**31 - 1),
        "dataWindow of 4,294,967,296",
    ),
    Broken(
        "vast_display.exr",
        "a display window of 2^31",
        _window("displayWindow", 0, 0, 2**31 - 1, 2**31 - 1),
        "displayWindow of 2,147,483,648",
    ),
    Broken(
        "far_window.exr",
        "a window 2^31 away",
        _window("dataWindow", 2**31 - 100, 0, 2**31 - 47, HEIGHT - 1),
        "begins at",
    ),
    Broken(
        "bomb_dwab.exr", "3 GB in a few bytes", _bomb(9, 65536, 4096), "from so few", by_pixels=True
    ),
    Broken(
        "bomb_zstd.exr",
        "3 GB in a few bytes, by rows",
        _bomb(13, 65536, 4096),
        "from so few",
        by_pixels=True,
    ),
    Broken(
        "flat_primaries.exr",
        "primaries on a line",
        exr(planes(_RGB), chromaticities=(0.1, 0.1, 0.2, 0.2, 0.3, 0.3, 0.3127, 0.329)),
        "chromaticities 0.1 0.1 .* span no colour space",
    ),
    Broken(
        "black_white.exr",
        "a white without luminance",
        exr(planes(_RGB), chromaticities=(0.64, 0.33, 0.3, 0.6, 0.15, 0.06, 0.3127, 0.0)),
        "span no colour space",
    ),
    Broken(
        "nan_primaries.exr",
        "primaries that are no numbers",
        exr(planes(_RGB), chromaticities=(float("nan"), 0.33, 0.3, 0.6, 0.15, 0.06, 0.31, 0.33)),
        "span no colour space",
    ),
    Broken(
        "encoded.exr",
        "the file says sRGB",
        exr(planes(_RGB), colorInteropID="srgb_rec709_scene"),
        "display-encoded: colorInteropID",
        by_pixels=True,
    ),
)
