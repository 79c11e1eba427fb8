"""Whole runs: files, their contents, what is refused, and what is kept."""

from __future__ import annotations

import hashlib
import json
import os
import sys
import threading
import time
from importlib import import_module

import numpy as np
import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.errors import OutputError, PassError, PixelSourceError, RecipeError, UsageError
from evenfall.produce import FileDone, FolderEntered, MoodMixed, PassRead, RunPlanned
from evenfall.record.read_record import read_provenance

LIGHTS = """
format = 1
[lights.sun]
file = "sun.exr"
role = "key"
[lights.sky]
file = "sky.exr"
role = "sky"
[lights.lamp]
file = "lamp.exr"
rendered = { kelvin = 3000 }
"""
PATCHES = {"sun": (0.40, 0.38, 0.35), "sky": (0.08, 0.10, 0.14), "lamp": (0.12, 0.07, 0.03)}


def bytes_of(report):
    return {file.path.name: file.path.read_bytes() for file in report.files}


def listing(folder):
    return sorted(path.name for path in folder.rglob("*") if path.is_file())


def test_run_writes_what_it_says(corner, tmp_path):
    report = evenfall.open(corner).run()
    assert [file.path.name for file in report.files] == [
        "corner_day.png",
        "corner_dusk.png",
        "corner_contact_sheet.png",
    ]
    assert listing(tmp_path / "pictures") == sorted(
        [*(file.path.name for file in report.files), "corner_report.json"]
    )
    for file in report.files:
        assert file.path.stat().st_size == file.bytes
    written = json.loads((tmp_path / "pictures" / "corner_report.json").read_text())
    assert written["moods"]["dusk"]["lights"]["sky"]["gain_stops"] == -2.0
    assert written["lights"]["sun"]["fingerprint"].startswith("sha256:")
    assert written["files"][0]["sha256"] == report.files[0].sha256


def test_png_is_develop_made_whole_codes(corner):
    """Decoded by imageio: within the dither of one code of what `develop` gives."""
    import imageio.v3 as imageio

    report = evenfall.open(corner).run()
    for file in report.files[:2]:
        codes = imageio.imread(file.path).astype(np.float64)
        expected = evenfall.open(corner).develop(file.mood).encoded() * 255
        assert codes.shape == expected.shape
        assert np.abs(codes - expected).max() < 1.0
        assert abs((codes - expected).mean()) < 0.02


def test_exr_equals_the_engine_bit_for_bit(write_recipe):
    """Read back by OpenImageIO: every float of the plain mix, negatives and huge values too."""
    import OpenImageIO as oiio  # noqa: N813

    rng = np.random.default_rng(5)
    sun = rng.lognormal(0, 4, (16, 24, 3)).astype(np.float32)
    sun[0, 0] = (-1.5, 1e6, 0)
    text = (
        LIGHTS
        + """
[moods.dusk]
lights = { sun = { stops = "-1/3" }, sky = { kelvin = 9000 } }
[[deliverables]]
format = "exr"
bits = 32
camera = false
"""
    )
    recipe = write_recipe(text, {**PATCHES, "sun": sun})
    report = evenfall.open(recipe).run()
    picture = oiio.ImageInput.open(str(report.files[0].path))
    pixels = picture.read_image(oiio.FLOAT)
    picture.close()
    assert pixels.tobytes() == evenfall.open(recipe).mix("dusk").tobytes()
    plain = evenfall.open(recipe).mix("dusk").astype(np.float64)
    assert plain[0, 0, 1] > 65504
    assert plain[0, 0, 0] < 0


@pytest.mark.parametrize("workers", [2, 3, 4])
def test_same_bytes_for_any_number_of_workers(write_recipe, workers, tmp_path):
    rng = np.random.default_rng(6)
    passes = {name: rng.lognormal(-1, 1, (130, 900, 3)) for name in PATCHES}
    text = (
        LIGHTS
        + """
[moods.day]
lights = { lamp = "off" }
[moods.dusk]
look = { glare = { strength = 0.1 }, grain = { strength = 0.5 } }
[[deliverables]]
format = "png"
[[deliverables]]
format = "jpeg"
width = 333
[[deliverables]]
format = "exr"
"""
    )
    recipe = write_recipe(text, passes)
    alone = evenfall.open(recipe, workers=1).run(out=tmp_path / "one")
    many = evenfall.open(recipe, workers=workers).run(out=tmp_path / "many")
    assert bytes_of(alone) == bytes_of(many)


