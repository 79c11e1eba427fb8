"""Sound files of every habit give the light that was written; OpenImageIO is the second witness."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import OpenImageIO as oiio  # noqa: N813
import pytest
from reading_corpus import SOUND, Sound

from evenfall.passes import PassHeader, Selector, inspect, read

# OpenImageIO 3.2 cannot read these: no subsampling, no ZSTD in TIFF; the XYZ and PFM conventions
# differ (it leaves PFM rows as stored); it does not undo EXPOSURE, COLORCORR or the turning.
_NOT_FOR_OIIO = {
    "luminance_chroma.exr",
    "subsampled_blue.exr",
    "exposure.hdr",
    "deep_image_state.exr",
    "uint.exr",  # it scales integers to 0..1
    "mixed_types.exr",
}

cases = pytest.mark.parametrize("case", SOUND, ids=lambda case: case.file)


def _selector(header: PassHeader) -> Selector:
    return Selector(header.layer, header.part or None, header.view or None)


def _key(header: PassHeader) -> tuple[str, str, str]:
    return header.part, header.layer, header.view


@cases
def test_every_picture_of_a_file_is_listed(corpus: Path, case: Sound) -> None:
    headers = inspect(corpus / case.file)
    assert {_key(header) for header in headers} == set(case.truth)
    for header in headers:
        height, width, _ = case.truth[_key(header)].shape
        assert (header.width, header.height) == (width, height)
        found = {name: getattr(header, name) for name in case.facts}
        assert found == dict(case.facts)


@cases
def test_pixels_are_those_written(corpus: Path, case: Sound) -> None:
    headers = inspect(corpus / case.file)
    images = read(corpus / case.file, [_selector(header) for header in headers])
    for header, image in zip(headers, images, strict=True):
        assert image.header == header
        truth = case.truth[_key(header)]
        scale = float(np.abs(truth).max())
        np.testing.assert_allclose(image.rgb(), truth, rtol=0, atol=case.tolerance * scale)
        alpha = case.alpha.get(_key(header))
        assert (image.alpha is None) == (alpha is None)
        if alpha is not None:
            np.testing.assert_array_equal(image.alpha, alpha)


@cases
def test_planes_are_as_the_engine_wants_them(corpus: Path, case: Sound) -> None:
    headers = inspect(corpus / case.file)
    for image in read(corpus / case.file, [_selector(header) for header in headers]):
        channels = [*image.planes, *([] if image.alpha is None else [image.alpha])]
        assert all(plane.flags.c_contiguous for plane in channels)
        assert {plane.dtype for plane in image.planes} <= {np.dtype("f2"), np.dtype("f4")}
        assert len({plane.dtype for plane in image.planes}) == 1


def _oiio_pictures(path: Path) -> dict[tuple[str, ...], npt.NDArray[Any]]:
    """Channels of all parts by name, placed in the display window by OpenImageIO's own windows."""
    found: dict[tuple[str, ...], npt.NDArray[Any]] = {}
    first = oiio.ImageBuf(str(path))
    assert not first.has_error, first.geterror()
    for index in range(first.nsubimages):
        picture = oiio.ImageBuf(str(path), index, 0)
        whole = oiio.ImageBufAlgo.crop(picture, picture.roi_full)
        pixels = whole.get_pixels(oiio.FLOAT)
        spec = picture.spec()
        part = spec.getattribute("oiio:subimagename") or ""
        for channel, name in enumerate(spec.channelnames):
            found[part if first.nsubimages > 1 else "", name] = pixels[..., channel]
    return found


_WITNESSED = [
    case for case in SOUND if case.file.endswith(".exr") and case.file not in _NOT_FOR_OIIO
]


@pytest.mark.parametrize("case", _WITNESSED, ids=lambda case: case.file)
def test_openimageio_reads_the_same_from_exr(corpus: Path, case: Sound) -> None:
    witness = _oiio_pictures(corpus / case.file)
    for header in inspect(corpus / case.file):
        image = read(corpus / case.file, [_selector(header)])[0]
        colours = [name for name in header.channels if name.rpartition(".")[2].lower() != "a"]
        for plane, name in zip(image.planes, colours, strict=False):
            seen = witness[header.part if len({part for part, _ in witness}) > 1 else "", name]
            np.testing.assert_array_equal(plane.astype(np.float32), seen)


@pytest.mark.parametrize(
    "file",
    ["runs.hdr", "flat.hdr", "strips.tif", "half.tif", "double.tif", "big_endian.tif", "big.tif",
     "deflate_predictor.tif", "lzw.tif", "separate.tif", "grey.tif", "alpha.tif"],
)  # fmt: skip
def test_openimageio_reads_the_same_from_others(corpus: Path, file: str) -> None:
    seen = oiio.ImageBuf(str(corpus / file)).get_pixels(oiio.FLOAT)
    image = read(corpus / file)[0]
    np.testing.assert_array_equal(image.rgb()[..., : seen.shape[-1]], seen[..., :3])


def test_openimageio_writes_pfm_that_reads_the_same(tmp_path: Path) -> None:
    rgb = np.random.default_rng(3).random((7, 5, 3), np.float32)
    oiio.ImageBuf(rgb).write(str(tmp_path / "its.pfm"))
    np.testing.assert_array_equal(read(tmp_path / "its.pfm")[0].rgb(), rgb)


def test_pictures_of_one_part_can_be_read_together_in_any_order(corpus: Path) -> None:
    path = corpus / "all_lights_one_part.exr"
    sun, fill, again = read(path, [Selector("sun"), Selector("fill"), Selector("SUN")])
    case = next(case for case in SOUND if case.file == path.name)
    np.testing.assert_array_equal(sun.rgb(), case.truth["", "sun", ""])
    np.testing.assert_array_equal(fill.rgb(), case.truth["", "fill", ""])
    np.testing.assert_array_equal(again.rgb(), sun.rgb())


def test_decoder_threads_change_nothing(corpus: Path) -> None:
    one, two = (read(corpus / "codec_zips.exr", threads=threads)[0] for threads in (1, 2))
    for plane, same in zip(one.planes, two.planes, strict=True):
        np.testing.assert_array_equal(plane, same)
