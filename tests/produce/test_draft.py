"""Drafts: reduced by area averaging, exposed like the full picture, kept for the next draft."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace

import numpy as np
import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.develop.reduced import keep_for_drafts, reduced_size
from evenfall.mix.averaging import area_mean
from evenfall.passes.files import stamp
from evenfall.passes.library import PassLibrary
from evenfall.passes.reading import read
from evenfall.system.opened import Opened

ROUNDING = 2.0**-11  # half floats of the kept passes


@pytest.fixture
def recipe(tmp_path):
    """Passes half as wide again as their drafts, 256 x 144."""
    path = example_recipe(tmp_path, width=384, height=216).path
    path.write_text(f"{path.read_text()}\n[draft]\nwidth = 256\n")
    return evenfall.load(path)


@pytest.mark.parametrize("dtype", [np.float16, np.float32])
@pytest.mark.parametrize("size", [(40, 30), (20, 10), (33, 17), (7, 30), (1, 1)])
def test_area_mean_against_exact_areas(dtype, size):
    """Each value is the integral over the pixel's area: the source repeated, then averaged."""
    rng = np.random.default_rng(3)
    plane = rng.lognormal(0, 1, (30, 40)).astype(dtype)
    width, height = size
    fine = np.repeat(np.repeat(plane.astype(np.float64), height, 0), width, 1)
    expected = fine.reshape(height, 30, width, 40).mean((1, 3))
    assert area_mean(plane, size) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("size", [(2, 2), (4, 1), (3, 3), (1, 4)])
def test_means_of_huge_values_stay_finite(size):
    """A mean is no larger than its largest value, though the sum leaves single precision."""
    plane = np.full((4, 4), 3.0e38, np.float32)
    with np.errstate(over="raise", invalid="raise"):  # as it is while passes are mixed
        np.testing.assert_allclose(area_mean(plane, size), 3.0e38, rtol=1e-6)
        plane[::2] *= -1
        np.testing.assert_allclose(area_mean(plane, (1, 1)), 0.0, atol=1e32)


def test_reduced_sizes_keep_proportions():
    assert reduced_size((15360, 8640), 1280) == (1280, 720)
    assert reduced_size((1280, 720), 1280) == (1280, 720)
    assert reduced_size((30000, 2), 1280) == (1280, 1)


def test_draft_is_exposed_like_the_full_picture(tmp_path):
    """At a size at which the meter no longer sees the grain of single pixels."""
    recipe = example_recipe(tmp_path, width=1920, height=1080)
    draft = evenfall.open(recipe, draft=True).run()
    full = evenfall.open(recipe).run()
    assert (draft.width, draft.height) == (1280, 720)
    for mood in recipe.moods:
        small, large = (report.moods[mood].exposure.stops for report in (draft, full))
        assert small == pytest.approx(large, abs=2e-4)


def test_draft_shows_the_full_picture_averaged(recipe):
    """Mixing and averaging commute; half floats of the kept passes are all that differs."""
    full, small = (
        evenfall.open(recipe, draft=draft).develop("dusk").mix.planes for draft in (False, True)
    )
    for plane, reduced in zip(full, small, strict=True):
        np.testing.assert_allclose(reduced, area_mean(plane, (256, 144)), rtol=2 * ROUNDING)


def test_second_draft_reads_no_pass_and_gives_the_same_bytes(recipe, tmp_path, monkeypatch):
    first = evenfall.open(recipe, draft=True).run(out=tmp_path / "first")

    def refuse(*arguments):
        raise AssertionError("a pass was read at full size")

    monkeypatch.setattr(PassLibrary, "read", refuse)
    second = evenfall.open(recipe, draft=True).run(out=tmp_path / "second")
    for one, two in zip(first.files, second.files, strict=True):
        assert one.path.read_bytes() == two.path.read_bytes()


@pytest.fixture
def wide(tmp_path):
    """Passes wider than drafts are where nothing is said about it, 1280 pixels."""
    return example_recipe(tmp_path, width=1600, height=64)


def test_a_draft_after_a_survey_reads_no_pass(wide, tmp_path, monkeypatch, own_cache):
    from click.testing import CliRunner

    from evenfall.cli.main import main

    expected = evenfall.open(wide, draft=True).develop("dusk").encoded()
    shutil.rmtree(own_cache)
    starter = tmp_path / "starter.toml"
    done = CliRunner().invoke(main, ["survey", str(wide.passes_folder), "--write", str(starter)])
    assert done.exit_code == 0, done.output

    def refuse(*arguments):
        raise AssertionError("a pass was read at full size")

    monkeypatch.setattr(PassLibrary, "read", refuse)
    np.testing.assert_array_equal(
        evenfall.open(wide, draft=True).develop("dusk").encoded(), expected
    )