def test_worked_recombination(write_recipe):
    """Own arithmetic, kept as a regression: patches under three moods, exposed, sRGB-encoded.

    The lamp's tint is written as the factors it comes to (2700 K over 3000 K, luminance held).
    """
    tint = (1.0927025178, 0.9517806756, 0.7049360559)
    text = f"""
format = 1
camera = {{ meter = "off" }}
look = {{ tone = "clip", gamut = {{ method = "clip" }} }}
[lights]
sun = {{ file = "sun.exr", role = "key" }}
sky = {{ file = "sky.exr" }}
lamp = {{ file = "lamp.exr" }}
[moods.day]
lights = {{ lamp = "off" }}
[moods.dusk]
camera = {{ exposure_stops = 0.5 }}
[moods.dusk.lights]
sun = {{ stops = -3 }}
sky = {{ stops = -1 }}
lamp = {{ factor = 2, rgb = {list(tint)} }}
"""
    recipe = write_recipe(text, PATCHES)
    day = evenfall.open(recipe).mix("day")[3, 4]
    assert day == pytest.approx([0.48, 0.48, 0.49], abs=1e-6)
    assert evenfall.open(recipe).develop("day").encoded()[3, 4] == pytest.approx(
        [0.722027, 0.722027, 0.728732], abs=3e-5
    )
    expected = [
        2**0.5 * (0.125 * sun + 0.5 * sky + 2 * lamp * factor)
        for sun, sky, lamp, factor in zip(*PATCHES.values(), tint, strict=True)
    ]
    dusk = evenfall.open(recipe).develop("dusk").encoded()[3, 4]
    assert dusk == pytest.approx([1.055 * v ** (1 / 2.4) - 0.055 for v in expected], abs=3e-5)


def test_existing_files_are_not_replaced_silently(corner, tmp_path):
    report = evenfall.open(corner).run()
    before = bytes_of(report)
    changed = evenfall.load(corner.path, changes=["moods.dusk.lights.sky.stops=-3"])
    with pytest.raises(OutputError, match=r"corner_dusk\.png: the file exists already; use --over"):
        evenfall.open(changed).run()
    assert bytes_of(report) == before
    after = evenfall.open(changed).run(overwrite=True)
    assert bytes_of(after)["corner_dusk.png"] != before["corner_dusk.png"]
    assert bytes_of(after)["corner_day.png"] == before["corner_day.png"]


def test_foreign_file_of_that_name_is_not_replaced(corner, tmp_path):
    (tmp_path / "pictures").mkdir()
    foreign = tmp_path / "pictures" / "corner_day.png"
    foreign.write_bytes(b"somebody's work")
    with pytest.raises(OutputError, match=r"corner_day\.png"):
        evenfall.open(corner).run()
    assert listing(tmp_path / "pictures") == ["corner_day.png"]
    assert foreign.read_bytes() == b"somebody's work"


def test_dry_run_writes_nothing(corner, tmp_path):
    before = listing(tmp_path)
    report = evenfall.open(corner).run(dry_run=True)
    assert listing(tmp_path) == before
    assert [file.path.name for file in report.files][:2] == ["corner_day.png", "corner_dusk.png"]
    assert report.report is None


def test_inputs_are_never_written_over(write_recipe):
    text = (
        LIGHTS
        + """
[moods.sun]
[[deliverables]]
format = "exr"
name = "{mood}"
"""
    )
    recipe = write_recipe(text, PATCHES)
    with pytest.raises(RecipeError, match=r"sun\.exr: the run would write over a file that it"):
        evenfall.open(recipe).run(out=recipe.path.parent, overwrite=True)


def test_drafts_of_two_crops_have_names_of_their_own(write_recipe):
    text = (
        LIGHTS
        + """
[moods.day]
[[deliverables]]
format = "png"
[[deliverables]]
format = "jpeg"
crop = "1:1"
[[deliverables]]
format = "exr"
"""
    )
    report = evenfall.open(write_recipe(text, PATCHES), draft=True).run()
    names = [file.path.name for file in report.files if file.mood]
    assert names == ["view_day_draft.png", "view_day_draft_2.png"]


def test_frames_of_a_sequence_lie_in_one_folder(write_recipe, tmp_path):
    text = """
format = 1
[lights.sun]
file = "sun.####.exr"
role = "key"
[moods.day]
camera = { meter = "off" }
"""
    frames = {"sun.0007": (0.1, 0.1, 0.1), "sun.0008": (0.4, 0.4, 0.4)}
    made = {}
    for frame in (7, 8):
        recipe = write_recipe(text, frames, changes=[f"passes.frame={frame}"])
        report = evenfall.open(recipe).run()
        names = [file.path.name for file in report.files]
        assert names == [f"view_000{frame}_day.png", f"view_000{frame}_contact_sheet.png"]
        assert report.report.name == f"view_000{frame}_report.json"
        made[frame] = report.moods["day"].statistics.mix_mean[0]
    assert made == pytest.approx({7: 0.1, 8: 0.4}, rel=1e-3)  # half precision
    again = evenfall.open(evenfall.load(tmp_path / "view.toml", changes=["passes.frame=7"])).run()
    assert all(file.kept for file in again.files)


