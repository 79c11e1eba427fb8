"""What a format's row says of it is what its module does."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from evenfall.deliver.finished import SceneLinear
from evenfall.deliver.formats import Display, codec, displays
from evenfall.deliver.png_pixels import Each
from evenfall.deliver.provenance import Provenance
from evenfall.light.primaries import ACESCG
from evenfall.recipe import Deliverable
from evenfall.recipe.formats import FORMATS, FormatName

RECORD = Provenance("villa.toml", "format = 1\n", "dusk", title="Villa")


class Asked:
    """A finished grey picture that notes what is asked of it."""

    each: Each = map
    provenance = RECORD
    dpi = 300.0

    def __init__(self, deliverable: Deliverable) -> None:
        self.deliverable = deliverable
        self.asked: list[str] = []

    def codes(self) -> np.ndarray:
        self.asked.append("display")
        dtype = np.uint8 if self.deliverable.bit_depth == 8 else np.uint16
        return np.full((24, 32, 3), 120, dtype)

    def hdr(self) -> np.ndarray:
        self.asked.append("hdr")
        return np.full((3, 24, 32), 0.5, np.float32)

    def scene_linear(self) -> SceneLinear:
        self.asked.append("scene-linear")
        planes = np.full((3, 24, 32), 70000, np.float32)
        return SceneLinear(planes, None, ACESCG.chromaticities, None)


KINDS = [(name, bits) for name, row in FORMATS.items() for bits in row.bits]


def test_every_name_has_a_row_and_every_row_a_name() -> None:
    assert tuple(FORMATS) == get_args(FormatName)


@pytest.mark.parametrize(("name", "bits"), KINDS)
def test_a_format_keeps_to_its_row(name: FormatName, bits: int) -> None:
    """It asks for the pixels its row names, ends in the signature there, and gives its record."""
    finished = Asked(Deliverable(format=name, bits=bits))
    encoded = codec(name).encode(finished)
    row = FORMATS[name]
    assert sorted(finished.asked) == sorted(row.shows)
    assert any(encoded.data.startswith(sign, place) for place, sign in row.signatures)
    assert codec(name).find_record(encoded.data) == RECORD
    assert set(row.keys) <= set(Deliverable.model_fields)
    assert ("space" in row.keys) == (not row.fixed_space)


def test_notes_are_given_for_what_a_file_could_not_hold() -> None:
    """70,000 in three channels of 24 x 32 pixels is beyond binary16, whose largest is 65,504."""
    half = codec("exr").encode(Asked(Deliverable(format="exr", bits=16)))
    whole = codec("exr").encode(Asked(Deliverable(format="exr", bits=32)))
    (note,) = half.notes
    assert note.startswith("2,304 values beyond half range")
    assert whole.notes == ()


def test_displays_that_a_file_is_finished_for() -> None:
    """Diffuse white is 203 cd/m2 in HDR (ITU-R BT.2408): a peak of 812 is four times that."""
    assert displays(Deliverable(format="exr")) == {}
    assert displays(Deliverable(format="avif", peak_nits=812)) == {"hdr": Display("Display P3", 4)}
    assert displays(Deliverable(format="gain-map jpeg", space="BT.709", peak_nits=406)) == {
        "display": Display("BT.709"),
        "hdr": Display("BT.709", 2),
    }
