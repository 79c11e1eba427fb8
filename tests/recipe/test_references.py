"""Names that lead nowhere, rings of moods, files that are not there, files written twice."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from evenfall.errors import Fault, RecipeError
from evenfall.recipe import load

Said = Callable[..., str]
Faults = Callable[..., list[Fault]]

REFERENCES = [
    (
        'sun = "off"',
        'son = "off"',
        'villa.toml:44: moods.dusk.lights.son: there is no light or group called "son"; did you '
        'mean "sun"?',
    ),
    (
        'sun = "off"',
        'chandelier = "off"',
        "villa.toml:44: moods.dusk.lights.chandelier: there is no light or group called "
        '"chandelier"; known are sun, sky, pendant_a, pendant_b, pendants',
    ),
    (
        'based_on = "day"',
        'based_on = "dya"',
        'villa.toml:41: moods.dusk.based_on: there is no mood called "dya"; did you mean "day"?',
    ),
    (
        'based_on = "day"',
        'based_on = "evening"',
        'villa.toml:41: moods.dusk.based_on: there is no mood called "evening"; known are day',
    ),
    (
        '"pendant_a", "pendant_b"]',
        '"pendant_a", "pendent_b"]',
        'villa.toml:31: groups.pendants[1]: there is no light called "pendent_b"; did you mean '
        '"pendant_b"?',
    ),
    (
        "[groups]",
        '[groups]\nall = ["sun", "pendants"]',
        'villa.toml:31: groups.all[1]: "pendants" is a group; a group holds lights; write '
        '["pendant_a", "pendant_b"]',
    ),
    (
        "[groups]",
        "[groups]\nnone = []",
        "villa.toml:31: groups.none: has no lights; expected a list of light names",
    ),
    (
        "[groups]",
        '[groups]\nsky = ["sun"]',
        "villa.toml:31: groups.sky: is the name of a light and of a group; rename one of them",
    ),
    (
        "[groups]",
        '[groups]\nmix = ["sun"]',
        'villa.toml:31: groups.mix: is called "mix", which the meter uses for all lights',
    ),
    (
        'sun = "off"',
        'sun = { match = { to = "skye", ratio = "4:1" } }',
        'villa.toml:44: moods.dusk.lights.sun.match.to: there is no light or group called "skye"; '
        'did you mean "sky"?',
    ),
    (
        'sun = "off"',
        'pendant_a = { match = { to = "pendants" } }',
        "villa.toml:44: moods.dusk.lights.pendant_a.match.to: pendant_a cannot be matched to "
        "itself (pendant_a)",
    ),
    (
        'sun = "off"',
        'sun = { match = { to = "sky", ratio = "4" } }',
        'villa.toml:44: moods.dusk.lights.sun.match.ratio: found "4"; expected a ratio such as '
        '"4:1", both numbers above 0',
    ),
    (
        'pendants = { stops = "+1 1/3", kelvin = 2700 }',
        "pendants = { lumens = 600 }",
        "villa.toml:46: moods.dusk.lights.pendants.lumens: lumens need to know how the light was "
        "rendered, and rendered.lumens is missing at lights.pendant_b; add rendered = { lumens = "
        "... } there, or use stops for pendants",
    ),
    (
        'sun = "off"',
        "pendant_b = { watts = 8, lumens_per_watt = 100 }",
        "villa.toml:44: moods.dusk.lights.pendant_b.watts: watts need to know how the light was "
        "rendered, and rendered.lumens is missing at lights.pendant_b; add rendered = { lumens = "
        "... } there, or use stops for pendant_b",
    ),
    (
        'sun = "off"',
        "pendant_a = { candela = 1600 }",
        "villa.toml:44: moods.dusk.lights.pendant_a.candela: candela need to know how the light "
        "was rendered, and rendered.candela is missing at lights.pendant_a; add rendered = { "
        "candela = ... } there, or use stops for pendant_a",
    ),
    (
        "[look]",
        '[camera]\nmeter = { of = "keys" }\n[look]',
        'villa.toml:34: camera.meter.of: there is no light or group called "keys"; did you mean '
        '"key"?',
    ),
    (
        "[look]",
        '[camera]\nmeter = { of = ["sun", "pendant"], mood = "dsk" }\n[look]',
        'villa.toml:34: camera.meter.of[1]: there is no light or group called "pendant"; did you '
        'mean "pendants"?\n'
        'villa.toml:34: camera.meter.mood: there is no mood called "dsk"; did you mean "dusk"?',
    ),
    (
        "[look]",
        '[camera]\nwhite_balance = { neutral = [0.5, 0.5], neutral_mood = "noon" }\n[look]',
        'villa.toml:34: camera.white_balance.neutral_mood: there is no mood called "noon"; known '
        "are day, dusk",
    ),
    (
        'title = "Blue hour"',
        'daylight = { sun = "son", sky = "sky", sun_altitude_degrees = -4 }',
        'villa.toml:40: moods.dusk.daylight.sun: there is no light or group called "son"; did you '
        'mean "sun"?',
    ),
    (
        'title = "Blue hour"',
        "regions = [{ area = { ellipse = [0, 0, 1, 1] }, lights = { lampe = 1 } }]",
        "villa.toml:40: moods.dusk.regions[0].lights.lampe: there is no light or group called "
        '"lampe"; known are sun, sky, pendant_a, pendant_b, pendants',
    ),
    (
        "bits = 16",
        'moods = ["dusk", "nihgt"]',
        'villa.toml:57: deliverables[1].moods[1]: there is no mood called "nihgt"; known are day, '
        "dusk",
    ),
    (
        "bits = 16",
        'name = "{recipe}_{mod}"',
        'villa.toml:57: deliverables[1].name: found {mod} in "{recipe}_{mod}"; known are {recipe}, '
        '{mood}, {frame}, {format}, {space}, {width}, {suffix}; did you mean "mood"?',
    ),
    (
        "bits = 16",
        'name = "{mood"',
        'villa.toml:57: deliverables[1].name: found "{mood"; braces come in pairs: {mood}',
    ),
    (
        "bits = 16",
        'name = "../{mood}"',
        'villa.toml:57: deliverables[1].name: found "../{mood}"; expected a plain file name, '
        'without folders and without any of / \\ : * ? " < > |; folders are chosen by --out',
    ),
    (
        "bits = 16",
        'name = " "',
        'villa.toml:57: deliverables[1].name: found ""; expected a plain file name, '
        'without folders and without any of / \\ : * ? " < > |; folders are chosen by --out',
    ),
    (
        "bits = 16",
        'name = "villa"',
        'villa.toml:55: deliverables[1]: its name "villa" gives every mood the same file; put '
        "{mood} into the name",
    ),
    (
        'format = "tiff"',
        'format = "png"',
        "villa.toml:55: deliverables[1]: would write the same file as deliverables[0]; give it a "
        'suffix = "..." or a name of its own',
    ),
    (
        'layer = "pendant_b"',
        'layer = "pendant_a"',
        "villa.toml:25: lights.pendant_b: is the same pass as lights.pendant_a: lamps.exr, layer "
        "pendant_a; each light has a pass of its own; name its file, layer or part",
    ),
    (
        'beauty = { file = "beauty.exr" }',
        'beauty = { file = "sun.exr" }',
        "villa.toml:9: passes.beauty: is the same picture as lights.sun: sun.exr; the beauty is "
        "the view with all lights at once",
    ),
    (
        "[look]",
        '[sheet]\nname = "{recipe}_dusk"\n[look]',
        "villa.toml:54: deliverables[0]: would write the same file as sheet; give it a suffix = "
        '"..." or a name of its own',
    ),
    (
        "[moods.dusk.look.tone]",
        '[moods."dusk/2"]\n[moods.dusk.look.tone]',
        'villa.toml:48: moods."dusk/2": found the name "dusk/2"; a name is up to 80 letters, '
        "digits, spaces, '-', '_' or '.', as it also names files",
    ),
]


@pytest.mark.parametrize(("right", "wrong", "expected"), REFERENCES)
def test_names_that_lead_nowhere(
    said_of: Said, villa_text: str, right: str, wrong: str, expected: str
) -> None:
    assert villa_text.count(right) >= 1
    assert said_of(villa_text.replace(right, wrong, 1)) == expected


@pytest.mark.parametrize(
    ("bases", "expected"),
    [
        ({"day": "day"}, ["moods.day.based_on: the mood builds on itself: day -> day"]),
        ({"day": "dusk"}, ["moods.day.based_on: the mood builds on itself: day -> dusk -> day"]),
    ],
)
def test_rings_of_moods(
    said_of: Said, villa_text: str, bases: dict[str, str], expected: list[str]
) -> None:
    text = villa_text
    for mood, base in bases.items():
        text = text.replace(f"[moods.{mood}]", f'[moods.{mood}]\nbased_on = "{base}"', 1)
    said = said_of(text).splitlines()
    assert [line.partition("; ")[0].partition(": ")[2] for line in said] == expected


def test_two_rings_are_two_faults(faults_of: Faults, villa_text: str) -> None:
    text = villa_text + "".join(
        f'[moods.{name}]\nbased_on = "{base}"\n' for name, base in ("ab", "ba", "cd", "dc", "ea")
    )
    assert [fault.place for fault in faults_of(text)] == ["moods.a.based_on", "moods.c.based_on"]


FILES = [
    (
        'file = "sun.exr"',
        'file = "Sun.exr"',
        'villa.toml:12: lights.sun.file: there is no file passes/Sun.exr; did you mean "sun.exr"?',
    ),
    (
        'file = "sun.exr"',
        'file = "more/sun.exr"',
        "villa.toml:12: lights.sun.file: there is no file passes/more/sun.exr; there is no folder "
        "passes/more",
    ),
    (
        'file = "sun.exr"',
        "file = 'passes\\sun.exr'",
        "villa.toml:12: lights.sun.file: there is no file passes/passes\\sun.exr; write folders "
        "with '/' on every system",
    ),
    (
        'file = "sun.exr"',
        'file = "../passes"',
        "villa.toml:12: lights.sun.file: passes/../passes is a folder; expected a file",
    ),
    (
        'file = "sun.exr"',
        'file = ""',
        'villa.toml:12: lights.sun.file: found ""; expected the name of a file',
    ),
    (
        'file = "sun.exr"',
        'file = "sun.####.exr"',
        'villa.toml:12: lights.sun.file: found "sun.####.exr"; #### needs passes.frame; say '
        "passes.frame, or write [#] for a # that is part of the name",
    ),
    (
        'file = "sun.exr"',
        'file = "{view}/sun.exr"',
        'villa.toml:12: lights.sun.file: found "{view}/sun.exr"; {view} needs passes.view; say '
        "passes.view, or write [{] for a brace that is part of the name",
    ),
    (
        'folder = "passes"',
        'folder = "pases"',
        "villa.toml:8: passes.folder: the passes' folder pases does not exist; put the folder "
        "right, or name another with --passes",
    ),
    (
        'title = "Blue hour"',
        'plate = { file = "sky.jpg" }',
        "villa.toml:40: moods.dusk.plate.file: there is no file sky.jpg",
    ),
    (
        'title = "Blue hour"',
        'overlays = [{ file = "people.png" }]',
        "villa.toml:40: moods.dusk.overlays[0].file: there is no file people.png",
    ),
    (
        'title = "Blue hour"',
        'regions = [{ area = { ids = "ids.exr", id = [4] } }, { area = { mask = "m.png" } }]',
        "villa.toml:40: moods.dusk.regions[0].area.ids: there is no file passes/ids.exr\n"
        "villa.toml:40: moods.dusk.regions[1].area.mask: there is no file m.png",
    ),
    (
        'tone = "neutral"',
        'grade = { luts = [{ file = "a.cube" }], cdl = { file = "a.cc" } }\n'
        'view = { config = "studio.ocio", display = "d", view = "v" }',
        "villa.toml:34: look.grade.cdl.file: there is no file a.cc\n"
        "villa.toml:34: look.grade.luts[0].file: there is no file a.cube\n"
        "villa.toml:35: look.view.config: there is no file studio.ocio",
    ),
    (
        'beauty = { file = "beauty.exr" }',
        'beauty = { file = "all.exr" }\nrepair = { albedo = "albedo.exr", normal = "sun.exr" }',
        "villa.toml:9: passes.beauty.file: there is no file passes/all.exr\n"
        "villa.toml:10: passes.repair.albedo: there is no file passes/albedo.exr",
    ),
]


@pytest.mark.parametrize(("right", "wrong", "expected"), FILES)
def test_files_that_are_not_there(
    said_of: Said, villa_text: str, right: str, wrong: str, expected: str
) -> None:
    assert said_of(villa_text.replace(right, wrong, 1)) == expected


def test_files_need_not_be_there_when_not_asked_for(faults_of: Faults, villa_text: str) -> None:
    assert not faults_of(villa_text.replace("sun.exr", "none.exr"), check_files=False)


def test_a_built_in_config_is_no_file(faults_of: Faults, villa_text: str) -> None:
    view = 'view = { config = "ocio://default", display = "d", view = "v" }'
    assert not faults_of(villa_text.replace('tone = "neutral"', view))


def test_frame_and_camera_are_filled_in(write: Callable[..., Path], villa_text: str) -> None:
    path = write(
        villa_text.replace('"sun.exr"', '"{view}/sun.##.exr"').replace(
            'folder = "passes"', 'folder = "passes"\nframe = 7\nview = "kitchen"'
        )
    )
    (path.parent / "passes" / "kitchen").mkdir()
    (path.parent / "passes" / "kitchen" / "sun.07.exr").touch()
    recipe = load(path)
    sun = recipe.pass_path(recipe.model.lights["sun"].file)
    assert sun == path.parent / "passes" / "kitchen" / "sun.07.exr"


def test_a_frame_that_changes_no_file(said_of: Said, villa_text: str) -> None:
    framed = villa_text.replace('folder = "passes"', 'folder = "passes"\nframe = 7')
    assert said_of(framed) == (
        "villa.toml:9: passes.frame: found 7, and no light's file has #### in its name, so each "
        'frame would be the same; write #### for the digits, as in file = "sun.####.exr"'
    )


def test_the_digits_of_a_frame_are_shown_as_they_stand(
    write: Callable[..., Path], villa_text: str
) -> None:
    text = villa_text.replace('"sun.exr"', '"k1_sun_00012.exr"')
    with pytest.raises(RecipeError, match=r'as in file = "k1_sun_#####\.exr"'):
        load(write(text), changes=["passes.frame=12"], check_files=False)


def test_another_folder_of_passes(write: Callable[..., Path], villa_text: str) -> None:
    path = write(villa_text.replace('folder = "passes"', 'folder = "elsewhere"'))
    recipe = load(path, passes=path.parent / "passes")
    assert recipe.passes_folder == path.parent / "passes"


def test_another_folder_that_is_missing(write: Callable[..., Path], tmp_path: Path) -> None:
    with pytest.raises(RecipeError) as caught:
        load(write(), passes=tmp_path / "none")
    assert len(caught.value.faults) == 1
    assert f"--passes {tmp_path / 'none'}: the folder does not exist" in str(caught.value)


@pytest.mark.parametrize(
    "name", ["", " day", ".hidden", "x" * 81, "a{b}", "a:b", "a\\tb", "C:\\\\x"]
)
def test_names_that_cannot_name_files(faults_of: Faults, villa_text: str, name: str) -> None:
    (fault,) = faults_of(villa_text + f'[moods."{name}"]\n')
    assert fault.line == 58
    assert fault.found.startswith("found the name ")


@pytest.mark.parametrize("name", ["late dusk", "Dämmerung", "mood-2", "v1.5", "夜"])
def test_names_that_can(faults_of: Faults, villa_text: str, name: str) -> None:
    assert not faults_of(villa_text + f'[moods."{name}"]\n')


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
@pytest.mark.parametrize("target", ["gone.exr", "sun.exr"])
def test_a_link_that_leads_nowhere(tmp_path: Path, target: str) -> None:
    """Not "there is no file sun.exr; did you mean sun.exr?"."""
    (tmp_path / "sun.exr").symlink_to(target)
    recipe = tmp_path / "villa.toml"
    recipe.write_text(
        'format = 1\n[lights.sun]\nfile = "sun.exr"\nrole = "key"\n[moods.day]\n',
        encoding="utf-8",
    )
    with pytest.raises(RecipeError, match=r"sun\.exr is a broken link"):
        load(recipe)