def test_a_view_with_nothing_behind_it_gets_advice(write_recipe, tmp_path):
    window = np.full((16, 24, 4), 0.2, np.float32)
    window[..., 3] = 1.0
    window[:8, :12] = 0.0  # a quarter of the view is see-through
    text = 'format = 1\n[lights.sun]\nfile = "sun.exr"\nrole = "key"\n[moods.day]\n'
    report = evenfall.open(write_recipe(text, {"sun": window})).meter()
    (advice,) = [one for one in report.advice if one.code == "no-plate"]
    assert advice.place == "moods.day"
    assert "25%" in str(advice)
    (tmp_path / "sky.exr").write_bytes((tmp_path / "sun.exr").read_bytes())
    plated = write_recipe(text + 'plate = { file = "sky.exr" }\n', {"sun": window})
    assert not [one for one in evenfall.open(plated).meter().advice if one.code == "no-plate"]


def test_unknown_mood_is_named_with_a_suggestion(corner):
    with pytest.raises(UsageError, match=r'no mood "dsuk".*did you mean "dusk"'):
        evenfall.open(corner).run(moods=["dsuk"])


def test_events_tell_of_every_pass_and_file(corner):
    events = []
    report = evenfall.open(corner, workers=2).run(on_event=events.append)
    assert [type(event) for event in events[:2]] == [FolderEntered, RunPlanned]
    assert (events[1].lights, events[1].files) == (3, len(report.files) + 1)
    read = [event.lights for event in events if isinstance(event, PassRead)]
    assert sorted(read) == [("lamp",), ("sky",), ("sun",)]
    assert [event.mood for event in events if isinstance(event, MoodMixed)] == ["day", "dusk"]
    written = {event.path for event in events if isinstance(event, FileDone)}
    assert written == {*(file.path for file in report.files), report.report}


