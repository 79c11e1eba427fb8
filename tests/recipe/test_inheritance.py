"""What a mood comes to: the worked example is done by hand from the rules in the reference."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from evenfall.errors import Fault
from evenfall.recipe import LightSetting, load, resolve
from evenfall.recipe.resolve import guess_time_of_day

Write = Callable[..., Path]

NIGHT = """
[moods.night]
based_on = "dusk"
lights = { sky = { stops = -6 }, pendant_b = "on", pendants = { factor = 0.5 } }
camera = { exposure_stops = "2/3" }
look = { tone = { highlight_stops = 6 }, gamut = { method = "clip" } }
"""


def said(lights: Mapping[str, LightSetting]) -> dict[str, dict[str, Any]]:
    return {name: setting.model_dump(exclude_unset=True) for name, setting in lights.items()}


def test_every_light_in_order_and_only_what_differs(write: Write, villa_text: str) -> None:
    recipe = load(write(villa_text + NIGHT))
    day, dusk, night = recipe.moods.values()
    assert said(day.lights) == {
        "sun": {},
        "sky": {"stops": 0.5},
        "pendant_a": {"off": True},
        "pendant_b": {"off": True},
    }
    assert said(dusk.lights) == {
        "sun": {"off": True},
        "sky": {"stops": -2.0, "kelvin": 12000.0},
        "pendant_a": {"stops": pytest.approx(4 / 3), "kelvin": 2700.0},
        "pendant_b": {"stops": pytest.approx(4 / 3), "kelvin": 2700.0},
    }
    # the gain is replaced, the tint stays; the light's own entry goes over its group's, wherever
    # it stands; 'on' leaves no gain
    assert said(night.lights) == {
        "sun": {"off": True},
        "sky": {"stops": -6.0, "kelvin": 12000.0},
        "pendant_a": {"factor": 0.5, "kelvin": 2700.0},
        "pendant_b": {"kelvin": 2700.0},
    }


def test_camera_and_look_are_laid_over_key_by_key(write: Write, villa_text: str) -> None:
    text = villa_text.replace(
        "[look]",
        "[camera]\nexposure_stops = 1\nmeter = { of = 'sun', grey_percent = 12 }\n"
        "[look]\nglare = { strength = 0.1 }",
    )
    recipe = load(write(text + NIGHT))
    day, dusk, night = recipe.moods.values()
    assert (day.camera.exposure_stops, dusk.camera.exposure_stops) == (1, 1)
    assert night.camera.exposure_stops == pytest.approx(2 / 3)
    assert night.camera.meter == recipe.model.camera.meter
    assert not night.own_meter
    assert day.look.tone.curve == "neutral"
    assert dusk.look.tone.model_dump(exclude_unset=True) == {"curve": "evenfall", "contrast": 1.4}
    assert night.look.tone.model_dump(exclude_unset=True) == {
        "curve": "evenfall",
        "contrast": 1.4,
        "highlight_stops": 6.0,
    }
    assert night.look.glare.strength == 0.1
    assert (dusk.look.gamut.method, night.look.gamut.method) == ("compress", "clip")


def test_another_curve_replaces_the_whole_table(write: Write, villa_text: str) -> None:
    night = '\n[moods.night]\nbased_on = "dusk"\nlook = { tone = { curve = "hable" } }\n'
    mood = load(write(villa_text + night)).moods["night"]
    assert mood.look.tone.model_dump() == {"curve": "hable", "white": 11.2}


@pytest.mark.parametrize(
    ("camera", "own"),
    [
        ("camera = { exposure_stops = 1 }", False),
        ("camera = { white_balance = { kelvin = 4000 } }", False),
        ("camera = { meter = { of = 'sky' } }", True),
        ("camera = { meter = 'off' }", True),
        ("camera = { settings = { iso = 400 } }", True),
    ],
)
def test_moods_that_meter_for_themselves(
    write: Write, villa_text: str, camera: str, own: bool
) -> None:
    later = f'\n[moods.night]\nbased_on = "dusk"\n{camera}\n[moods.late]\nbased_on = "night"\n'
    recipe = load(write(villa_text + later))
    assert [mood.own_meter for mood in recipe.moods.values()] == [False, False, own, own]


def test_ways_of_saying_one_thing_replace_each_other(write: Write, villa_text: str) -> None:
    text = villa_text.replace(
        "[look]",
        "[camera]\nsettings = { iso = 200 }\n"
        "white_balance = { kelvin = 5600, duv = 0.004, adaptation = 'Bradford' }\n[look]",
    )
    later = (
        "\n[moods.spot]\ncamera = { white_balance = { neutral = [0.5, 0.5] } }\n"
        "[moods.warm]\ncamera = { white_balance = { kelvin = 3200 } }\n"
        "[moods.metered]\ncamera = { meter = { of = 'sky' } }\n"
    )
    moods = load(write(text + later)).moods
    spot, warm = (moods[name].camera.white_balance for name in ("spot", "warm"))
    assert spot is not None
    assert spot.kelvin is None
    assert spot.adaptation == "Bradford"
    assert warm is not None
    assert (warm.kelvin, warm.duv, warm.adaptation) == (3200, None, "Bradford")
    assert moods["spot"].camera.settings is not None
    assert moods["metered"].camera.settings is None


def test_none_drops_what_is_inherited(write: Write, villa_text: str) -> None:
    (path := write()).with_name("sky.jpg").touch()
    dusk = (
        'title = "Blue hour"\nplate = { file = "sky.jpg" }\n'
        'daylight = { sun = "sun", sun_altitude_degrees = -4 }\n'
        'overlays = [{ file = "sky.jpg" }]\n'
        "regions = [{ area = { ellipse = [0, 0, 1, 1] } }]\n"
        "camera = { white_balance = { kelvin = 4000 } }\n"
    )
    night = (
        '\n[moods.night]\nbased_on = "dusk"\nplate = "none"\ndaylight = "none"\n'
        'overlays = []\nregions = []\ncamera = { white_balance = "none" }\n'
    )
    write(villa_text.replace('title = "Blue hour"\n', dusk) + night)
    moods = load(path).moods
    assert moods["dusk"].plate is not None
    assert moods["dusk"].daylight is not None
    assert (len(moods["dusk"].overlays), len(moods["dusk"].regions)) == (1, 1)
    assert moods["night"].plate is None
    assert moods["night"].daylight is None
    assert (moods["night"].overlays, moods["night"].regions) == ((), ())
    assert moods["night"].camera.white_balance is None


def test_a_mood_may_stand_before_its_base(write: Write, villa_text: str) -> None:
    text = villa_text.replace("[moods.day]", '[moods.early]\nbased_on = "dusk"\n\n[moods.day]')
    recipe = load(write(text))
    assert list(recipe.moods) == ["early", "day", "dusk"]
    assert said(recipe.moods["early"].lights) == said(recipe.moods["dusk"].lights)


@pytest.mark.parametrize("on", ['"on"', "{ on = true }", "{ off = false }"])
def test_ways_to_switch_on(write: Write, villa_text: str, on: str) -> None:
    night = f'\n[moods.night]\nbased_on = "dusk"\nlights = {{ sun = {on} }}\n'
    assert said(load(write(villa_text + night)).moods["night"].lights)["sun"] == {}


@pytest.mark.parametrize("off", ['"off"', "{ off = true }", "{ on = false }"])
def test_ways_to_switch_off(write: Write, villa_text: str, off: str) -> None:
    night = f"\n[moods.night]\nlights = {{ sun = {off} }}\n"
    assert said(load(write(villa_text + night)).moods["night"].lights)["sun"] == {"off": True}


@pytest.mark.parametrize("stops", ["1.5", '"1.5"', '"+1 1/2"', '"3/2 stops"', "{ stops = 1.5 }"])
def test_ways_to_say_stops(write: Write, villa_text: str, stops: str) -> None:
    night = f"\n[moods.night]\nlights = {{ sun = {stops} }}\n"
    assert said(load(write(villa_text + night)).moods["night"].lights)["sun"] == {"stops": 1.5}


def test_what_contradicts_what_is_inherited(
    faults_of: Callable[..., list[Fault]], villa_text: str
) -> None:
    text = villa_text.replace("kelvin = 12000 }", "kelvin = 12000, duv = 0.01 }")
    text += '\n[moods.night]\nbased_on = "dusk"\nlights = { sky = { locus = "daylight" } }\n'
    (fault,) = faults_of(text)
    assert (fault.line, fault.place) == (61, "moods.night.lights.sky")
    assert fault.found.startswith("does not go with what the mood inherits: duv is measured")


@pytest.mark.parametrize(
    ("name", "title", "expected"),
    [
        ("day", None, "day"),
        ("dusk", None, "dusk"),
        ("night", None, "night"),
        ("mood_3", "Blue hour, rain", "dusk"),
        ("midnight", None, "night"),
        ("noon", None, "day"),
        ("evening_warm", None, "dusk"),
        ("client_b", "Variant B", None),
        ("holiday", None, None),
        ("today", None, None),
        ("sunday", None, None),
        ("daylight", None, "day"),
        ("fortnight", None, None),
    ],
)
def test_guessing_the_time_of_day(name: str, title: str | None, expected: str | None) -> None:
    assert guess_time_of_day(name, title) == expected


def test_time_of_day_as_given_goes_over_the_guess(write: Write, villa_text: str) -> None:
    text = villa_text.replace('title = "Blue hour"', 'time_of_day = "night"')
    recipe = load(write(text))
    assert [mood.time_of_day for mood in recipe.moods.values()] == ["day", "night"]
    assert [mood.title for mood in recipe.moods.values()] == ["day", "dusk"]


def test_a_ratio_takes_the_place_of_the_inherited_one(write: Write, villa_text: str) -> None:
    """As a whole; and the lights of a group still share it, so that they are solved together."""
    text = villa_text + (
        '[moods.first]\nlights.pendants = { match = { to = "sun", ratio = "4:1", '
        'convention = "(key+fill):fill" } }\n'
        '[moods.second]\nbased_on = "first"\n'
        'lights.pendants = { match = { to = "sky", ratio = "8:1" } }\n'
    )
    lights = load(write(text)).moods["second"].lights
    match = lights["pendant_a"].match
    assert match is not None
    assert match.model_dump(exclude_unset=True) == {"to": "sky", "ratio": "8:1"}
    assert lights["pendant_b"].match is match


def test_each_mood_is_laid_over_its_base_once(
    write: Write, villa_text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However long the chain of moods that build on each other, and whatever their order."""
    added: list[str] = []
    really = resolve._Layers.add
    monkeypatch.setattr(
        resolve._Layers,
        "add",
        lambda self, name, mood: added.append(name) or really(self, name, mood),
    )
    moods = "".join(
        f'[moods.m{number}]\nbased_on = "m{number + 1}"\nlights.sky = "down 1/10"\n'
        for number in range(60)
    )
    head = villa_text[: villa_text.index("[moods.day]")]
    recipe = load(write(f"{head}{moods}[moods.m60.lights]\nsky = 1\n"))
    assert sorted(added) == sorted(f"m{number}" for number in range(61))
    assert recipe.moods["m0"].lights["sky"].stops == pytest.approx(1 - 60 / 10)


