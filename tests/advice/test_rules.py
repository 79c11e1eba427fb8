"""Each piece of advice is given where it belongs, not elsewhere, and can be silenced.

The rules are common practice of architectural photography; no source prints them as a table.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from evenfall.advice.facts import MoodFacts, light_facts
from evenfall.advice.picture_sizes import frame_facts
from evenfall.advice.rules import ADVICE_CODES, advise, advise_on_facts
from evenfall.errors import Advice
from evenfall.recipe import Recipe, load
from evenfall.recipe.places import parse_place

SOUND = """
format = 1
[lights.sun]
file = "sun.exr"
role = "key"
[lights.fill]
file = "fill.exr"
role = "fill"
[lights.lamps]
file = "lamps.exr"
[lights.lantern]
file = "lantern.exr"
role = "outdoor fixture"
[moods.day.lights]
lantern = "off"
[moods.dusk]
based_on = "day"
lights.sun = "off"
lights.lantern = "on"
lights.lamps = { stops = 1 }
"""


def _recipe(folder: Path, text: str) -> Recipe:
    path = folder / "view.toml"
    path.write_text(text, encoding="utf-8")
    return load(path, check_files=False)


def _codes(folder: Path, text: str) -> list[str]:
    return [advice.code for advice in advise(_recipe(folder, text))]


def test_a_sound_recipe_gets_no_advice(tmp_path: Path) -> None:
    assert _codes(tmp_path, SOUND) == []


CASES = {
    "no-key": (SOUND.replace('role = "key"', 'role = "glow"'), "lights"),
    "fixtures-metered": (SOUND + '\n[camera]\nmeter = { of = "mix" }\n', "camera.meter"),
    "outdoor-on-by-day": (
        SOUND.replace('lantern = "off"', 'fill = "-1"') + '\n[project]\nscene = "exterior"\n',
        "moods.day.lights",
    ),
    "fixtures-off-at-dusk": (
        SOUND.replace('lights.lantern = "on"', "").replace("{ stops = 1 }", '"off"'),
        "moods.dusk.lights",
    ),
    "role-unlike-name": (SOUND.replace('role = "key"', 'role = "sky"'), "lights.sun.role"),
    "rgb-of-255": (
        SOUND.replace('lights.sun = "off"', "lights.sun = { rgb = [255, 210, 160] }"),
        "moods.dusk.lights.sun.rgb",
    ),
    "sun-after-sunset": (
        SOUND.replace('lights.sun = "off"', "lights.sun = -1"),
        "moods.dusk.lights",
    ),
    "hdr-unused": (
        SOUND + '\n[look]\ntone = "neutral"\n[[deliverables]]\nformat = "avif"\n',
        "look.tone",
    ),
    "only-brightness": (
        SOUND + '\n[moods.bright]\nbased_on = "day"\ncamera.exposure_stops = 1\n',
        "moods.bright",
    ),
}


@pytest.mark.parametrize("code", CASES)
def test_advice_is_given_with_place_and_reason(tmp_path: Path, code: str) -> None:
    text, place = CASES[code]
    given = [advice for advice in advise(_recipe(tmp_path, text)) if advice.code == code]
    assert len(given) == 1
    assert given[0].place == place
    assert len(given[0].reason) > 20


@pytest.mark.parametrize("code", CASES)
def test_advice_can_be_silenced(tmp_path: Path, code: str) -> None:
    text = CASES[code][0].replace("format = 1", f'format = 1\nsilence = ["{code}"]')
    assert code not in _codes(tmp_path, text)


@pytest.mark.parametrize(
    ("tone", "said"),
    [
        *(("neutral", True), ("hable", True)),
        *(("evenfall", False), ("aces2", False), ("reinhard", False), ("clip", False)),
    ],
)
@pytest.mark.parametrize("form", ["avif", "gain-map jpeg", "png"])
def test_hdr_of_a_curve_that_ends_at_white(
    tmp_path: Path, tone: str, form: str, said: bool
) -> None:
    """Which curves do is held by what decoders find: tests/look/test_hdr_range.py."""
    text = SOUND + f'look.tone = "{tone}"\n[[deliverables]]\nformat = "{form}"\n'
    assert ("hdr-unused" in _codes(tmp_path, text)) is (said and form != "png")


def test_key_off_in_every_mood_is_noticed(tmp_path: Path) -> None:
    text = SOUND.replace('lantern = "off"', 'lantern = "off"\nsun = "off"')
    assert "no-key" in _codes(tmp_path, text)


@pytest.mark.parametrize(
    ("camera", "takes_the_mix"),
    [
        ('meter = { of = "key" }', True),
        ('meter = "off"', False),
        ('meter = { of = "fill" }', False),
        ('settings = { iso = 100, aperture = 8, shutter = "1/60" }', False),
    ],
)
@pytest.mark.parametrize("role", ["key", "glow"])
def test_without_a_key_the_meter_is_spoken_of_only_where_it_needs_one(
    tmp_path: Path, camera: str, takes_the_mix: bool, role: str
) -> None:
    text = SOUND.replace('lantern = "off"', 'lantern = "off"\nsun = "off"')
    text = text.replace('role = "key"', f'role = "{role}"') + f"\n[camera]\n{camera}\n"
    (given,) = (a for a in advise(_recipe(tmp_path, text)) if a.code == "no-key")
    speaks = "takes the mix" in given.reason or "exposure is set" in given.reason
    assert speaks is takes_the_mix


OVERCAST = """
format = 1
[lights.sun]
file = "sun.exr"
role = "ROLE"
[lights.sky]
file = "sky.exr"
role = "sky"
[camera]
meter = { of = "METERED" }
[moods.overcast]
lights.sun = "off"
"""


@pytest.mark.parametrize("role", ["key", "glow"])
@pytest.mark.parametrize(("metered", "said"), [("sky", False), ("mix", True), ("key", True)])
def test_a_day_that_is_metered_on_the_sky_needs_no_key(
    tmp_path: Path, role: str, metered: str, said: bool
) -> None:
    text = OVERCAST.replace("ROLE", role).replace("METERED", metered)
    assert ("no-key" in _codes(tmp_path, text)) is said


def test_equal_stops_on_every_light_differ_only_in_brightness(tmp_path: Path) -> None:
    dimmer = """