class TestSecondRun:
    """After feedback on one light only what changed is made, and is what a fresh run makes."""

    def rerun(self, corner, changes, tmp_path, **options):
        recipe = evenfall.load(corner.path, changes=changes)
        events = []
        again = evenfall.open(recipe).run(overwrite=True, on_event=events.append, **options)
        fresh = evenfall.open(recipe).run(out=tmp_path / "fresh", **options)
        assert bytes_of(again) == bytes_of(fresh)
        read = {light for event in events if isinstance(event, PassRead) for light in event.lights}
        return {file.path.name for file in again.files if not file.kept}, read

    def test_nothing_changed_reads_and_writes_nothing(self, corner):
        first = evenfall.open(corner).run()
        stamps = [file.path.stat().st_mtime_ns for file in first.files]
        events = []
        again = evenfall.open(corner).run(on_event=events.append)
        assert all(file.kept for file in again.files)
        assert not any(isinstance(event, PassRead) for event in events)
        assert [file.path.stat().st_mtime_ns for file in again.files] == stamps

    def test_one_light_of_one_mood(self, corner, tmp_path):
        evenfall.open(corner).run()
        made, read = self.rerun(corner, ["moods.dusk.lights.sky.stops=-3"], tmp_path)
        assert made == {"corner_dusk.png", "corner_contact_sheet.png"}
        assert read == {"sky", "lamp", "sun"}  # the sun is metered

    def test_fill_of_the_metered_mood(self, corner, tmp_path):
        """Dusk is exposed by the sun in day; day's sky does not concern it."""
        evenfall.open(corner).run()
        made, _ = self.rerun(corner, ["moods.day.lights.sky.stops=1"], tmp_path)
        assert made == {"corner_day.png", "corner_contact_sheet.png"}

    def test_key_of_the_metered_mood_concerns_all(self, corner, tmp_path):
        evenfall.open(corner).run()
        made, _ = self.rerun(corner, ["moods.day.lights.sun.stops=1"], tmp_path)
        assert made == {"corner_day.png", "corner_dusk.png", "corner_contact_sheet.png"}

    def test_another_deliverable_is_added_beside(self, corner, tmp_path):
        evenfall.open(corner).run()
        corner.path.write_text(
            corner.text + '[[deliverables]]\n[[deliverables]]\nformat = "jpeg"\n', encoding="utf-8"
        )
        made, _ = self.rerun(corner, [], tmp_path)
        assert {"corner_day.jpg", "corner_dusk.jpg"} <= made

    def test_pass_rendered_anew(self, corner, tmp_path):
        import OpenEXR

        evenfall.open(corner).run()
        pixels = np.full((32, 48, 3), 0.2, np.float16)
        OpenEXR.File({}, {"RGB": pixels}).write(str(tmp_path / "lamp.exr"))
        made, _ = self.rerun(corner, [], tmp_path)
        assert made == {"corner_dusk.png", "corner_contact_sheet.png"}

    def test_pass_of_the_same_size_and_time(self, corner, tmp_path):
        """As copies that keep times may be, from disks that keep whole seconds."""
        import OpenEXR

        lamp = tmp_path / "lamp.exr"
        plain = {"compression": OpenEXR.NO_COMPRESSION}

        def render(level):
            pixels = np.full((32, 48, 3), level, np.float16)
            OpenEXR.File(plain, {"RGB": pixels}).write(str(lamp))
            os.utime(lamp, (1_700_000_000, 1_700_000_000))
            return lamp.stat().st_size

        size = render(0.2)
        evenfall.open(corner).run()
        assert render(0.4) == size
        made, _ = self.rerun(corner, [], tmp_path)
        assert made == {"corner_dusk.png", "corner_contact_sheet.png"}

    def test_touched_or_damaged_pictures_are_made_anew(self, corner, tmp_path):
        report = evenfall.open(corner).run()
        day = report.files[0].path
        day.write_bytes(day.read_bytes()[:-1] + b"?")
        made, _ = self.rerun(corner, [], tmp_path)
        assert made == {"corner_day.png"}

    def test_single_mood_then_all(self, corner, tmp_path):
        evenfall.open(corner).run(moods=["dusk"])
        report = evenfall.open(corner).run()
        assert [file.path.name for file in report.files if file.kept] == ["corner_dusk.png"]
        fresh = evenfall.open(corner).run(out=tmp_path / "fresh")
        assert bytes_of(report) == bytes_of(fresh)

    def test_sheet_never_takes_the_small_pictures_of_drafts(self, tmp_path):
        """At three times the size of a draft, averaging before the look shows."""
        recipe = example_recipe(tmp_path, width=720, height=480)
        small = evenfall.load(recipe.path, changes=["draft.width=240", "sheet.picture_width=160"])
        evenfall.open(small).run()
        evenfall.open(small, draft=True).run()
        (tmp_path / "pictures" / "corner_contact_sheet.png").unlink()
        again = evenfall.open(small).run()
        fresh = evenfall.open(small).run(out=tmp_path / "fresh")
        assert bytes_of(again) == bytes_of(fresh)

    @pytest.mark.parametrize("text", ["", "{", "[]", '{"evenfall_report": 99}', '{"lights": 3}'])
    def test_damaged_report_is_no_report(self, corner, tmp_path, text):
        evenfall.open(corner).run()
        (tmp_path / "pictures" / "corner_report.json").write_text(text)
        report = evenfall.open(corner).run(overwrite=True)
        assert not any(file.kept for file in report.files)

    @pytest.mark.parametrize("noted", [5, "sha256:", [1], None, {"fingerprint": 5}])
    def test_damaged_notes_on_a_pass_are_not_believed(self, corner, tmp_path, noted):
        true = evenfall.open(corner).run().lights["lamp"].fingerprint
        path = tmp_path / "pictures" / "corner_report.json"
        values = json.loads(path.read_text())
        kept = values["lights"]["lamp"]
        values["lights"]["lamp"] = {**kept, **noted} if isinstance(noted, dict) else noted
        path.write_text(json.dumps(values))
        assert evenfall.open(corner).run(overwrite=True).lights["lamp"].fingerprint == true

    @pytest.mark.parametrize("mood", [{}, [], 5])
    def test_damaged_notes_on_a_file_are_not_believed(self, corner, tmp_path, mood):
        evenfall.open(corner).run()
        path = tmp_path / "pictures" / "corner_report.json"
        values = json.loads(path.read_text())
        values["files"][0]["mood"] = mood
        path.write_text(json.dumps(values))
        evenfall.open(corner).run(moods=["dusk"], overwrite=True)

    def test_pass_rendered_anew_while_the_run_begins(self, corner, tmp_path, monkeypatch):
        """Fingerprints are of the files that are mixed, also when they came in between."""
        import OpenEXR

        opening = import_module("evenfall.develop.opening")
        open_passes = opening.open_passes
        lamp = tmp_path / "lamp.exr"

        def render_first(*arguments, **settings):
            deadline = time.monotonic() + 30
            while not (noted := list(tmp_path.glob("cache/fingerprints/*"))) or len(noted) < 3:
                assert time.monotonic() < deadline
                time.sleep(0.01)  # until all passes have been hashed
            pixels = np.full((32, 48, 3), 0.2, np.float16)
            OpenEXR.File({}, {"RGB": pixels}).write(str(tmp_path / "new.exr"))
            (tmp_path / "new.exr").replace(lamp)
            return open_passes(*arguments, **settings)

        monkeypatch.setenv("EVENFALL_CACHE", str(tmp_path / "cache"))
        monkeypatch.setattr(opening, "open_passes", render_first)
        time.sleep(0.1)  # what was written just now is not noted
        report = evenfall.open(corner).run()
        digest = hashlib.sha256(lamp.read_bytes()).hexdigest()
        assert report.lights["lamp"].fingerprint == f"sha256:{digest}"


