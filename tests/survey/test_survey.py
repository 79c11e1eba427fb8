"""What a folder of passes holds: facts read back from files that were written here."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
import pytest

from evenfall.errors import PassError, UsageError
from evenfall.survey.roles import LightTraits, propose_roles
from evenfall.survey.survey import survey_folder

BT709_LUMINANCE = np.array([0.2126390, 0.7151687, 0.0721923])  # SMPTE RP 177, BT.709 primaries
HALF_ROUNDING = 5e-4  # relative, half of 2**-10


@pytest.fixture
def folder(
    tmp_path: Path,
    studio_passes: dict[str, np.ndarray],
    studio_beauty: np.ndarray,
    write_exr: Callable[..., Path],
) -> Path:
    for name, rgb in studio_passes.items():
        write_exr(tmp_path / f"room_{name}.exr", rgb)
    write_exr(tmp_path / "room_beauty.exr", studio_beauty)
    write_exr(tmp_path / "room_albedo.exr", studio_beauty * 0 + 0.5)
    return tmp_path


def test_facts_of_every_pass(folder: Path, studio_passes: dict[str, np.ndarray]) -> None:
    survey = survey_folder(folder)
    assert survey.unreadable == ()
    assert {light.name for light in survey.lights} == set(studio_passes)
    means = {k: float((v.astype(float) @ BT709_LUMINANCE).mean()) for k, v in studio_passes.items()}
    for light in survey.lights:
        expected = studio_passes[light.name].astype(float) @ BT709_LUMINANCE
        assert light.mean_luminance == pytest.approx(expected.mean(), rel=HALF_ROUNDING)
        assert light.peak_luminance == pytest.approx(expected.max(), rel=HALF_ROUNDING)
        assert light.share == pytest.approx(means[light.name] / sum(means.values()), rel=1e-3)
        stops = np.log2(means[light.name] / means["sun"])
        assert light.stops_to_key == pytest.approx(stops, abs=1e-3)
        (picture,) = light.pictures
        assert picture.facts is not None
        header = picture.facts.header
        assert (header.width, header.height) == (480, 272)
        assert (header.pixel_type, header.compression) == ("half", "zip")
        assert picture.facts.colour_space == "BT.709 (assumed)"
        assert picture.facts.encoding_marks == ()
    assert sum(light.share for light in survey.lights) == pytest.approx(1)
    assert survey.beauty is not None
    assert survey.beauty.file == "room_beauty.exr"
    assert [each.file for each in survey.of_kind("data")] == ["room_albedo.exr"]


def test_of_a_picture_that_is_there_twice_the_plainer_name_stays(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    for name, rgb in studio_passes.items():
        write_exr(tmp_path / f"{name}.exr", rgb)
    for name in ("Copy of sun.exr", "sun (1).exr", "old sun.exr"):
        write_exr(tmp_path / name, studio_passes["sun"])
    survey = survey_folder(tmp_path)
    assert {light.name for light in survey.lights} == set(studio_passes)
    assert [each.reason for each in survey.of_kind("left out")] == [
        "the same picture as sun.exr"
    ] * 3


def test_the_sentence_of_the_beauty_names_lights_as_the_table_does(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    """A lamp over a picture: `picture` alone means the whole view, and `light` says nothing."""
    files = {"picture_light": "cove", "pendant_light": "pendants", "sun": "sun"}
    for file, name in files.items():
        write_exr(tmp_path / f"{file}.exr", studio_passes[name])
    write_exr(tmp_path / "beauty.exr", sum(studio_passes[name] for name in files.values()))
    survey = survey_folder(tmp_path)
    assert {light.name for light in survey.lights} == {"picture", "pendant", "sun"}
    assert survey.beauty is not None
    assert survey.beauty.file == "beauty.exr"
    assert "the sum of pendant, picture and sun" in survey.beauty.reason


def test_roles_from_names_say_why(folder: Path) -> None:
    roles = {facts.name: facts.role for facts in survey_folder(folder).lights}
    assert {name: role.role for name, role in roles.items() if role} == {
        "sun": "key",
        "sky": "sky",
        "fill": "fill",
        "pendants": "fixture",
        "cove": "fixture",
        "garden": "outdoor fixture",
        "screen_glow": "glow",
    }
    assert roles["garden"] is not None
    assert roles["garden"].reason == "named 'garden'"


def test_roles_from_pixels_when_names_say_nothing(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    order = ["cove", "sky", "screen_glow", "sun", "fill", "pendants"]
    for number, name in enumerate(order):
        write_exr(tmp_path / f"group_{number}.exr", studio_passes[name])
    found = {facts.name: facts.role for facts in survey_folder(tmp_path).lights}
    roles = dict(zip(order, (role.role for role in found.values() if role), strict=True))
    assert roles["sun"] == "key"
    assert roles["sky"] == "sky"
    assert roles["fill"] == "fill"
    assert roles["screen_glow"] == "glow"
    assert roles["cove"] == roles["pendants"] == "fixture"
    key = next(role for role in found.values() if role is not None and role.role == "key")
    assert "brightest and most directional" in key.reason


def test_a_lamp_seen_directly_is_not_taken_for_the_key() -> None:
    patch = np.full((60, 80), 0.05)
    patch[40:55, 20:50] = 6.0
    lamp = np.full((60, 80), 0.02)
    lamp[10:12, 40:42] = 5000.0
    roles = propose_roles({"a": LightTraits(lamp, 2.0), "b": LightTraits(patch, 1.1)})
    assert roles["b"].role == "key"
    assert roles["a"].role == "fixture"


def test_a_moon_that_adds_next_to_nothing_is_no_key() -> None:
    """Exposure set to it would bring a lit bar fifteen stops down."""
    moon, lamp = np.full((60, 80), 1e-4), np.full((60, 80), 0.1)
    lamp[40:55, 20:50] = 6.0
    traits = {"luna": LightTraits(moon, 0.6), "velas": LightTraits(lamp, 3.0)}
    roles = propose_roles(traits | {"group_2": LightTraits(0.5 * lamp, 2.0)})
    assert roles["luna"].role == "sky"
    assert roles["luna"].reason == "named 'luna', but no key with 0.01 % of all light"
    assert roles["group_2"].role == "key"
    alone = {"luna": LightTraits(moon, 0.6), "velas": LightTraits(0.001 * lamp, 3.0)}
    assert propose_roles(alone)["luna"].role == "key"


def test_what_a_lamp_outshines_is_no_key() -> None:
    """A shop under an overcast sky: its one lamp without a telling name would set with the day."""
    day, shelf = np.full((60, 80), 0.5), np.full((60, 80), 0.02)
    shelf[20:24, 10:60] = 1.0
    other = np.full((60, 80), 0.02)
    other[40:45, 20:30] = 0.5
    traits = {"daylight": LightTraits(day, 0.9), "shelf": LightTraits(shelf, 1.6)}
    roles = propose_roles(traits | {"group_2": LightTraits(other, 1.6)})
    assert roles["group_2"].role == "fixture"
    alone = propose_roles({"daylight": traits["daylight"], "group_2": LightTraits(other, 1.6)})
    assert alone["group_2"].role == "key"


def test_a_light_over_a_picture_is_called_after_it(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    for name, file in {"sun": "sun", "sky": "sky", "cove": "picture_light"}.items():
        write_exr(tmp_path / f"{file}.exr", studio_passes[name])
    assert [light.name for light in survey_folder(tmp_path).lights] == ["picture", "sky", "sun"]


def test_layers_of_one_file_are_lights(
    tmp_path: Path, studio_passes: dict[str, np.ndarray]
) -> None:
    channels = {}
    for name in ("sun", "sky", "cove"):
        channels[name] = np.ascontiguousarray(studio_passes[name].astype(np.float16))
    OpenEXR.File({"compression": OpenEXR.ZIP_COMPRESSION}, channels).write(str(tmp_path / "v.exr"))
    survey = survey_folder(tmp_path)
    assert {light.name: light.pictures[0].layer for light in survey.lights} == {
        name: name for name in ("sun", "sky", "cove")
    }


def test_layers_in_frames_are_named_without_the_frame(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    lamps = {name: studio_passes[name].astype(np.float16) for name in ("cove", "pendants")}
    for frame in (7, 8):
        write_exr(tmp_path / f"sun.{frame:04d}.exr", studio_passes["sun"])
        OpenEXR.File({}, lamps).write(str(tmp_path / f"lamps.{frame:04d}.exr"))
    names = {facts.name for facts in survey_folder(tmp_path).lights}
    assert names == {"sun", "lamps_cove", "lamps_pendants"}


def test_folders_a_light_and_frames(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    for name in ("sun", "sky"):
        for frame in (1, 2, 3):
            (tmp_path / name).mkdir(exist_ok=True)
            write_exr(tmp_path / name / f"view.{frame:04d}.exr", studio_passes[name])
    survey = survey_folder(tmp_path)
    assert {light.name: light.pictures[0].file for light in survey.lights} == {
        "sun": "sun/view.0001.exr",
        "sky": "sky/view.0001.exr",
    }
    assert any("4 files are other frames" in note for note in survey.notes)
    assert survey.frame == 1
    assert survey.file_names == {
        "sun/view.0001.exr": "sun/view.####.exr",
        "sky/view.0001.exr": "sky/view.####.exr",
    }


def test_a_recipes_patterns_leave_other_files_out(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    write_exr(tmp_path / "L_sun.exr", studio_passes["sun"])
    write_exr(tmp_path / "scratch.exr", studio_passes["sky"])
    survey = survey_folder(tmp_path, patterns=[r"^L_(?P<light>.+)$"])
    assert [facts.name for facts in survey.lights] == ["sun"]
    (left,) = survey.of_kind("left out")
    assert (left.file, left.reason) == ("scratch.exr", "fits no name pattern")


def test_broken_pixels_and_encodings_are_told(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    broken = studio_passes["sky"].copy()
    broken[5, 5] = np.nan
    broken[6, 6, 1] = np.inf
    broken[7, 7] = -1
    broken[100, 200] = 500
    write_exr(tmp_path / "sky.exr", broken)
    encoded = np.minimum(studio_passes["sun"] ** (1 / 2.2), 1)
    write_exr(tmp_path / "sun.exr", np.round(encoded * 255) / 255)
    facts = {each.light: each.facts for each in survey_folder(tmp_path).pictures if each.facts}
    census = facts["sky"].census
    assert (census.nan, census.infinite, census.negative) == (1, 1, 1)
    assert facts["sky"].flaws["fireflies"] >= 1
    assert facts["sky"].encoding_marks == ()
    assert "8-bit" in facts["sun"].encoding_marks[0]


def test_a_damaged_file_does_not_stop_the_others(folder: Path) -> None:
    whole = (folder / "room_cove.exr").read_bytes()
    (folder / "room_cove.exr").write_bytes(whole[: len(whole) // 2])
    (folder / "room_look.png").write_bytes(b"\x89PNG\r\n\x1a\n")
    survey = survey_folder(folder)
    assert [each.file for each in survey.unreadable] == ["room_cove.exr"]
    assert "room_cove.exr" in survey.unreadable[0].reason
    assert len(survey.lights) == 6
    assert any("room_look.png" in note for note in survey.notes)


def test_links_out_of_the_folder_are_not_followed(folder: Path, tmp_path_factory: Any) -> None:
    outside = tmp_path_factory.mktemp("outside") / "secret.exr"
    outside.write_bytes((folder / "room_sky.exr").read_bytes())
    (folder / "room_extra.exr").symlink_to(outside)
    survey = survey_folder(folder)
    assert [each.file for each in survey.unreadable] == ["room_extra.exr"]
    assert len(survey.lights) == 7


def test_sizes_and_spaces_that_differ_are_left_out(
    folder: Path, studio_passes: dict[str, np.ndarray]
) -> None:
    half = np.ascontiguousarray(studio_passes["cove"][:100, :200].astype(np.float16))
    aces = (0.713, 0.293, 0.165, 0.830, 0.128, 0.044, 0.32168, 0.33767)
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "chromaticities": aces}
    OpenEXR.File(header, {"RGB": half}).write(str(folder / "room_cove.exr"))
    (left,) = survey_folder(folder).of_kind("left out")
    assert left.file == "room_cove.exr"
    assert left.reason == (
        "200 x 100 pixels, the others 480 x 272; colour space ACEScg, the others BT.709"
    )


def test_images_are_handed_on_one_at_a_time(folder: Path) -> None:
    seen: list[str] = []

    def look(found: Any, facts: Any, image: Any, flaws: Any) -> None:
        assert image.planes[0].shape == flaws.fireflies.shape == (272, 480)
        assert facts.flaws["fireflies"] == flaws.counts["fireflies"]
        seen.append(found.file)

    survey = survey_folder(folder, on_image=look)
    assert seen == [each.file for each in survey.pictures if each.kind != "data"]


def test_what_is_no_folder_of_passes_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such folder"):
        survey_folder(tmp_path / "nowhere")
    with pytest.raises(UsageError, match=r"holds no passes; expected files ending in \.exr"):
        survey_folder(tmp_path)
    (tmp_path / "sun.exr").write_bytes(b"nothing")
    with pytest.raises(PassError, match=r"sun\.exr"):
        survey_folder(tmp_path)
