"""A light that was saved in several pictures: they are added up, wherever its pass is used.

Expectations are sums of the planted pictures, done here in float32.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import OpenEXR
import pytest

import evenfall
from evenfall.errors import PassError, RecipeError

DIRECT, BOUNCED, SKY = (
    np.random.default_rng(seed).gamma(2, 0.4, (48, 128, 3)).astype(np.float16) for seed in (1, 2, 3)
)
MOODS = '[moods.day]\nlights.sun.stops = 1\n[moods.dusk]\nlights.sun = "off"\n'
TWO_FILES = f"""format = 1
[lights.sun]
file = ["sun_direct.exr", "sun_bounced.exr"]
role = "key"
[lights.sky]
file = "sky.exr"
{MOODS}"""
LAYERS = f"""format = 1
[lights.sun]
file = "all.exr"
layer = ["sun_direct", "sun_bounced"]
role = "key"
[lights.sky]
file = "all.exr"
layer = "sky"
{MOODS}"""


def wide(picture: np.ndarray) -> np.ndarray:
    return picture.astype(np.float32)


@pytest.fixture(params=[TWO_FILES, LAYERS], ids=["two files", "layers"])
def recipe(request: pytest.FixtureRequest, tmp_path: Path) -> evenfall.Recipe:
    pictures = {"sun_direct": DIRECT, "sun_bounced": BOUNCED, "sky": SKY}
    if request.param is LAYERS:
        OpenEXR.File({}, pictures).write(str(tmp_path / "all.exr"))
    else:
        for name, picture in pictures.items():
            OpenEXR.File({}, {"RGB": picture}).write(str(tmp_path / f"{name}.exr"))
    path = tmp_path / "view.toml"
    path.write_text(request.param, encoding="utf-8")
    return evenfall.load(path)


def test_the_mix_holds_the_sum(recipe: evenfall.Recipe) -> None:
    day = np.float32(2) * (wide(DIRECT) + wide(BOUNCED)) + wide(SKY)
    np.testing.assert_allclose(evenfall.open(recipe).mix("day"), day, rtol=1e-6)
    np.testing.assert_array_equal(evenfall.open(recipe).mix("dusk"), wide(SKY))


def test_a_sum_beyond_half_floats_is_kept(tmp_path: Path) -> None:
    """Twice 60,000 is more than a half float holds (IEEE 754 binary16: 65,504)."""
    bright = np.full((8, 8, 3), 60000, np.float16)
    for name in ("sun_direct", "sun_bounced", "sky"):
        OpenEXR.File({}, {"RGB": bright}).write(str(tmp_path / f"{name}.exr"))
    path = tmp_path / "view.toml"
    path.write_text(TWO_FILES, encoding="utf-8")
    assert evenfall.open(path).mix("day").max() == 2 * (60_000 + 60_000) + 60_000


def test_a_run_notes_all_files_and_makes_it_again_when_one_changes(
    recipe: evenfall.Recipe, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    report = evenfall.open(recipe).run(out=out)
    noted = json.loads(report.report.read_text(encoding="utf-8"))["lights"]["sun"]
    assert len(noted["added"]) == 1
    assert "sun_bounced" in noted["added"][0]
    again = evenfall.open(recipe).run(out=out, overwrite=True)
    assert all(file.kept for file in again.files)
    changed = {"sun_direct": DIRECT, "sun_bounced": BOUNCED * np.float16(2), "sky": SKY}
    if (tmp_path / "all.exr").exists():
        OpenEXR.File({}, changed).write(str(tmp_path / "all.exr"))
    else:
        OpenEXR.File({}, {"RGB": changed["sun_bounced"]}).write(str(tmp_path / "sun_bounced.exr"))
    third = evenfall.open(recipe).run(out=out, overwrite=True)
    day = next(file for file in third.files if file.mood == "day")
    assert not day.kept


def test_drafts_hold_the_sum(recipe: evenfall.Recipe, tmp_path: Path) -> None:
    path = tmp_path / "view.toml"
    path.write_text(recipe.text + "[draft]\nwidth = 64\n", encoding="utf-8")
    for _ in range(2):  # anew, then from the cache
        passes = evenfall.open(path, draft=True).passes
        batch = next(some for some in passes.batches(["sun"]) if "sun" in some)
        planes = passes.read(batch)["sun"].planes
        expected = (wide(DIRECT) + wide(BOUNCED)).reshape(24, 2, 64, 2, 3).mean((1, 3))
        np.testing.assert_allclose(np.moveaxis(np.stack(planes), 0, -1), expected, rtol=2e-3)


def test_a_picture_of_another_size_is_named(recipe: evenfall.Recipe, tmp_path: Path) -> None:
    if (tmp_path / "all.exr").exists():
        pytest.skip("layers of a part have one size")
    OpenEXR.File({}, {"RGB": BOUNCED[:12]}).write(str(tmp_path / "sun_bounced.exr"))
    with pytest.raises(PassError, match=r"sun_bounced\.exr: size 128 x 12, but .* has 128 x 48"):
        evenfall.open(recipe).check()


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ('file = ["sun.exr", "sun.exr"]', "the same picture is in the list twice"),
        ("file = []", "file is an empty list"),
        (
            'file = ["a.exr", "b.exr"]\nlayer = ["x", "y", "z"]',
            "lists go together one by one, found file of 2 and layer of 3",
        ),
        ('file = ["a.exr", 3]', "lights.sun.file"),
        ('file = ["a.exr", "sky.exr"]', "counts a picture of lights.sky: sky.exr"),
    ],
)
def test_lists_that_cannot_be_meant(tmp_path: Path, said: str, fault: str) -> None:
    path = tmp_path / "view.toml"
    text = f'format = 1\n[lights.sky]\nfile = "sky.exr"\n[lights.sun]\n{said}\n[moods.day]\n'
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RecipeError) as raised:
        evenfall.load(path, check_files=False)
    assert fault in str(raised.value)


def test_every_missing_file_of_a_list_is_told(tmp_path: Path) -> None:
    path = tmp_path / "view.toml"
    path.write_text(TWO_FILES, encoding="utf-8")
    with pytest.raises(RecipeError) as raised:
        evenfall.load(path)
    for name in ("sun_direct.exr", "sun_bounced.exr", "sky.exr"):
        assert name in str(raised.value)


@pytest.mark.parametrize("name", ["lamp #2.exr", "{view} lamp.exr", " lamp.exr", "a[#]b.exr"])
def test_any_sign_can_stand_in_a_file_name(tmp_path: Path, name: str) -> None:
    from evenfall.recipe.file_names import as_written

    OpenEXR.File({}, {"RGB": SKY}).write(str(tmp_path / name))
    path = tmp_path / "view.toml"
    for frame in ("", "[passes]\nframe = 7\n"):
        other = "" if not frame else '[lights.sun]\nfile = "sun.##.exr"\n'
        OpenEXR.File({}, {"RGB": SKY}).write(str(tmp_path / "sun.07.exr"))
        text = (
            f'format = 1\n{frame}[lights.lamp]\nfile = "{as_written(name)}"\n{other}[moods.day]\n'
        )
        path.write_text(text, encoding="utf-8")
        np.testing.assert_array_equal(
            evenfall.open(path).mix("day"), wide(SKY) * (2 if frame else 1)
        )