class TestDamagedPasses:
    """One pass is cut short: which moods stop, and what is said."""

    @pytest.fixture
    def damaged(self, corner, tmp_path):
        lamp = tmp_path / "lamp.exr"
        lamp.write_bytes(lamp.read_bytes()[:-200])
        return corner

    def test_all_stops_before_anything_is_written(self, damaged, tmp_path):
        with pytest.raises(PassError, match=r"lamp\.exr"):
            evenfall.open(damaged).run()
        assert not (tmp_path / "pictures").exists()

    def test_keep_going_makes_the_others(self, damaged):
        report = evenfall.open(damaged).run(keep_going=True)
        assert [file.path.name for file in report.files if file.mood] == ["corner_day.png"]
        assert any("lamp.exr" in str(fault) for fault in report.faults)

    def test_keep_going_without_the_key_exposes_nothing(self, corner, tmp_path):
        (tmp_path / "sun.exr").unlink()
        recipe = evenfall.load(corner.path, check_files=False)
        report = evenfall.open(recipe).run(keep_going=True)
        assert report.files == ()
        assert any("sun.exr" in str(fault) for fault in report.faults)

    @pytest.mark.parametrize(
        "broken", ['look.grade.luts = [{ file = "gone.cube" }]', 'plate.file = "gone.jpg"']
    )
    def test_keep_going_past_a_missing_side_file(self, corner, broken, tmp_path):
        corner.path.write_text(corner.text + f"[moods.late]\n{broken}\n", encoding="utf-8")
        recipe = evenfall.load(corner.path, check_files=False)
        report = evenfall.open(recipe).run(keep_going=True)
        assert [file.mood for file in report.files] == ["day", "dusk", ""]
        assert any("gone" in str(fault) for fault in report.faults)
        assert list(report.moods) == ["day", "dusk"]
        with pytest.raises(PixelSourceError, match="gone"):
            evenfall.open(recipe).run(out=tmp_path / "whole")


def test_record_makes_the_picture_again(corner, tmp_path):
    """The embedded text and changes give the same pixels, though another mood was metered."""
    import imageio.v3 as imageio

    report = evenfall.open(corner).run()
    dusk = next(file.path for file in report.files if file.mood == "dusk")
    record = read_provenance(dusk)
    assert record is not None
    assert "[moods.day]" not in record.recipe_text
    assert set(record.passes) == {"sky", "lamp"}  # the stops that the sun gave are noted
    path = tmp_path / record.recipe
    path.write_text(record.recipe_text, encoding="utf-8")
    recipe = evenfall.load(path, changes=record.changes)
    again = evenfall.open(recipe).run(moods=["dusk"], out=tmp_path / "again")
    assert (imageio.imread(again.files[0].path) == imageio.imread(dusk)).all()


def test_solved_ratio_is_met_and_passes_are_read_once(write_recipe):
    text = (
        LIGHTS
        + """
[moods.day]
lights = { sky = { match = { to = "sun", ratio = "4:1" } }, lamp = "off" }
"""
    )
    recipe = write_recipe(text, PATCHES)
    events = []
    report = evenfall.open(recipe).run(on_event=events.append)
    read = [event.lights for event in events if isinstance(event, PassRead)]
    assert sorted(read) == [("sky",), ("sun",)]
    weights = np.array([0.212639, 0.715169, 0.072192])  # of BT.709
    gain = report.moods["day"].lights["sky"].gain
    ratio = weights @ PATCHES["sun"] / (gain * (weights @ PATCHES["sky"]))
    assert ratio == pytest.approx(4.0, rel=0.001)


def test_mix_needs_no_meter(write_recipe):
    """A view with nothing to meter mixes all the same, and reads only what is on."""
    text = (
        LIGHTS
        + """
[moods.night]
lights = { sun = "off", sky = "off" }
camera = { meter = { of = "sun" } }
"""
    )
    recipe = write_recipe(text, PATCHES)
    assert evenfall.open(recipe).mix("night")[0, 0] == pytest.approx(PATCHES["lamp"], rel=1e-3)
    with pytest.raises(RecipeError, match="nothing to meter"):
        evenfall.open(recipe).develop("night").encoded()


def test_gain_in_a_region_changes_one_light_there(write_recipe):
    text = (
        LIGHTS
        + """
[moods.dusk]
[[moods.dusk.regions]]
area = { rectangle = [0.0, 0.0, 0.5, 1.0] }
lights = { lamp = 1 }
"""
    )
    pixels = evenfall.open(write_recipe(text, PATCHES)).mix("dusk").astype(np.float64)
    sun, sky, lamp = (np.array(PATCHES[name]) for name in ("sun", "sky", "lamp"))
    assert pixels[8, 2] == pytest.approx(sun + sky + 2 * lamp, rel=1e-3)
    assert pixels[8, 20] == pytest.approx(sun + sky + lamp, rel=1e-3)


def test_plate_shows_where_alpha_is_nothing(write_recipe, tmp_path):
    """A plate of middle grey behind an empty half: 18 % of white there, sRGB-encoded."""
    view = np.zeros((16, 24, 4), np.float32)
    view[:, :12] = (0.4, 0.4, 0.4, 1.0)
    plate = np.full((16, 24, 3), 0.18, np.float32)
    text = """
format = 1
[look]
tone = "clip"
[look.gamut]
method = "clip"
[camera]
meter = "off"
[lights.sun]
file = "sun.exr"
role = "key"
[moods.day.plate]
file = "plate.exr"
"""
    shown = (
        evenfall.open(write_recipe(text, {"sun": view, "plate": plate})).develop("day").encoded()
    )
    for column, linear in ((2, 0.4), (20, 0.18)):
        expected = 1.055 * linear ** (1 / 2.4) - 0.055
        assert shown[8, column] == pytest.approx([expected] * 3, abs=2e-3)