[moods.dim]
based_on = "day"
lights.sun = "-2"
lights.fill = "-2"
lights.lamps = { factor = 0.25 }
"""
    assert "only-brightness" in _codes(tmp_path, SOUND + dimmer)
    tinted = dimmer.replace("{ factor = 0.25 }", "{ factor = 0.25, hex = '#ffcc88' }")
    assert "only-brightness" not in _codes(tmp_path, SOUND + tinted)


def test_interior_by_day_may_have_its_outdoor_fixture_on(tmp_path: Path) -> None:
    assert "outdoor-on-by-day" not in _codes(tmp_path, SOUND.replace('"off"', '"on"', 1))


@pytest.mark.parametrize(
    ("name", "role", "like"),
    [
        ("sun", "sky", "sun"),
        ("sun", "fixture", "sun"),
        ("Sun_02", "outdoor fixture", "sun"),
        ("sunlight", "sky", "sun"),
        ("sky", "key", "sky"),
        ("sky_dome", "key", "sky"),
        ("sky_light", "fixture", "sky"),
        ("pendants", "sky", "lamp"),
        ("garden_lantern", "sky", "lamp"),
        ("pendants", "key", "lamp"),
        ("floor_lamp", "key", "lamp"),
    ],
)
def test_a_role_that_the_name_plainly_contradicts(
    tmp_path: Path, name: str, role: str, like: str
) -> None:
    (given,) = _named(tmp_path, name, role)
    assert given.place == f"lights.{name}.role"
    assert given.message == f"named like a {like}, but its role is {role}"


PLAIN_ENOUGH = [
    *(("sun", "key"), ("sun", "fill"), ("sun", "glow"), ("sun_room", "fixture")),
    *(("sunroom_lamps", "fixture"), ("sun_lounge_pendants", "fixture"), ("sundeck", "glow")),
    *(("sun_terrace", "outdoor fixture"), ("sunset_sky", "sky"), ("sun_sky", "sky")),
    *(("sky", "sky"), ("sky", "fill"), ("sky", "glow"), ("sky_lounge", "fixture")),
    *(("skylight", "fixture"), ("skylight", "key"), ("sky_bar_sign", "glow")),
    *(("moon", "key"), ("window", "key"), ("lamps", "fill"), ("shelf_strip", "fixture")),
    *(("garden", "sky"), ("lamp_sky", "sky"), ("wall", "sky"), ("portal", "sky"), ("x", "sky")),
]


@pytest.mark.parametrize(("name", "role"), PLAIN_ENOUGH)
def test_names_that_may_mean_their_role(tmp_path: Path, name: str, role: str) -> None:
    assert _named(tmp_path, name, role) == []


@pytest.mark.parametrize("sun", ["fill", None])
def test_a_lamp_may_be_the_key_where_no_sun_is(tmp_path: Path, sun: str | None) -> None:
    lamp = '[lights.pendants]\nfile = "p.exr"\nrole = "key"\n'
    beside = "" if sun is None else f'[lights.sun]\nfile = "s.exr"\nrole = "{sun}"\n'
    assert "role-unlike-name" not in _codes(tmp_path, f"format = 1\n{lamp}{beside}[moods.day]\n")


def test_a_sky_may_be_the_key_where_there_is_no_sun(tmp_path: Path) -> None:
    overcast = 'format = 1\n[lights.sky]\nfile = "sky.exr"\nrole = "key"\n[moods.day]\n'
    assert _codes(tmp_path, overcast) == []


def test_a_role_that_is_not_said_is_told_so(tmp_path: Path) -> None:
    bare = 'format = 1\n[lights.sun]\nfile = "sun.exr"\n[moods.day]\n'
    (given,) = (a for a in advise(_recipe(tmp_path, bare)) if a.code == "role-unlike-name")
    assert given.message.endswith("its role is fixture, because none is given")


def _named(folder: Path, name: str, role: str) -> list[Advice]:
    """Advice on the role of a light beside a sun that is the key."""
    light = f'[lights.{name}]\nfile = "x.exr"\nrole = "{role}"\n'
    sun = '[lights.sun_key]\nfile = "sun.exr"\nrole = "key"\n'
    recipe = _recipe(folder, f"format = 1\n{light}{sun}[moods.day]\n")
    return [advice for advice in advise(recipe) if advice.code == "role-unlike-name"]


@pytest.mark.parametrize(
    ("mood", "setting", "said"),
    [
        ('[moods.dusk]\nlights.sun = "on"', "as rendered", "dusk"),
        ("[moods.dusk]\nlights.sun = -2", "-2 stops", "dusk"),
        ("[moods.late]\ntitle = 'The blue hour'\nlights.sun = -3.5", "-3 1/2 stops", "blue hour"),
        ("[moods.night_2]\nlights.sun = { factor = 0.5, kelvin = 8000 }", "x 0.5", "night"),
        ("[moods.blue_hour]\nbased_on = 'day'", "as rendered", "blue hour"),
    ],
)
def test_a_sun_that_stays_on_after_sunset(
    tmp_path: Path, mood: str, setting: str, said: str
) -> None:
    (given,) = _after_sunset(tmp_path, mood)
    assert given.message == f"sun is on, {setting}, in a mood that says '{said}'"
    assert "common practice" in given.reason


@pytest.mark.parametrize(
    "mood",
    [
        '[moods.dusk]\nlights.sun = "off"',
        "[moods.dusk]\nlights.sun = -4",
        "[moods.night]\nlights.sun = { factor = 0 }",
        "[moods.night]\ntitle = 'Moonlit night'\nlights.sun = -2",
        "[moods.golden_hour]",
        "[moods.golden_hour]\ntitle = 'Golden hour, before dusk'",
        "[moods.sunset]",
        "[moods.sunset_to_dusk]",
        "[moods.evening]\ntime_of_day = 'dusk'",
        "[moods.night]\ntime_of_day = 'day'",
        "[moods.midnightblue]",
        "[moods.blue]\ntitle = 'An hour in blue'",
        "[moods.dusk]\ndaylight = { sun = 'sun', sun_altitude_degrees = -3 }",
        "[moods.dusk]\nlights.sun = { match = { to = 'fill', ratio = '9:1' } }",
    ],
)
def test_no_sun_after_sunset_is_found_where_there_may_be_none(tmp_path: Path, mood: str) -> None:
    assert _after_sunset(tmp_path, mood) == []


def _after_sunset(folder: Path, mood: str) -> list[Advice]:
    day = SOUND[: SOUND.index("[moods.dusk]")]
    recipe = _recipe(folder, f"{day}{mood}\n")
    return [advice for advice in advise(recipe) if advice.code == "sun-after-sunset"]


def test_a_print_beyond_the_passes_is_enlarged(tmp_path: Path) -> None:
    """A3, 420 mm at 300 dpi, is 4961 pixels (ISO 216; an inch is 25.4 mm, ISO 80000-3)."""
    paper = '[[deliverables]]\nsuffix = "_a3"\nprint = { width_mm = 420, dpi = 300 }\n'
    recipe = _recipe(tmp_path, SOUND + "[[deliverables]]\n" + paper)
    (given,) = advise(recipe, frame_facts(recipe, (1920, 1080)))
    assert (given.code, given.place) == ("enlarged", "deliverables[1]")
    assert given.message == "4961 x 2791 pixels are made of 1920 x 1080: enlarged 2.6 times"
    assert "116 dpi on 420 mm" in given.reason  # 1920 pixels on 16.535 inches
    assert advise(recipe, frame_facts(recipe, (4961, 2791))) == []
    assert advise(recipe, frame_facts(recipe, (4800, 2700))) == []  # 3 % is not seen
    assert advise(recipe) == []


def test_what_a_crop_leaves_counts_for_the_enlargement(tmp_path: Path) -> None:
    crop = '[[deliverables]]\nformat = "jpeg"\ncrop = "1:1"\nwidth = 1200\n'
    recipe = _recipe(tmp_path, SOUND + crop)
    (given,) = advise(recipe, frame_facts(recipe, (1600, 800)))
    assert given.message == "1200 x 1200 pixels are made of 800 x 800: enlarged 1.5 times"
    assert "a width of 800 at the most" in given.reason


def test_misspelt_silence_is_named_with_a_suggestion(tmp_path: Path) -> None:
    text = SOUND.replace("format = 1", 'format = 1\nsilence = ["fill-over-keys"]')
    given = advise(_recipe(tmp_path, text))
    assert [advice.code for advice in given] == ["unknown-silence"]
    assert "fill-over-key" in given[0].message


def _facts(
    fill_gain: float = 0.25, clipped_share: float = 0.0, noise_lightness: float = 0.2
) -> MoodFacts:
    grey = (1.0, 1.0, 1.0)
    lights = light_facts(
        {"sun": "key", "fill": "fill"},
        {"sun": grey, "fill": (fill_gain,) * 3},
        {"sun": grey, "fill": grey},
        (0.2126, 0.7152, 0.0722),
        {"sun": 1.0, "fill": fill_gain},
        {},
    )
    return MoodFacts("day", "Day", 0.0, lights, clipped_share, noise_lightness)


def test_sound_facts_get_no_advice(tmp_path: Path) -> None:
    assert advise_on_facts(_recipe(tmp_path, SOUND), [_facts()]) == []


@pytest.mark.parametrize(
    ("code", "facts"),
    [
        ("fill-over-key", _facts(fill_gain=1.5)),
        ("noise-shows", _facts(noise_lightness=1.8)),
        ("highlights-clipped", _facts(clipped_share=0.2)),
        ("highlights-clipped", replace(_facts(clipped_share=0.04), burnt_share=0.035)),
        ("murky", replace(_facts(), median_lightness=33.0, high_lightness=80.0)),
        ("no-plate", replace(_facts(), bare_share=0.1)),
    ],
)
def test_measured_advice(tmp_path: Path, code: str, facts: MoodFacts) -> None:
    assert [a.code for a in advise_on_facts(_recipe(tmp_path, SOUND), [facts])] == [code]
    silent = SOUND.replace("format = 1", f'format = 1\nsilence = ["{code}"]')
    assert advise_on_facts(_recipe(tmp_path, silent), [facts]) == []


def test_every_code_says_what_it_is_about() -> None:
    assert all(len(meaning) > 10 for meaning in ADVICE_CODES.values())


def test_ratios_of_the_lighting_trade() -> None:
    """Key one stop over the fill: 2:1 as key:fill, 3:1 as (key+fill):fill.

    Source: American Society of Cinematographers convention for the second; log2 arithmetic.
    """
    fill = _facts(fill_gain=0.5).lights[1]
    assert fill.ratio is not None
    assert fill.ratio.key_to_light == pytest.approx(2.0)
    assert fill.ratio.lit_to_shadow == pytest.approx(3.0)
    assert fill.share == pytest.approx(1 / 3)
    assert fill.gain_stops == pytest.approx(-1.0, abs=1e-6)


def test_places_of_names_with_spaces_can_be_given_to_set(tmp_path: Path) -> None:
    """A place that is told of reads back as the place that it is, as with --set."""
    text = CASES["sun-after-sunset"][0].replace("moods.dusk", 'moods."late dusk"')
    (advice,) = (given for given in advise(_recipe(tmp_path, text)) if "sun" in given.code)
    assert advice.place == 'moods."late dusk".lights'
    assert parse_place(advice.place) == ("moods", "late dusk", "lights")


@pytest.mark.parametrize(
    ("setting", "given"),
    [
        ("lights.sun = { rgb = [255, 210, 160] }", ["moods.day.lights.sun.rgb"]),
        ("lights.sun = { rgb = [1.0, 0.8, 0.6] }", []),
        ("lights.sun = { rgb = [8, 4, 2] }", []),
        ("lights.sun = { rgb = [20.5, 4, 2] }", []),
        ('plate = { file = "p.png", rgb = [255, 255, 255] }', ["moods.day.plate.rgb"]),
        ('plate = { file = "p.png" }', []),
        ('overlays = [{ file = "p.png", rgb = [16, 0, 0] }]', ["moods.day.overlays[0].rgb"]),
    ],
)
def test_codes_of_a_colour_are_no_factors(tmp_path: Path, setting: str, given: list[str]) -> None:
    text = SOUND.split("[moods.day.lights]", maxsplit=1)[0] + f"[moods.day]\n{setting}\n"
    found = [each for each in advise(_recipe(tmp_path, text)) if each.code == "rgb-of-255"]
    assert [each.place for each in found] == given


def test_the_colour_of_codes_is_said(tmp_path: Path) -> None:
    text = SOUND.replace('lights.sun = "off"', "lights.sun = { rgb = [255, 210, 160] }")
    (advice,) = (a for a in advise(_recipe(tmp_path, text)) if a.code == "rgb-of-255")
    assert 'hex = "#ffd2a0"' in advice.reason