def test_a_long_cycle_is_told_in_short(faults_of: Callable[..., list[Fault]]) -> None:
    moods = "".join(f'[moods.m{n}]\nbased_on = "m{(n + 1) % 500}"\n' for n in range(500))
    text = f'format = 1\nlights.sun = {{ file = "sun.exr" }}\n{moods}'
    (fault,) = faults_of(text, check_files=False)
    assert fault.found == (
        "the mood builds on itself: m0 -> m1 -> m2 -> m3 -> m4 -> ... -> m496 -> m497 -> m498 -> "
        "m499 -> m0"
    )


BARE = """
format = 1
lights.sun = { file = "sun.exr", role = "key" }
lights.sky = { file = "sky.exr", role = "sky" }
"""


def test_what_is_said_once_holds_for_all_that_build_on_it(write: Write) -> None:
    """Plate, cut-outs, regions, daylight and how a mood is exposed, where the last says no more."""
    recipe = load(
        write(
            BARE
            + """
[moods.day]
daylight = { sun = "sun", sky = "sky", sun_altitude_degrees = 30 }
overlays = [{ file = "tree.png" }]
regions = [{ area = { rectangle = [0, 0, 1, 1] }, exposure_stops = -1 }]
camera = { meter = { of = "key" } }
[moods.later]
based_on = "day"
camera = { exposure_stops = 1 }
[moods.bare]
based_on = "later"
overlays = []
regions = []
"""
        ),
        check_files=False,
    )
    day, later, bare = recipe.moods.values()
    assert day.daylight is not None
    assert later.daylight == bare.daylight == day.daylight
    assert [overlay.file for overlay in later.overlays] == ["tree.png"]
    assert [region.exposure_stops for region in later.regions] == [-1]
    assert (bare.overlays, bare.regions) == ((), ())
    assert (day.own_meter, later.own_meter, bare.own_meter) == (True, True, True)


def test_areas_and_corrections_are_replaced_as_a_whole(write: Write) -> None:
    recipe = load(
        write(
            BARE
            + """
[moods.day]
camera = { meter = { of = "key", area = { mask = "wall.png", channel = "R" } } }
look.grade.cdl = { slope = [1.1, 1, 1] }
[moods.dusk]
based_on = "day"
camera = { meter = { area = { mask = "floor.png" } } }
look.grade.cdl = { saturation = 0.9 }
"""
        ),
        check_files=False,
    )
    dusk = recipe.moods["dusk"]
    meter, cdl = dusk.camera.meter, dusk.look.grade.cdl
    assert not isinstance(meter, str)
    assert meter.area is not None
    assert cdl is not None
    assert (meter.of, meter.area.mask, meter.area.channel) == ("key", "floor.png", None)
    assert (cdl.slope, cdl.saturation) == ((1, 1, 1), 0.9)


def test_a_mood_is_named_before_it_is_titled() -> None:
    assert guess_time_of_day("day", "As at dusk") == "day"
    assert guess_time_of_day("second", "Twilight") == "dusk"