def test_broken_pixels_are_counted_and_named(write_recipe):
    sun = np.full((16, 24, 3), 0.4, np.float32)
    sun[2, 3, 1] = np.nan
    sun[5, 6] = np.inf
    report = evenfall.open(write_recipe(LIGHTS + "[moods.day]\n", {**PATCHES, "sun": sun})).run()
    assert report.lights["sun"].nan_pixels == 1
    assert report.lights["sun"].infinite_pixels == 1
    assert report.lights["sun"].replaced_pixels == 2
    assert any("sun: 1 pixel" in note and "2 pixels replaced" in note for note in report.notes)


@pytest.mark.parametrize(
    ("camera", "region"),
    [
        ("white_balance = { kelvin = 3200 }", "white_balance = { kelvin = 3200 }"),
        ("exposure_stops = 1", "exposure_stops = 1"),
    ],
)
def test_region_over_everything_is_the_camera_itself(write_recipe, camera, region):
    """Changed everywhere by a region, or by the camera: the same picture."""
    text = (
        LIGHTS
        + f"""
[moods.by_camera]
camera = {{ {camera} }}
[moods.by_region]
[[moods.by_region.regions]]
area = {{ rectangle = [0.0, 0.0, 1.0, 1.0] }}
{region}
"""
    )
    recipe = write_recipe(text, PATCHES)
    one, two = (
        evenfall.open(recipe).develop(mood).encoded() for mood in ("by_camera", "by_region")
    )
    assert np.abs(one - two).max() < 2e-4
    assert np.ptp(one[0, 0]) > 0.005


@pytest.mark.parametrize("kind", ["avif", "gain-map jpeg"])
def test_hdr_files_with_a_peak_at_reference_white(write_recipe, kind):
    """203 cd/m2, the reference white of ITU-R BT.2408: no headroom, but a file like any other."""
    text = f'{LIGHTS}[moods.day]\n[[deliverables]]\nformat = "{kind}"\npeak_nits = 203\n'
    report = evenfall.open(write_recipe(text, PATCHES)).run()
    assert report.files[0].bytes == report.files[0].path.stat().st_size


def test_dark_neutral_spot_of_a_region_is_a_fault_with_its_place(write_recipe):
    sun = np.full((16, 24, 3), 0.4, np.float32)
    sun[:8, :8] = 0
    text = (
        LIGHTS
        + """
[moods.day]
lights = { sky = "off", lamp = "off" }
[[moods.day.regions]]
area = { rectangle = [0, 0, 0.5, 1] }
white_balance = { neutral = [0.1, 0.1] }
"""
    )
    recipe = write_recipe(text, {**PATCHES, "sun": sun})
    with pytest.raises(RecipeError, match=r"regions\[0\]\.white_balance: there is no light"):
        evenfall.open(recipe).run()


def test_deliverables_from_a_change_are_made(write_recipe):
    """More of them than the recipe's text holds."""
    change = 'deliverables=[{ format = "png" }, { format = "jpeg" }]'
    recipe = write_recipe(
        LIGHTS + "[moods.day]\n[[deliverables]]\nbits = 16\n", PATCHES, changes=[change]
    )
    names = [file.path.name for file in evenfall.open(recipe).run().files]
    assert names == ["view_day.png", "view_day.jpg", "view_contact_sheet.png"]


@pytest.mark.parametrize(
    ("size", "width"),
    [("height = 32", 48), ("print = { width_mm = 25.4, dpi = 96 }", 96), ('crop = "1:1"', 16)],
)
def test_width_in_a_name_is_that_of_the_file(write_recipe, size, width):
    import imageio.v3 as imageio

    text = f'{LIGHTS}[moods.day]\n[[deliverables]]\nname = "{{mood}}_{{width}}"\n{size}\n'
    (picture, _) = evenfall.open(write_recipe(text, PATCHES)).run().files
    assert picture.path.name == f"day_{width}.png"
    assert imageio.imread(picture.path).shape[1] == width


def test_deliverable_too_large_is_refused_before_a_pass_is_read(write_recipe):
    text = LIGHTS + "[moods.day]\n[[deliverables]]\nprint = { width_mm = 9000, dpi = 2400 }\n"
    read = []
    with pytest.raises(OutputError, match=r"view\.toml:\d+: deliverables\[0\]: .*fewer dpi"):
        evenfall.open(write_recipe(text, PATCHES)).run(on_event=read.append)
    assert read == []


def test_file_that_cannot_be_small_enough_is_named(write_recipe):
    text = (
        LIGHTS
        + """
[moods.day]
look = { grain = { strength = 1 } }
[[deliverables]]
format = "jpeg"
width = 1500
max_kilobytes = 10
"""
    )
    with pytest.raises(OutputError, match=r"deliverables\[0\]: view_day\.jpg: no JPEG of this"):
        evenfall.open(write_recipe(text, PATCHES)).run()


