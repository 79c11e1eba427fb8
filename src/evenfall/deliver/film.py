"""Films: MP4 of H.264, HEVC or AV1, for ordinary displays and for HDR; moving AVIF and WebP.

A film is made in two steps. `encode` gives a frame as it waits to be put into one: codes of red,
green and blue, and what the film must know of it. `join` puts frames into a film, one after the
other, so that only one is in memory.

Ordinary films are encoded for the reference display of BT.1886 and carry the tags of BT.709; HDR
films are BT.2020 with PQ or HLG (BT.2100), in limited range. Luminance and colour differences are
worked out here, after the standards' own weights; colour is sampled at half the resolution, where
decoders expect it: on the left of each pair of columns, in the middle of each pair of rows.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.deliver.finished import Encoded, Finished
from evenfall.deliver.formats import displays
from evenfall.deliver.icc import icc_profile
from evenfall.deliver.provenance import Provenance, record_from_xmp, xmp_packet
from evenfall.errors import OutputError
from evenfall.light.code_points import (
    MATRIX_BT709,
    MATRIX_BT2020,
    TRANSFER_BT709,
    TRANSFER_HLG,
    TRANSFER_PQ,
    TRANSFER_SRGB,
    primaries_code,
)
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import BT709, BT2020, conversion_matrix
from evenfall.light.transfer import encode_hlg, encode_pq
from evenfall.light.units import REFERENCE_WHITE_NITS
from evenfall.recipe import Deliverable
from evenfall.system.partials import temporary_folder

__all__ = ["FilmFrame", "encode", "find_record", "join", "read_frame", "require_encoder"]

_NOMINAL = 0.005  # 23.976 stands for 24000/1001
_AV1_LEAST = 64  # pixels a side that the encoder takes
_MAGIC = b"evenfall frame 1\n"
_XMP_FROM, _XMP_TO = b"<x:xmpmeta", b"</x:xmpmeta>"
_WEIGHTS = {MATRIX_BT709: (0.2126, 0.0722), MATRIX_BT2020: (0.2627, 0.0593)}
"""Of red and blue (ITU-R BT.709-6, item 3.2; BT.2020-2, table 4)."""

_P3_D65 = "G(13250,34500)B(7500,3000)R(34000,16000)WP(15635,16450)"
"""Chromaticities of the mastering display in steps of 0.00002 (SMPTE ST 2086), P3 D65."""

Codes = npt.NDArray[Any]


@dataclass(frozen=True, eq=False)
class FilmFrame:
    """A frame that waits to be put into a film.

    Parameters
    ----------
    codes : ndarray, shape (H, W, 3), uint8 or uint16
        Full range, in the film's primaries and transfer.
    light_level : tuple of int
        Largest and mean luminance of a pixel's brightest channel in cd/m2; 0, 0 without HDR.
    """

    codes: Codes
    light_level: tuple[int, int]


def encode(finished: Finished) -> Encoded:
    """Give a frame as it waits for its film."""
    asked, level = finished.deliverable, (0, 0)
    if asked.row.shows == ("hdr",):
        codes, level = _hdr_codes(finished)
    else:
        codes = finished.codes()
    height, width = codes.shape[:2]
    facts = {
        "width": width,
        "height": height,
        "dtype": codes.dtype.str,
        "light_level": level,
    }
    head = _MAGIC + json.dumps(facts).encode() + b"\n"
    return Encoded(head + np.ascontiguousarray(codes).tobytes())


def read_frame(path: Path) -> FilmFrame:
    """Read a frame that waits.

    Raises
    ------
    OutputError
        When it is damaged or gone.
    """
    try:
        with path.open("rb") as stream:
            if stream.readline() != _MAGIC:
                raise ValueError
            facts = json.loads(stream.readline())
            shape = facts["height"], facts["width"], 3
            codes = np.frombuffer(stream.read(), facts["dtype"]).reshape(shape)
    except (OSError, ValueError, KeyError):
        raise OutputError(f"{path.name} cannot be put into a film: it is damaged") from None
    level = facts["light_level"]
    return FilmFrame(codes, (level[0], level[1]))


def require_encoder(deliverable: Deliverable) -> None:
    """See to it that a film can be encoded here.

    Raises
    ------
    OutputError
        When the extra 'film' is not installed.
    """
    if deliverable.format == "moving webp":
        return
    try:
        import av  # noqa: F401
    except ImportError:
        raise OutputError(
            "films need PyAV: install evenfall with its extra, pip install 'evenfall[film]'"
        ) from None


def join(
    deliverable: Deliverable, paths: Sequence[Path], rate: float, provenance: Provenance
) -> bytes:
    """Put frames into a film.

    Parameters
    ----------
    deliverable : Deliverable
        What it is to be.
    paths : sequence of Path
        Frames that wait, in order.
    rate : float
        Frames a second; 23.976, 29.97 and 59.94 stand for the exact fractions.
    provenance : Provenance
        Record to embed.

    Raises
    ------
    OutputError
        When the extra 'film' is not installed, or a frame cannot be read.
    """
    packet = xmp_packet(provenance)
    if deliverable.format == "moving webp":
        return _webp(deliverable, paths, rate, packet)
    require_encoder(deliverable)
    import av

    video = _video_of(deliverable)
    first = read_frame(paths[0])
    height, width = (side // 2 * 2 for side in first.codes.shape[:2])
    if video.encoder == "libsvtav1" and min(width, height) < _AV1_LEAST:
        raise OutputError(f"av1 takes pictures from {_AV1_LEAST} pixels a side")
    muxer = "avif" if deliverable.format == "moving avif" else "mp4"
    with temporary_folder("film") as folder:
        target = folder / f"film.{muxer}"
        with av.open(str(target), "w", format=muxer, options=_muxing(muxer)) as container:
            container.metadata["comment"] = packet.decode()
            stream: Any = container.add_stream(video.encoder, rate=exact_rate(rate))
            stream.width, stream.height = width, height
            stream.pix_fmt = "yuv420p10le" if video.bits == 10 else "yuv420p"
            _tag(stream.codec_context, video)
            stream.options = _options(deliverable, video, paths, rate)
            if video.encoder == "libx265":
                stream.codec_tag = "hvc1"
            for path in paths:
                planes = yuv420(read_frame(path).codes[:height, :width], video)
                frame = _video_frame(planes, video, stream.pix_fmt)
                for packet in stream.encode(frame):
                    container.mux(packet)
            for packet in stream.encode(None):
                container.mux(packet)
        return target.read_bytes()


def find_record(data: bytes) -> Provenance | None:
    """Record in a film, or None."""
    start = data.find(_XMP_FROM)
    end = data.find(_XMP_TO, start)
    return record_from_xmp(data[start : end + len(_XMP_TO)]) if start >= 0 and end > 0 else None


def exact_rate(rate: float) -> Fraction:
    """Frames a second as films count them.

    Examples
    --------
    >>> exact_rate(23.976), exact_rate(25)
    (Fraction(24000, 1001), Fraction(25, 1))
    """
    whole = round(rate)
    dropped = Fraction(whole * 1000, 1001)
    if whole != rate and abs(dropped - rate) < _NOMINAL:
        return dropped
    return Fraction(rate).limit_denominator(1001)


@dataclass(frozen=True)
class _Video:
    """How a film is encoded and tagged."""

    encoder: str
    bits: int
    primaries: int
    transfer: int
    matrix: int
    full_range: bool = False


def _video_of(deliverable: Deliverable) -> _Video:
    encoders = {"h264": "libx264", "hevc": "libx265", "av1": "libsvtav1"}
    bits = deliverable.bit_depth
    if deliverable.format == "hdr film":
        transfer = TRANSFER_PQ if deliverable.transfer == "pq" else TRANSFER_HLG
        encoder = encoders[deliverable.codec or "hevc"]
        return _Video(encoder, bits, primaries_code(BT2020) or 9, transfer, MATRIX_BT2020)
    of_709 = primaries_code(BT709) or 1
    if deliverable.format == "moving avif":
        return _Video("libsvtav1", bits, of_709, TRANSFER_SRGB, MATRIX_BT709, True)
    return _Video(encoders[deliverable.codec or "h264"], bits, of_709, TRANSFER_BT709, MATRIX_BT709)


def _tag(context: Any, video: _Video) -> None:
    context.color_primaries = video.primaries
    context.color_trc = video.transfer
    context.colorspace = video.matrix
    context.color_range = 2 if video.full_range else 1


def _muxing(muxer: str) -> dict[str, str]:
    return {"movflags": "+faststart"} if muxer == "mp4" else {"loop": "0"}


def _options(
    deliverable: Deliverable, video: _Video, paths: Sequence[Path], rate: float
) -> dict[str, str]:
    """Options of the encoder: a key frame every two seconds, quality, and light levels of HDR."""
    loss = 100 - deliverable.quality
    group = str(max(1, round(2 * rate)))
    level = ""
    if video.transfer == TRANSFER_PQ:
        levels = [read_frame(path).light_level for path in paths]
        level = f"{max(most for most, _ in levels)},{max(mean for _, mean in levels)}"
    peak = round(deliverable.peak_nits * 10_000)
    if video.encoder == "libx264":
        return {"crf": f"{8 + 0.45 * loss:.1f}", "g": group, "threads": "4", "preset": "medium"}
    if video.encoder == "libx265":
        said = ["log-level=error", "pools=4", "frame-threads=1", f"keyint={group}"]
        if level:
            said += ["hdr10=1", "repeat-headers=1", f"max-cll={level}"]
            said += [f"master-display={_P3_D65}L({peak},1)"]
        return {"crf": f"{8 + 0.45 * loss:.1f}", "x265-params": ":".join(said)}
    said = [f"keyint={group}"]
    if level:
        said += [f"content-light={level}", "mastering-display=" + _av1_display(deliverable)]
    return {"crf": f"{round(8 + 0.55 * loss)}", "preset": "8", "svtav1-params": ":".join(said)}


def _av1_display(deliverable: Deliverable) -> str:
    peak = deliverable.peak_nits
    return f"G(0.265,0.69)B(0.15,0.06)R(0.68,0.32)WP(0.3127,0.329)L({peak:g},0.0001)"


def yuv420(codes: Codes, video: _Video) -> list[Codes]:
    """Luminance at full size and two colour differences at half, as whole codes.

    Parameters
    ----------
    codes : ndarray, shape (H, W, 3), uint8 or uint16
        Full range; both sides even.
    video : _Video
        Matrix, range and bits.
    """
    top = 255.0 if codes.dtype == np.uint8 else 65535.0
    rgb = np.moveaxis(codes, -1, 0).astype(np.float32) / np.float32(top)
    red, blue = _WEIGHTS[video.matrix]
    luminance = red * rgb[0] + (1 - red - blue) * rgb[1] + blue * rgb[2]
    steps = 2 ** (video.bits - 8)
    if video.full_range:
        most = 2**video.bits - 1
        planes = [luminance * most]
        scale, middle = most, 128 * steps
    else:
        planes = [(219 * luminance + 16) * steps]
        scale, middle = 224 * steps, 128 * steps
    for channel, weight in ((2, blue), (0, red)):
        difference = _halved(rgb[channel] - luminance) / (2 * (1 - weight))
        planes.append(difference * scale + middle)
    dtype = np.uint8 if video.bits == 8 else np.uint16
    limit = 2**video.bits - 1
    return [np.clip(np.rint(plane), 0, limit).astype(dtype) for plane in planes]


def _halved(plane: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Every second column, weighted 1 2 1 over its neighbours, and the mean of pairs of rows."""
    wide = np.pad(plane, ((0, 0), (1, 0)), mode="edge")
    across = (wide[:, :-1:2] + 2 * wide[:, 1::2] + wide[:, 2::2]) / 4
    halved = np.asarray((across[::2] + across[1::2]) / 2, np.float32)
    return halved


