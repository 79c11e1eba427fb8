"""Which files are frames of one pass, and which frame is surveyed; expectations by hand."""

from __future__ import annotations

import pytest

from evenfall.recipe import Passes
from evenfall.recipe.files import pass_file_name
from evenfall.survey.sequence import OneFrame, one_frame


def chosen(*files: str) -> OneFrame:
    return one_frame(sorted(files))


def test_the_frame_that_most_sequences_have_is_surveyed() -> None:
    found = chosen(
        *("sun.0001.exr", "sun.0002.exr", "sun.0003.exr"),
        *("sky.0002.exr", "sky.0003.exr"),
        *("lamp.0101.exr", "lamp.0102.exr"),
    )
    assert found.frame == 2
    assert found.files == ("lamp.0101.exr", "sky.0002.exr", "sun.0002.exr")
    assert found.names == {"sky.0002.exr": "sky.####.exr", "sun.0002.exr": "sun.####.exr"}
    assert "4 files are other frames of the same passes; frame 2 was surveyed" in found.notes[0]
    assert "no frame 2 of lamp.0101.exr" in found.notes[1]


@pytest.mark.parametrize(
    ("files", "pattern"),
    [
        (("sun.0001.exr", "sun.0002.exr"), "sun.####.exr"),
        (("sun_000001.exr", "sun_000002.exr"), "sun_######.exr"),
        (("sun0001.tif", "sun0002.tif"), "sun####.tif"),
        (("sun.frame_0001.exr", "sun.frame_0002.exr"), "sun.frame_####.exr"),
        (("v2/sun/0001.exr", "v2/sun/0002.exr"), "v2/sun/####.exr"),
        (("sun.10000.exr", "sun.9999.exr"), "sun.####.exr"),
    ],
)
def test_names_give_every_frame_back(files: tuple[str, str], pattern: str) -> None:
    found = chosen(*files)
    assert list(found.names.values()) == [pattern]
    assert found.frame is not None
    frames = {pass_file_name(pattern, Passes(frame=found.frame + step)) for step in (0, 1)}
    assert frames == set(files)


@pytest.mark.parametrize(
    "files",
    [
        ("sky.0001.exr", "sun.0001.exr"),
        ("sky.exr", "sun.exr"),
        ("group_01.exr", "group_02.exr"),
        ("0001.exr", "0002.exr"),
        (),
    ],
)
def test_without_other_frames_names_stay(files: tuple[str, ...]) -> None:
    assert chosen(*files) == OneFrame(files)


def test_a_pass_with_one_frame_beside_sequences_is_named() -> None:
    found = chosen("albedo.0001.exr", "sky.0001.exr", "room.exr", "sun.0001.exr", "sun.0002.exr")
    assert found.names == {"sun.0001.exr": "sun.####.exr"}
    assert "1 file is another frame of the same passes" in found.notes[0]
    assert "one frame only of sky.0001.exr:" in found.notes[1]


def test_frames_that_no_one_name_gives_are_no_sequence() -> None:
    found = chosen("sun.0001.exr", "sun.00002.exr")
    assert found.frame is None
    assert found.files == ("sun.00002.exr",)
    assert found.notes == ("1 file is another frame of the same passes",)
