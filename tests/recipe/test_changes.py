"""One-off changes by dotted place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from evenfall.errors import RecipeError
from evenfall.recipe import Recipe, load

Write = Callable[..., Path]


def changed(write: Write, *changes: str) -> Recipe:
    return load(write(), changes=changes)


def setting(recipe: Recipe, mood: str, light: str) -> dict[str, Any]:
    return recipe.moods[mood].lights[light].model_dump(exclude_unset=True)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ("moods.dusk.lights.sky.stops=-3", {"stops": -3.0, "kelvin": 12000.0}),
        ("moods.dusk.lights.sky.stops=+1 1/3", {"stops": pytest.approx(4 / 3), "kelvin": 12000.0}),
        ("moods.dusk.lights.sky.factor = 0.5", {"factor": 0.5, "kelvin": 12000.0}),
        ("moods.dusk.lights.sky.off=true", {"off": True, "kelvin": 12000.0}),
        ("moods.dusk.lights.sky.mired_shift=-20", {"stops": -2.0, "mired_shift": -20.0}),
        ("moods.dusk.lights.sky.lamp_class=4000", {"stops": -2.0, "lamp_class": "4000"}),
        ("moods.dusk.lights.sky.hex=#ffd2a0", {"stops": -2.0, "hex": "#ffd2a0"}),
        ("moods.dusk.lights.sky=off", {"off": True}),
        ("moods.dusk.lights.sky=-1", {"stops": -1.0}),
        ('moods.dusk.lights.sky={ stops = 1, hex = "#ffffff" }', {"stops": 1.0, "hex": "#ffffff"}),
    ],
)
def test_a_light_is_changed(write: Write, change: str, expected: dict[str, Any]) -> None:
    assert setting(changed(write, change), "dusk", "sky") == expected


def test_a_short_form_becomes_a_table(write: Write) -> None:
    recipe = changed(write, "moods.dusk.lights.sun.stops=-1", "look.tone.curve=clip")
    assert setting(recipe, "dusk", "sun") == {"stops": -1.0}
    assert recipe.moods["day"].look.tone.curve == "clip"


def test_tables_on_the_way_are_made(write: Write) -> None:
    recipe = changed(write, "moods.day.camera.white_balance.kelvin=4000")
    balance = recipe.moods["day"].camera.white_balance
    assert balance is not None
    assert balance.kelvin == 4000


def test_entries_of_lists(write: Write) -> None:
    recipe = changed(write, "deliverables[1].width=1920", "groups.pendants[0]=sun")
    assert [each.width for each in recipe.model.deliverables] == [None, 1920]
    assert recipe.members("pendants") == ("sun", "pendant_b")


def test_the_deliverable_that_is_not_written_out(write: Write, villa_text: str) -> None:
    path = write(villa_text.partition("[[deliverables]]")[0])
    recipe = load(path, changes=["deliverables[0].width=640"])
    assert [each.width for each in recipe.model.deliverables] == [640]


@pytest.mark.parametrize("title", ["2026", "Dusk", "true story", "a = b", "[x", '"quoted"'])
def test_text_is_text(write: Write, title: str) -> None:
    recipe = changed(write, f"project.title={title}")
    assert recipe.model.project.title == title.strip('"')


def test_a_metered_light_by_its_bare_name(write: Write) -> None:
    meter = changed(write, "camera.meter.of=sky").model.camera.meter
    assert meter != "off"
    assert meter.of == "sky"


def test_the_last_of_two_changes_counts(write: Write) -> None:
    recipe = changed(write, "moods.day.lights.sun=1", "moods.day.lights.sun=2")
    assert setting(recipe, "day", "sun") == {"stops": 2.0}


def test_the_text_of_the_recipe_stays(write: Write, villa_text: str) -> None:
    assert changed(write, "moods.day.lights.sun=1").text == villa_text


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ("stops", "--set stops: found no '='; expected PLACE=VALUE, such as "),
        ("=3", '--set =3: found the place ""; expected a dotted place'),
        ("a..b=3", '--set a..b=3: found the place "a..b"; expected a dotted place'),
        (
            "moods.dsk.lights.sun=1",
            '--set moods.dsk.lights.sun=1: there is no mood called "dsk"; known are day, dusk; did '
            'you mean "dusk"?',
        ),
        (
            "lights.son.role=key",
            '--set lights.son.role=key: there is no light called "son"; known are sun, sky, '
            'pendant_a, pendant_b; did you mean "sun"?',
        ),
        (
            "moods.dusk.lights.son=1",
            "--set moods.dusk.lights.son=1: moods.dusk.lights.son: there is no light or group "
            'called "son"; did you mean "sun"?',
        ),
        (
            "moods.dusk.lights.sun.stops=two",
            '--set moods.dusk.lights.sun.stops=two: moods.dusk.lights.sun.stops: found "two"; '
            'expected stops from -30 to 30, a number or text such as "+1 1/3"',
        ),
        (
            "moods.dusk.lights.sun.stop=1",
            "--set moods.dusk.lights.sun.stop=1: moods.dusk.lights.sun.stop: is not a known key "
            'here; did you mean "stops"?',
        ),
        (
            "deliverables[2].width=9",
            "--set deliverables[2].width=9: deliverables has 2 entries, counted from 0",
        ),
        (
            "deliverables.width=9",
            "--set deliverables.width=9: deliverables is a list; name an entry, such as "
            "deliverables[0]",
        ),
        ("look[0].tone=clip", "--set look[0].tone=clip: look is no list in this recipe"),
        ("format.x=1", "--set format.x=1: format is a single value, no table"),
        ("format=2", "--set format=2: format: found 2; this evenfall knows format 1"),
        (
            "groups.pendants=[",
            "--set groups.pendants=[: found [; expected a TOML value; mind the quotes that your "
            "shell takes away",
        ),
    ],
)
def test_changes_that_cannot_be(write: Write, change: str, expected: str) -> None:
    with pytest.raises(RecipeError) as caught:
        changed(write, change)
    assert str(caught.value).startswith(expected)
    assert len(caught.value.faults) == 1


def test_faults_of_changes_and_of_the_recipe_come_together(write: Write, villa_text: str) -> None:
    path = write(villa_text.replace('role = "key"', 'role = "kee"'))
    with pytest.raises(RecipeError) as caught:
        load(path, changes=["x", "moods.no.title=1", "moods.dusk.lights.son=1"])
    places = [(fault.file, fault.place) for fault in caught.value.faults]
    assert places == [
        ("--set x", ""),
        ("--set moods.no.title=1", ""),
        ("--set moods.dusk.lights.son=1", "moods.dusk.lights.son"),
        (str(path), "lights.sun.role"),
    ]