def test_mood_of_a_neutral_spot_that_is_given_up_is_not_read(write_recipe):
    """Dusk drops the neutral spot of the mood that it builds on, and with it that mood's lights."""
    text = (
        LIGHTS
        + """
[camera]
meter = "off"
[moods.day]
lights = { lamp = { match = { to = "sun", ratio = "4:1" } } }
camera.white_balance = { neutral = [0.5, 0.5], neutral_mood = "day" }
[moods.dusk]
based_on = "day"
lights = { sun = "off", lamp = "off" }
camera.white_balance = { kelvin = 4300 }
"""
    )
    report = evenfall.open(write_recipe(text, PATCHES)).run(moods=["dusk"])
    assert list(report.lights) == ["sky"]


def test_mask_is_not_written_over(write_recipe, tmp_path):
    from PIL import Image

    Image.new("L", (24, 16), 255).save(tmp_path / "view_day.png")
    region = '[[moods.day.regions]]\narea = { mask = "view_day.png" }\nexposure_stops = 1\n'
    recipe = write_recipe(f"{LIGHTS}[moods.day]\n{region}", PATCHES)
    with pytest.raises(RecipeError, match="the run would write over a file that it reads"):
        evenfall.open(recipe).run(out=tmp_path, overwrite=True)


@pytest.mark.skipif(os.name != "posix", reason="links as POSIX systems have them")
def test_mask_is_not_written_over_by_another_name(write_recipe, tmp_path):
    """A link is another name for the folder (POSIX.1-2017, 4.13 Pathname Resolution)."""
    from PIL import Image

    Image.new("L", (24, 16), 255).save(tmp_path / "view_day.png")
    region = '[[moods.day.regions]]\narea = { mask = "view_day.png" }\nexposure_stops = 1\n'
    recipe = write_recipe(f"{LIGHTS}[moods.day]\n{region}", PATCHES)
    (tmp_path / "link").symlink_to(tmp_path)
    before = (tmp_path / "view_day.png").read_bytes()
    with pytest.raises(RecipeError, match="the run would write over a file that it reads"):
        evenfall.open(recipe).run(out=tmp_path / "link", overwrite=True)
    assert (tmp_path / "view_day.png").read_bytes() == before


def test_recorded_changes_quote_the_mood(write_recipe):
    text = LIGHTS + '[moods.day]\n[moods."v1.2"]\nlights = { sun = "off" }\n'
    recipe = write_recipe(text, PATCHES)
    picture = evenfall.open(recipe).run().files[1].path
    record = read_provenance(picture)
    assert record is not None
    again = recipe.path.with_name("again.toml")
    again.write_text(record.recipe_text, encoding="utf-8")
    loaded = evenfall.load(again, changes=record.changes)
    made = evenfall.open(loaded).develop("v1.2").encoded()
    np.testing.assert_allclose(made, evenfall.open(recipe).develop("v1.2").encoded(), atol=1e-6)


def test_mood_without_a_deliverable_is_said_to_make_nothing(write_recipe):
    text = LIGHTS + '[moods.day]\n[moods.dusk]\n[[deliverables]]\nmoods = ["day"]\n'
    recipe = write_recipe(text, PATCHES, changes=["sheet.make=false"])
    report = evenfall.open(recipe).run()
    assert [file.path.name for file in report.files] == ["view_day.png"]
    note = "moods.dusk: no deliverable is asked of it, so nothing is made"
    assert report.notes == (note,)
    alone = evenfall.open(recipe).run(moods=["dusk"])
    assert (alone.files, alone.notes) == ((), (note,))


@pytest.mark.parametrize(
    "dusk",
    [
        'regions = [{ area = { mask = "no.png" }, lights = { lamp = 1 } }]',
        'regions = [{ area = { mask = "no.png" }, exposure_stops = 1 }]',
        'lights.lamp = { match = { to = "sky", area = { mask = "no.png" } } }',
        'camera.meter = { of = "mix", area = { mask = "no.png" } }',
    ],
)
def test_missing_mask_stops_only_its_mood_when_keeping_going(write_recipe, dusk):
    text = f"{LIGHTS}[moods.day]\n[moods.dusk]\n{dusk}\n"
    recipe = write_recipe(text, PATCHES, check_files=False)
    report = evenfall.open(recipe).run(keep_going=True)
    assert list(report.moods) == ["day"]
    assert "no.png: there is no such file" in str(report.faults[0])
    with pytest.raises(PixelSourceError, match="there is no such file"):
        evenfall.open(recipe).run(overwrite=True)