def _video_frame(planes: Sequence[Codes], video: _Video, pixel_format: str) -> Any:
    import av

    height, width = planes[0].shape
    frame: Any = av.VideoFrame(width, height, pixel_format)
    for plane, target in zip(planes, frame.planes, strict=True):
        rows = np.frombuffer(memoryview(target), np.uint8).reshape(-1, target.line_size)
        source = np.ascontiguousarray(plane).view(np.uint8).reshape(plane.shape[0], -1)
        rows[: source.shape[0], : source.shape[1]] = source
    frame.colorspace = video.matrix
    frame.color_range = 2 if video.full_range else 1
    return frame


def _hdr_codes(finished: Finished) -> tuple[Codes, tuple[int, int]]:
    """Codes of 16 bits in BT.2020, and largest and mean light level."""
    asked = finished.deliverable
    primaries = output_space(displays(asked)["hdr"].space).rgb
    matrix = (conversion_matrix(primaries, BT2020) * REFERENCE_WHITE_NITS).astype(np.float32)
    nits = np.tensordot(matrix, finished.hdr(), axes=1)
    np.clip(np.nan_to_num(nits, copy=False), 0, np.float32(asked.peak_nits), out=nits)
    brightest = nits.max(axis=0)
    level = round(float(brightest.max())), round(float(brightest.mean(dtype=np.float64)))
    signal = encode_pq(nits) if asked.transfer == "pq" else encode_hlg(nits, asked.peak_nits)
    codes = (signal * np.float32(65535) + np.float32(0.5)).astype(np.uint16)
    return np.moveaxis(codes, 0, -1), level


def _webp(deliverable: Deliverable, paths: Sequence[Path], rate: float, packet: bytes) -> bytes:
    from PIL import Image

    def images() -> Iterator[Any]:
        for path in paths:
            yield Image.fromarray(read_frame(path).codes)

    frames, data = images(), io.BytesIO()
    first = next(frames)
    first.save(
        data,
        "WEBP",
        save_all=True,
        append_images=frames,
        duration=round(1000 / rate),
        loop=0,
        quality=deliverable.quality,
        lossless=deliverable.lossless,
        icc_profile=icc_profile("sRGB"),
        xmp=packet,
    )
    return data.getvalue()