def test_a_pass_that_changed_while_it_was_surveyed_is_not_kept(wide, own_cache):
    path = wide.pass_path("lamp.exr")
    (image,) = read(path)
    seen = stamp(path)
    os.utime(path, ns=(0, 0))
    keep_for_drafts(image, seen)
    assert not (own_cache / "drafts").exists()


def test_changed_pass_is_reduced_anew(recipe, tmp_path):
    import OpenEXR

    before = evenfall.open(recipe, draft=True).develop("dusk").encoded()
    pixels = np.full((216, 384, 3), 0.05, np.float16)
    OpenEXR.File({}, {"RGB": pixels}).write(str(tmp_path / "lamp.exr"))
    after = evenfall.open(recipe, draft=True).develop("dusk").encoded()
    assert np.abs(after - before).max() > 0.1


def test_damaged_cache_is_read_anew(recipe, own_cache):
    before = evenfall.open(recipe, draft=True).develop("dusk").encoded()
    kept = sorted((own_cache / "drafts").iterdir())
    assert len(kept) == 3
    kept[0].write_bytes(kept[0].read_bytes()[:-100])
    data = bytearray(kept[1].read_bytes())
    data[-1000] ^= 0xFF
    kept[1].write_bytes(data)
    kept[2].write_bytes(b"")
    assert (evenfall.open(recipe, draft=True).develop("dusk").encoded() == before).all()


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_cache_that_cannot_be_written_is_no_fault(recipe, own_cache):
    own_cache.chmod(0o500)
    assert evenfall.open(recipe, draft=True).develop("day").encoded().shape == (144, 256, 3)


def test_cache_folder_that_is_a_file_is_no_fault(recipe, monkeypatch, tmp_path):
    blocked = tmp_path / "blocked"
    blocked.write_text("no folder")
    monkeypatch.setenv("EVENFALL_CACHE", str(blocked))
    assert evenfall.open(recipe, draft=True).develop("day").encoded().shape == (144, 256, 3)


def test_guides_are_drawn_on_drafts_only(recipe, tmp_path):
    import imageio.v3 as imageio

    guided = evenfall.load(recipe.path, changes=['draft.guides=["thirds"]'])
    plain = evenfall.open(recipe, draft=True).run(out=tmp_path / "plain", moods=["day"])
    drawn = evenfall.open(guided, draft=True).run(out=tmp_path / "drawn", moods=["day"])
    one, two = (imageio.imread(report.files[0].path).astype(int) for report in (plain, drawn))
    changed = np.abs(one - two).max(axis=2) > 20
    assert changed[:, 84:87].any(axis=1).all()
    assert not changed[:46, 20:80].any()
    full = [evenfall.open(each).run(out=tmp_path / name, moods=["day"]).files[0].path
            for each, name in ((recipe, "full"), (guided, "guided"))]  # fmt: skip
    assert (imageio.imread(full[0]) == imageio.imread(full[1])).all()


def test_missing_pass_stops_only_its_mood_in_a_draft_too(recipe):
    (recipe.passes_folder / "lamp.exr").unlink()
    report = evenfall.open(recipe, draft=True).run(keep_going=True)
    assert list(report.moods) == ["day"]
    assert "there is no such file" in str(report.faults[0])


def test_draft_is_cropped_as_width_and_height_crop(recipe):
    import imageio.v3 as imageio

    change = "deliverables=[{ width = 200, height = 200 }]"
    draft = evenfall.open(evenfall.load(recipe.path, changes=[change]), draft=True).run()
    assert imageio.imread(draft.files[0].path).shape == (144, 144, 3)


def test_kept_passes_follow_the_guides_of_the_denoiser(recipe, monkeypatch):
    """Another albedo pass, another denoised pass: the one kept before is not taken for it."""
    text = f'{recipe.path.read_text()}\n[passes]\nrepair = {{ albedo = "sky.exr" }}\n'
    recipe.path.write_text(text)
    reads = []
    real = PassLibrary.read
    guide = recipe.passes_folder / "sky.exr"

    def read(library, batch, rows=None):
        reads.append(batch)
        opened = Opened(guide, stamp(guide))
        return {
            light: replace(image, opened=(*image.opened, opened))
            for light, image in real(library, batch, rows).items()
        }

    monkeypatch.setattr(PassLibrary, "read", read)  # as if it had been denoised by the guide
    for _ in range(2):
        evenfall.open(recipe.path, draft=True).keep()
        assert len(reads) == 3
    os.utime(guide, ns=(1, 1))
    evenfall.open(recipe.path, draft=True).keep()
    assert len(reads) == 6
