"""Records travel in every format and come back whole."""

from __future__ import annotations

import dataclasses
import io
import json
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evenfall.deliver.avif import encode_avif
from evenfall.deliver.exr import encode_exr
from evenfall.deliver.gain_map import encode_gain_map_jpeg
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.deliver.png import encode_png
from evenfall.deliver.provenance import Provenance, record_from_xmp, xmp_packet
from evenfall.deliver.tiff import encode_tiff
from evenfall.deliver.webp import encode_webp
from evenfall.errors import PixelSourceError
from evenfall.light.primaries import BT709
from evenfall.passes.side.segments import jpeg_segments
from evenfall.record.read_record import read_provenance

RECORD = Provenance(
    recipe="villa.toml",
    recipe_text='format = 1\n# "dusk" <&> ]]> \u00e9 \U0001f319\n\ttab\r\n',
    mood="dusk",
    passes={"sun": "sha256:" + "0a" * 32, "p\u00e8ndants": "sha256:" + "1b" * 32},
    version="1.2.3",
    changes=("moods.dusk.lights.sun.stops=-1",),
    title="Haus am Hang <3>",
    author="A. & B. Author",
    copyright="\u00a9 2026 A. Author",
    description="Living room at dusk",
)
CODES = np.random.default_rng(1).integers(0, 256, (24, 32, 3), np.uint8)
LIGHT = np.moveaxis(CODES, -1, 0).astype(np.float32) / 128


def exr(record: Provenance) -> bytes:
    return encode_exr(LIGHT, provenance=record).data


WRITERS = {
    "png": lambda record: encode_png(CODES, provenance=record),
    "jpg": lambda record: encode_jpeg(CODES, provenance=record),
    "tif": lambda record: encode_tiff(CODES, provenance=record),
    "exr": exr,
    "avif": lambda record: encode_avif(LIGHT, primaries=BT709, provenance=record),
    "gain.jpg": lambda record: encode_gain_map_jpeg(CODES, LIGHT, provenance=record),
    "webp": lambda record: encode_webp(CODES, provenance=record),
}


@pytest.mark.parametrize("kind", WRITERS)
def test_record_comes_back(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"a.{kind}"
    path.write_bytes(WRITERS[kind](RECORD))
    assert read_provenance(path) == RECORD


@pytest.mark.parametrize("kind", WRITERS)
def test_a_recipe_of_any_size_comes_back(tmp_path: Path, kind: str) -> None:
    """A JPEG segment holds 64 kB; longer packets go on in extended ones (XMP part 3, 1.1.3.1)."""
    text = "\n".join(f"# line {number} of a long recipe \u00e9" for number in range(9000))
    record = dataclasses.replace(RECORD, recipe_text=text)
    path = tmp_path / f"a.{kind}"
    path.write_bytes(WRITERS[kind](record))
    assert len(text) > 250_000
    assert read_provenance(path) == record
    if "jpg" in kind:
        data = path.read_bytes()
        assert max(len(body) for _, body in jpeg_segments(data)) <= 65533
        with Image.open(io.BytesIO(data)) as opened:
            np.testing.assert_allclose(np.asarray(opened).mean(), CODES.mean(), atol=2)


@pytest.mark.parametrize("kind", WRITERS)
def test_a_file_without_a_record_has_none(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"a.{kind}"
    path.write_bytes(WRITERS[kind](None))
    assert read_provenance(path) is None


def test_packet_is_xml_with_dublin_core() -> None:
    """ISO 16684-1: title and rights are language alternatives, creator is a sequence."""
    root = ET.fromstring(xmp_packet(RECORD).decode().split("?>", 1)[1].rsplit("<?", 1)[0])
    rdf = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
    dublin = "{http://purl.org/dc/elements/1.1/}"
    (described,) = root.iter(f"{rdf}Description")
    assert described.find(f"{dublin}title/{rdf}Alt/{rdf}li").text == RECORD.title
    assert described.find(f"{dublin}creator/{rdf}Seq/{rdf}li").text == RECORD.author
    assert described.find(f"{dublin}rights/{rdf}Alt/{rdf}li").text == RECORD.copyright
    tool = described.find("{http://ns.adobe.com/xap/1.0/}CreatorTool")
    assert tool.text == "evenfall 1.2.3"


def test_text_that_xml_cannot_hold_survives_in_the_record() -> None:
    record = dataclasses.replace(RECORD, recipe_text="a\x00b\x1bc\ud800d\ufffe", title="x\x07y")
    packet = xmp_packet(record)
    ET.fromstring(packet.decode().split("?>", 1)[1].rsplit("<?", 1)[0])
    assert record_from_xmp(packet) == record


def test_a_record_of_a_later_version_still_reads() -> None:
    later = RECORD.to_json().replace('"mood"', '"weather": "clear", "mood"')
    assert Provenance.from_json(later) == RECORD


@pytest.mark.parametrize(
    "damage",
    [
        {"frames": 7}, {"frames": "x-3"}, {"frames": "9-3"}, {"frames": "1-99999999"},
        {"mood": None}, {"changes": 1}, {"changes": "ab"}, {"changes": [1]},
        {"passes": ["sun"]}, {"passes": {"sun": 1}}, {"draft": "yes"}, {"views": {}},
        {"views": [{"mood": "day"}]},
    ],
)  # fmt: skip
def test_a_record_with_something_of_another_kind_is_damaged(damage: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"of another kind|frames|backwards|lacks|no evenfall"):
        Provenance.from_json(json.dumps({**json.loads(RECORD.to_json()), **damage}))


def test_damage_and_other_files_are_said_clearly(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(WRITERS["png"](RECORD).replace(b'"evenfall_record"', b'"evenfall_rec#rd"'))
    with pytest.raises(PixelSourceError, match=r"a\.png: its record is damaged"):
        read_provenance(path)
    path.write_bytes(b"plain text")
    with pytest.raises(PixelSourceError, match="a file of another kind; a PNG, JPEG"):
        read_provenance(path)
    with pytest.raises(PixelSourceError, match="cannot be read: No such file"):
        read_provenance(tmp_path / "missing.png")