def test_record_of_a_changed_deliverable_makes_it_again(write_recipe):
    """Its text holds the one deliverable; the change is that of this one, and no other's."""
    text = f'{LIGHTS}[moods.day]\n[[deliverables]]\n[[deliverables]]\nformat = "jpeg"\n'
    changes = ["deliverables[0].bits=16", "deliverables[1].width=20", "draft.width=99"]
    recipe = write_recipe(text, PATCHES, changes=changes)
    png, jpeg, _ = evenfall.open(recipe).run().files
    record = read_provenance(jpeg.path)
    assert record is not None
    assert record.changes == ("deliverables[0].width=20",)
    again = recipe.path.with_name("again.toml")
    again.write_text(record.recipe_text, encoding="utf-8")
    (deliverable,) = evenfall.load(again, changes=record.changes).model.deliverables
    assert (deliverable.format, deliverable.width) == ("jpeg", 20)
    other = evenfall.load(recipe.path, changes=[changes[0], "deliverables[1].width=24"])
    kept = {file.path.name: file.kept for file in evenfall.open(other).run(overwrite=True).files}
    assert (kept["view_day.png"], kept["view_day.jpg"]) == (True, False)
    assert png.path.name == "view_day.png"


def test_meter_counts_what_regions_clip(write_recipe):
    """The meter and the run say the same of one picture: its left half is at the top."""
    text = (
        LIGHTS
        + """
[moods.day]
[[moods.day.regions]]
area = { rectangle = [0, 0, 0.5, 1] }
exposure_stops = 10
[[deliverables]]
dither = false
"""
    )
    recipe = write_recipe(text, PATCHES)
    (metered,) = evenfall.open(recipe).meter().moods
    made = evenfall.open(recipe).run().moods["day"].statistics.clipped_share
    assert metered.facts.clipped_share == made == 0.5


@pytest.mark.skipif(sys.platform != "linux", reason="other systems allow no such names")
def test_file_names_that_are_no_utf8(tmp_path):
    """A folder and a recipe named in Latin-1, as an old archive holds them: b"M\\xfcller"."""
    plain = tmp_path / "plain"
    plain.mkdir()
    example_recipe(plain)
    folder = plain.rename(tmp_path / os.fsdecode(b"M\xfcller"))
    path = (folder / "corner.toml").rename(folder / os.fsdecode(b"Stra\xdfe.toml"))
    change = 'deliverables=[{ format = "png" }, { format = "exr" }, { format = "tiff" }]'
    recipe = evenfall.load(path, changes=[change])
    first, second = evenfall.open(recipe).run(), evenfall.open(recipe).run()
    assert all(file.kept for file in second.files)
    assert json.loads(first.report.read_bytes())["files"][0]["path"] == first.files[0].path.name
    for file in first.files:
        assert read_provenance(file.path).recipe == path.name


def test_files_finished_before_a_failure_are_kept(write_recipe, tmp_path):
    """The JPEG gets no smaller than asked; the PNG before it is not refused the next time."""
    text = (
        LIGHTS
        + """
[sheet]
make = false
[moods.day]
look = { grain = { strength = 1 } }
[[deliverables]]
format = "png"
[[deliverables]]
format = "jpeg"
width = 1500
"""
    )
    recipe = write_recipe(text, PATCHES)
    small = evenfall.load(recipe.path, changes=["deliverables[1].max_kilobytes=10"])
    with pytest.raises(OutputError, match=r"view_day\.jpg: no JPEG"):
        evenfall.open(small, workers=1).run()
    noted = json.loads((tmp_path / "pictures" / "view_report.json").read_text())
    assert "view_day.jpg: no JPEG" in noted["faults"][0]["found"]
    assert (noted["state"], noted["outstanding"]) == ("failed", ["view_day.jpg"])
    files = {file.path.name: file.kept for file in evenfall.open(recipe).run().files}
    assert files == {"view_day.png": True, "view_day.jpg": False}


@pytest.mark.parametrize(
    ("mood", "said"),
    [
        ("lights.sun.factor = 1e40", r"lights\.sun: its pass would be multiplied by 1e\+40"),
        ("lights.sun.rgb = [1.0, 1e39, 1.0]", r"lights\.sun: .* 1e\+39, which is over 60 stops"),
        ('lights.sky.match = { to = "sun", ratio = "1:99999999999999999999" }', "over 60 stops"),
        ("lights.sun.factor = 1e-44", r"camera: the exposure comes to a factor of .*90 stops"),
        ("camera.settings = { shutter = 1e-320 }", "the exposure comes to a factor of"),
        ("camera.settings = { shutter = 1e300 }", "the exposure comes to a factor of"),
    ],
)
def test_absurd_figures_are_faults(write_recipe, mood, said):
    text = f"{LIGHTS}[passes]\nluminance_scale = 100.0\n[moods.day]\n{mood}\n"
    with pytest.raises(RecipeError, match=said):
        evenfall.open(write_recipe(text, PATCHES)).run()


def test_a_run_leaves_no_thread_behind(corner, tmp_path):
    before = set(threading.enumerate())
    evenfall.open(corner).run()
    with pytest.raises(OutputError):
        evenfall.open(corner, workers=1).run(out=tmp_path / "again", on_event=_fill_disk)
    assert set(threading.enumerate()) <= before


def _fill_disk(event):
    if isinstance(event, FileDone):
        raise OutputError("full")
