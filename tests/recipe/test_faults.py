"""Faults of values and keys: where they are, what they say, and that all come at once."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from evenfall.errors import Fault, RecipeError
from evenfall.recipe import RecipeModel, load

Faults = Callable[..., list[Fault]]
Said = Callable[..., str]

MISTAKES = [
    # what stands in the villa, what a person writes instead, what they read
    (
        'role = "key"',
        'role = "Key"',
        'villa.toml:13: lights.sun.role: found "Key"; expected "key", "fill", "sky", "fixture", '
        '"outdoor fixture" or "glow"; did you mean "key"?',
    ),
    (
        'role = "key"',
        'rol = "key"',
        'villa.toml:13: lights.sun.rol: is not a known key here; did you mean "role"?',
    ),
    (
        'file = "sun.exr"',
        'fil = "sun.exr"',
        'villa.toml:12: lights.sun.fil: is not a known key here; did you mean "file"?',
    ),
    (
        'file = "sun.exr"\n',
        "",
        "villa.toml:11: lights.sun.file: is missing; expected text or a list of texts, the "
        "picture file of the pass, relative to the passes' folder; a list of files that add up "
        "to it",
    ),
    (
        'file = "sun.exr"',
        "file = 12",
        "villa.toml:12: lights.sun.file: found 12; expected text or a list of texts; text stands "
        'in quotes: "12"',
    ),
    (
        "kelvin = 10000",
        "kelvin = 500",
        "villa.toml:18: lights.sky.rendered.kelvin: found 500; expected a number from 1000 to "
        "25000",
    ),
    (
        "kelvin = 10000",
        'kelvin = "10000"',
        'villa.toml:18: lights.sky.rendered.kelvin: found "10000"; expected a number from 1000 to '
        "25000; numbers stand without quotes: 10000",
    ),
    (
        "kelvin = 10000",
        'kelvin = "10000 K"',
        'villa.toml:18: lights.sky.rendered.kelvin: found "10000 K"; expected a number from 1000 '
        "to 25000; numbers stand without quotes and units: 10000",
    ),
    (
        "kelvin = 10000",
        "kelvin = nan",
        "villa.toml:18: lights.sky.rendered.kelvin: found nan; expected an ordinary number",
    ),
    (
        "kelvin = 10000",
        "kelvin = true",
        "villa.toml:18: lights.sky.rendered.kelvin: found true; expected a number from 1000 to "
        "25000",
    ),
    (
        "rendered = { kelvin = 10000 }",
        "kelvin = 10000",
        "villa.toml:18: lights.sky.kelvin: is not a known key here; what a light does is said "
        "in a mood: moods.NAME.lights.sky.kelvin; how it was rendered: lights.sky.rendered.kelvin",
    ),
    (
        "rendered = { kelvin = 10000 }",
        "intensity = 2",
        "villa.toml:18: lights.sky.intensity: is not a known key here; what a light does is "
        "said in a mood: moods.NAME.lights.sky.stops",
    ),
    (
        "rendered = { kelvin = 10000 }",
        'rendered = "10000 K"',
        'villa.toml:18: lights.sky.rendered: found "10000 K"; expected a table; write '
        "{ kelvin = ... }",
    ),
    (
        "sky = { stops = -2, kelvin = 12000 }   # down and blue",
        'sky = { stops = "two", kelvin = 12000 }',
        'villa.toml:45: moods.dusk.lights.sky.stops: found "two"; expected stops from -30 to 30, '
        'a number or text such as "+1 1/3", or a step such as "down 2" from the mood that this one '
        "is based on",
    ),
    (
        "sky = { stops = -2, kelvin = 12000 }   # down and blue",
        'sky = "half"',
        'villa.toml:45: moods.dusk.lights.sky: found "half"; expected "on", "off", stops such as '
        '-2 or "+1 1/3", a step such as "down 2", or a table',
    ),
    (
        "sky = { stops = -2, kelvin = 12000 }   # down and blue",
        "sky = 40",
        'villa.toml:45: moods.dusk.lights.sky: found 40; expected "on", "off", stops such as -2 '
        'or "+1 1/3", a step such as "down 2", or a table',
    ),
    (
        "sky = { stops = -2, kelvin = 12000 }   # down and blue",
        "sky = 12000",
        'villa.toml:45: moods.dusk.lights.sky: found 12000; expected "on", "off", stops such as -2 '
        'or "+1 1/3", a step such as "down 2", or a table; a colour temperature is '
        "{ kelvin = 12000 }",
    ),
    (
        "sky = { stops = -2, kelvin = 12000 }   # down and blue",
        'sky = "2700 K"',
        'villa.toml:45: moods.dusk.lights.sky: found "2700 K"; expected "on", "off", stops such as '
        '-2 or "+1 1/3", a step such as "down 2", or a table; a colour temperature is '
        "{ kelvin = 2700 }",
    ),
    (
        'sun = "off"',
        "sun = { watts = 9 }",
        "villa.toml:44: moods.dusk.lights.sun: watts and lumens_per_watt go together; say both, as "
        "in { watts = 9, lumens_per_watt = 90 }, or give lumens",
    ),
    (
        'sun = "off"',
        "sun = false",
        'villa.toml:44: moods.dusk.lights.sun: found false; expected "on", "off", stops such as -2 '
        'or "+1 1/3", a step such as "down 2", or a table; write "off"',
    ),
    (
        'sun = "off"',
        "sun = { stops = 1, factor = 2 }",
        "villa.toml:44: moods.dusk.lights.sun: one gain at a time, found stops and factor; "
        "keep one of them",
    ),
    (
        'sun = "off"',
        'sun = { kelvin = 3000, hex = "#ffd2a0" }',
        "villa.toml:44: moods.dusk.lights.sun: one tint at a time, found kelvin and hex; "
        "keep one of them",
    ),
    (
        'sun = "off"',
        'sun = { hex = "orange" }',
        'villa.toml:44: moods.dusk.lights.sun.hex: found "orange"; expected a colour such as '
        '"#ffd2a0"',
    ),
    (
        'sun = "off"',
        "sun = { rgb = [1, 0.5] }",
        "villa.toml:44: moods.dusk.lights.sun.rgb: found [1, 0.5]; expected three numbers, red, "
        "green and blue, such as [1.0, 0.9, 0.8]",
    ),
    (
        'sun = "off"',
        'sun = { rgb = [1, 0.5, "x"] }',
        'villa.toml:44: moods.dusk.lights.sun.rgb: found [1, 0.5, "x"]; expected three numbers, '
        "red, green and blue, such as [1.0, 0.9, 0.8]",
    ),
    (
        'tone = "neutral"',
        'tone = "evenfal"',
        'villa.toml:34: look.tone: found "evenfal"; expected "evenfall", "reinhard", '
        '"hable", "neutral", "clip" or "aces2", or a table with curve and its settings; did you '
        'mean "evenfall"?',
    ),
    (
        'tone = "neutral"',
        'tone = "neutral"\n[camera.meter]\narea = { ids = "ids.exr", id = 7 }',
        "villa.toml:36: camera.meter.area.id: found 7; expected a list of whole numbers; a list "
        "stands in brackets: [7]",
    ),
    (
        'tone = "neutral"',
        'tone = { curve = "evenfal", contrast = 1.2 }',
        'villa.toml:34: look.tone.curve: found "evenfal"; expected "evenfall", "reinhard", '
        '"hable", "neutral", "clip" or "aces2"; did you mean "evenfall"?',
    ),
    (
        'tone = "neutral"',
        "tone = { curve = 3 }",
        'villa.toml:34: look.tone.curve: found 3; expected "evenfall", "reinhard", "hable", '
        '"neutral", "clip" or "aces2"',
    ),
    (
        'tone = "neutral"',
        'tone = { curve = "reinhard", contrast = 2 }',
        "villa.toml:34: look.tone.contrast: is not a known key here; contrast goes with curve "
        '= "evenfall"',
    ),
    (
        'tone = "neutral"',
        "tone = 3",
        'villa.toml:34: look.tone: found 3; expected "evenfall", "reinhard", "hable", "neutral", '
        '"clip" or "aces2", or a table with curve and its settings',
    ),
    (
        'tone = "neutral"',
        'grade = { luts = ["warm.cube"] }',
        'villa.toml:34: look.grade.luts[0]: found "warm.cube"; expected a table; write '
        '{ file = "warm.cube" }',
    ),
    (
        'tone = "neutral"',
        'grade = { luts = "warm.cube" }',
        'villa.toml:34: look.grade.luts: found "warm.cube"; expected a list of tables; a list '
        'stands in brackets: [{ file = "warm.cube" }]',
    ),
    (
        'based_on = "day"',
        'based_on = "day"\ntone = "evenfall"',
        "villa.toml:42: moods.dusk.tone: is not a known key here; known keys: title, "
        "based_on, time_of_day, daylight, lights, camera, look, plate, overlays, regions, aims; "
        "tone belongs at moods.dusk.look.tone",
    ),
    (
        'based_on = "day"',
        "based_on = 3",
        'villa.toml:41: moods.dusk.based_on: found 3; expected text; text stands in quotes: "3"',
    ),
    (
        'format = "tiff"',
        'format = "tif"',
        'villa.toml:56: deliverables[1].format: found "tif"; expected "png", "jpeg", "tiff", '
        '"exr", "layered exr", "avif", "gain-map jpeg", "webp", "film", "hdr film", "moving avif" '
        'or "moving webp"; did you mean "tiff"?',
    ),
    (
        "bits = 16",
        "bits = 10",
        "villa.toml:55: deliverables[1]: tiff takes 8 or 16 bits, found 10",
    ),
    (
        "bits = 16",
        "width = 3",
        "villa.toml:57: deliverables[1].width: found 3; expected a whole number from 16 to 65535",
    ),
    (
        "bits = 16",
        "width = 1920.5",
        "villa.toml:57: deliverables[1].width: found 1920.5; expected a whole number from 16 to "
        "65535",
    ),
    (
        "bits = 16",
        'dither = "true"',
        'villa.toml:57: deliverables[1].dither: found "true"; expected true or false; true stands '
        "without quotes",
    ),
    (
        "bits = 16",
        'crop = "wide"',
        'villa.toml:57: deliverables[1].crop: found "wide"; expected an aspect ratio such as '
        '"16:9"',
    ),
    (
        "[look]",
        '[camera]\nmeter = "of"\n[look]',
        'villa.toml:34: camera.meter: found "of"; expected a table or "off"; did you mean "off"?',
    ),
    (
        "[look]",
        "[camera]\nmeter = { of = 3 }\n[look]",
        "villa.toml:34: camera.meter.of: found 3; expected text or a list of texts; text stands in "
        'quotes: "3"',
    ),
    (
        "[look]",
        '[camera]\nmeter = { of = ["sun", 3] }\n[look]',
        'villa.toml:34: camera.meter.of[1]: found 3; expected text; text stands in quotes: "3"',
    ),
    (
        "[look]",
        '[camera.settings]\nshutter = "fast"\n[look]',
        'villa.toml:34: camera.settings.shutter: found "fast"; expected an exposure time in '
        'seconds such as "1/125" or 0.5',
    ),
    (
        "[look]",
        "[camera]\nmeter = {}\nsettings = {}\n[look]",
        "villa.toml:33: camera: exposure is by meter or by settings, not both",
    ),
    (
        "[look]",
        "[camera.white_balance]\nkelvin = 5600\nneutral = [0.5, 0.5]\n[look]",
        "villa.toml:33: camera.white_balance: white balance is by kelvin or by a neutral spot, "
        "not both",
    ),
    (
        "bits = 16",
        "bits = 16\nquality = 80",
        'villa.toml:55: deliverables[1]: quality goes with format = "jpeg", "avif", '
        '"gain-map jpeg", "webp", "film", "hdr film", "moving avif" or "moving webp"',
    ),
    (
        "bits = 16",
        "bits = 16\nlossless = true\npeak_nits = 800",
        'villa.toml:55: deliverables[1]: peak_nits goes with format = "avif", "gain-map jpeg" '
        'or "hdr film"; lossless goes with format = "webp" or "moving webp"',
    ),
    (
        'format = "tiff"\nbits = 16',
        'format = "webp"\nbits = 16',
        "villa.toml:55: deliverables[1]: webp takes 8 bits, found 16",
    ),
    (
        'format = "tiff"\nbits = 16',
        'format = "webp"\nlossless = true\nquality = 80',
        "villa.toml:55: deliverables[1]: quality has no effect on a lossless picture; say one of "
        "the two",
    ),
    (
        'format = "tiff"\nbits = 16',
        'format = "webp"\nwidth = 20000',
        "villa.toml:55: deliverables[1]: webp holds up to 16,383 pixels per side",
    ),
    (
        "bits = 16",
        "bits = 16\ncamera = false",
        'villa.toml:55: deliverables[1]: camera goes with format = "exr" or "layered exr"',
    ),
    (
        "bits = 16",
        'bits = 16\nids = "ids.exr"',
        'villa.toml:55: deliverables[1]: ids goes with format = "layered exr"',
    ),
    (
        "bits = 16",
        "bits = 16\ncrop_position = [0.2, 0.5]",
        "villa.toml:55: deliverables[1]: crop_position goes with crop, or with width and height "
        "together",
    ),
    (
        "[look]",
        "[camera.meter.area]\ngradient = { start = [0, 0], end = [0, 1] }\nfeather = 0.1\n[look]",
        "villa.toml:33: camera.meter.area: a gradient has no edge to feather; move its start and "
        "end apart",
    ),
    (
        "[look]",
        '[camera.meter.area]\nellipse = [0.5, 0.5, 0.1, 0.1]\nchannel = "R"\n[look]',
        "villa.toml:33: camera.meter.area: channel goes with mask or ids, which are files",
    ),
    (
        "[look]",
        "[camera.meter.area]\nrectangle = [0.8, 0.1, 0.2, 0.9]\n[look]",
        "villa.toml:33: camera.meter.area: a rectangle is left, top, right, bottom with left < "
        "right, top < bottom",
    ),
    (
        "[look]",
        "[camera.meter.area]\nellipse = [0.5, 0.5, 0.1]\n[look]",
        "villa.toml:34: camera.meter.area.ellipse: found [0.5, 0.5, 0.1]; expected a list of four "
        "numbers from 0 to 1",
    ),
    (
        'title = "Blue hour"',
        'daylight = { sun = "sun", latitude = 48.2 }',
        "villa.toml:40: moods.dusk.daylight: latitude, longitude and time go together; say all "
        "three, or sun_altitude_degrees",
    ),
    (
        'title = "Blue hour"',
        'plate = "sky.jpg"',
        'villa.toml:40: moods.dusk.plate: found "sky.jpg"; expected a table or "none"; write '
        '{ file = "sky.jpg" }',
    ),
    (
        'pendants = ["pendant_a", "pendant_b"]',
        'pendants = "pendant_a"',
        'villa.toml:31: groups.pendants: found "pendant_a"; expected a list of light names; a '
        'list stands in brackets: ["pendant_a"]',
    ),
    (
        "[look]",
        "[camera]\nwhite_balance = 5600\n[look]",
        'villa.toml:34: camera.white_balance: found 5600; expected a table or "none"; write '
        "{ kelvin = 5600 }",
    ),
    (
        "[look]",
        "[camera]\niso = 100\n[look]",
        "villa.toml:34: camera.iso: is not a known key here; known keys: exposure_stops, "
        "meter, settings, white_balance, as_in; iso belongs at camera.settings.iso",
    ),
    (
        "[look]",
        "[camera.meter.area]\nrectangle = [100, 200, 400, 500]\n[look]",
        "villa.toml:34: camera.meter.area.rectangle: found [100, 200, 400, 500]; expected a list "
        "of four numbers from 0 to 1",
    ),
    (
        "sky = { stops = -2, kelvin = 12000 }",
        "sky = { gain = 0.25 }",
        "villa.toml:45: moods.dusk.lights.sky.gain: is not a known key here; did you mean "
        '"stops" or "factor"?',
    ),
    (
        'role = "sky"',
        'role = "dome"',
        'villa.toml:17: lights.sky.role: found "dome"; expected "key", "fill", "sky", "fixture", '
        '"outdoor fixture" or "glow"; did you mean "sky"?',
    ),
    (
        "[look]",
        '[moods.DUSK]\nbased_on = "day"\n[look]',
        'villa.toml:41: moods.dusk: differs from "DUSK" only in capitals; rename one: their files '
        "would have one name on many systems",
    ),
    (
        "format = 1",
        "format = 1\nlight = {}",
        'villa.toml:3: light: is not a known key here; did you mean "lights"?',
    ),
    (
        "format = 1",
        "format = 1\nexposure_stops = 1",
        "villa.toml:3: exposure_stops: is not a known key here; known keys: format, based_on, "
        "project, passes, lights, groups, camera, look, moods, sequence, deliverables, sheet, "
        "draft, naming, record, silence",
    ),
]


@pytest.mark.parametrize(("right", "wrong", "expected"), MISTAKES)
def test_one_mistake_is_one_fault(
    said_of: Said, villa_text: str, right: str, wrong: str, expected: str
) -> None:
    assert villa_text.count(right) >= 1
    assert said_of(villa_text.replace(right, wrong, 1)) == expected


def test_all_mistakes_come_at_once(faults_of: Faults, villa_text: str) -> None:
    text = villa_text
    for right, wrong in [
        ('role = "key"', 'role = "kee"'),
        ("kelvin = 10000", "kelvin = 1"),
        ('layer = "pendant_b"', 'layer = "pendant_a"'),
        ('["pendant_a", "pendant_b"]', '["pendant_a", "pendant_c"]'),
        ('based_on = "day"', 'based_on = "dusk"'),
        ('sun = "off"', 'son = "off"'),
        ("contrast = 1.4", "contrast = 14"),
        ('format = "png"', 'format = "gif"'),
        ("bits = 16", 'moods = ["nigth"]'),
        ('file = "sky.exr"', 'file = "skies.exr"'),
    ]:
        assert right in text
        text = text.replace(right, wrong, 1)
    assert [(fault.line, fault.place) for fault in faults_of(text)] == [
        (13, "lights.sun.role"),
        (16, "lights.sky.file"),
        (18, "lights.sky.rendered.kelvin"),
        (25, "lights.pendant_b"),
        (31, "groups.pendants[1]"),
        (41, "moods.dusk.based_on"),
        (44, "moods.dusk.lights.son"),
        (50, "moods.dusk.look.tone.contrast"),
        (53, "deliverables[0].format"),
        (57, "deliverables[1].moods[0]"),
    ]


def test_a_faulty_entry_of_a_list_does_not_shift_the_others(
    faults_of: Faults, villa_text: str
) -> None:
    text = villa_text.replace('format = "png"', "print = {}\nwidth = 100", 1)
    text = text.replace("bits = 16", 'moods = ["nigth"]')
    assert [fault.place for fault in faults_of(text)] == [
        "deliverables[0].print.width_mm",
        "deliverables[1].moods[0]",
    ]


def test_a_fault_causes_no_others(faults_of: Faults, villa_text: str) -> None:
    """The mood whose light is faulty still knows the light; a removed value breaks no rule."""
    text = villa_text.replace('file = "sun.exr"', "file = 3")
    text = text.replace('sun = "off"', "sun = { watts = -4, lumens_per_watt = 100 }")
    assert [fault.place for fault in faults_of(text)] == [
        "lights.sun.file",
        "moods.dusk.lights.sun.watts",
    ]


@pytest.mark.parametrize(
    ("first", "said"),
    [
        (
            "format = 2",
            "villa.toml:2: format: found 2; this evenfall knows format 1; update evenfall",
        ),
        ("format = 0", "found 0; this evenfall knows format 1; the first line of a recipe is"),
        ('format = "1"', 'found "1"; this evenfall knows format 1; the first line of a recipe is'),
        ("", "villa.toml: format: is missing; this evenfall knows format 1"),
    ],
)
def test_versions_of_the_format(said_of: Said, villa_text: str, first: str, said: str) -> None:
    assert said in said_of(villa_text.replace("format = 1", first, 1))


def test_a_newer_format_hides_what_only_it_knows(faults_of: Faults, villa_text: str) -> None:
    text = villa_text.replace("format = 1", "format = 7\nhologram = true", 1)
    assert [fault.place for fault in faults_of(text)] == ["format"]


@pytest.mark.parametrize(
    ("text", "places"),
    [
        ("format = 1", ["lights", "moods"]),
        ("format = 1\nlights = {}\nmoods = {}", ["lights", "moods"]),
        ("format = 1\nlights = 3\nmoods = []", ["lights", "moods"]),
        ("lights = [1]\nmoods = { day = 3 }\ndeliverables = { a = 1 }", None),
    ],
)
def test_recipes_that_are_hardly_there(
    faults_of: Faults, text: str, places: list[str] | None
) -> None:
    found = [fault.place for fault in faults_of(text)]
    expected = ["format", "lights", "moods.day", "deliverables"]
    assert sorted(found) == sorted(places or expected)


def test_no_message_speaks_the_libraries_jargon(faults_of: Faults, villa_text: str) -> None:
    """Every key of the villa with a value of every wrong kind: no jargon, never a crash."""
    import tomllib

    from evenfall.recipe.places import Place
    from evenfall.recipe.words.checking import check_tree

    def places_of(value: object, place: Place = ()) -> list[Place]:
        inner: list[tuple[str | int, object]] = []
        if isinstance(value, dict):
            inner = list(value.items())
        elif isinstance(value, list):
            inner = list(enumerate(value))
        return [place, *(each for key, item in inner for each in places_of(item, (*place, key)))]

    jargon = (
        "Input should",
        "valid dictionary",
        "union",
        "tuple",
        "Value error",
        "instance",
        "None",
    )
    for place in places_of(tomllib.loads(villa_text))[1:]:
        for wrong in (True, -1, 1.5, "no such", [], [3], {}, {"no": 1}, float("inf")):
            tree = tomllib.loads(villa_text)
            parent = tree
            for step in place[:-1]:
                parent = parent[step]
            parent[place[-1]] = wrong
            for finding in check_tree(tree).findings:
                said = " ".join((finding.found, finding.allowed, finding.hint))
                assert finding.place
                assert not any(word in said for word in jargon), said


def test_faults_are_data_too(faults_of: Faults, villa_text: str) -> None:
    fault = faults_of(villa_text.replace('role = "key"', 'role = "kee"'))[0]
    assert (fault.line, fault.place, fault.found) == (13, "lights.sun.role", 'found "kee"')
    assert fault.file.endswith("villa.toml")


def test_a_sound_recipe_loads(write: Callable[..., Path]) -> None:
    recipe = load(write())
    assert isinstance(recipe.model, RecipeModel)
    assert list(recipe.moods) == ["day", "dusk"]
    assert recipe.members("pendants") == ("pendant_a", "pendant_b")
    assert recipe.passes_folder.is_absolute()
    json.dumps(recipe.model.model_dump(mode="json"))


def test_other_packages_point_into_the_recipe(write: Callable[..., Path]) -> None:
    recipe = load(write())
    fault = recipe.fault("moods.dusk.lights.sky", "is too blue", hint="take less")
    assert str(fault) == f"{recipe.path}:45: moods.dusk.lights.sky: is too blue; take less"
    assert recipe.fault(("deliverables", 1, "bits"), "x").line == 57
    assert recipe.fault("moods.it's late", "x").line is None


def test_other_packages_point_at_one_off_changes(write: Callable[..., Path]) -> None:
    recipe = load(write(), changes=["moods.dusk.lights.sky.stops=20"])
    fault = recipe.fault("moods.dusk.lights.sky", "is too bright")
    assert fault.file == "--set moods.dusk.lights.sky.stops=20"


def test_a_recipe_error_ends_with_2() -> None:
    assert RecipeError("x").exit_code == 2


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        (
            "[lights.sun]",
            '[[lights]]\nname = "sun"',
            "villa.toml:2: lights: found [a table]; expected tables by name; each has a heading of "
            "its own: [lights.NAME]",
        ),
        (
            "[moods.day]",
            '[[moods]]\nname = "day"',
            "villa.toml:4: moods: found [a table]; expected tables by name; each has a heading of "
            "its own: [moods.NAME]",
        ),
    ],
)
def test_headings_in_double_brackets_are_one_fault(
    said_of: Said, right: str, wrong: str, said: str
) -> None:
    text = (
        'format = 1\n[lights.sun]\nfile = "passes/sun.exr"\n[moods.day]\n'
        '[camera.meter]\nof = "sun"\nmood = "day"\n'
    )
    assert said_of(text.replace(right, wrong)) == said
