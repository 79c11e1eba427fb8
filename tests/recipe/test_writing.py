"""Writing back: the value changes, every other byte stays."""

from __future__ import annotations

import difflib
import stat
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from evenfall.errors import OutputError, UsageError
from evenfall.recipe import load
from evenfall.recipe.places import Place, dotted
from evenfall.recipe.saving import save
from evenfall.recipe.toml_values import toml_text
from evenfall.recipe.writing import remove_value, set_value

ODD = """\
# top   comment
format   =   1   # odd   spacing
silence = [
    "only-brightness",   # why
    'no-key',
]

[ project ]
\ttitle = \'\'\'Villa\'\'\'   # tab before

[lights]
sun.file = "sun.exr"
sun.role = 'key'
"big lamp" = { file = "lamp.exr", rendered = { kelvin = 4_000 } }  # inline

[moods.day.lights]   # dusk follows, then day again
sun = "off" # set

[moods.dusk]
based_on = "day"
lights.sun = { stops = '+1 1/3', kelvin = 2700 }
camera.exposure_stops = +1.50

[moods.day.camera]
exposure_stops = 0

[[deliverables]]
format = "png"
[deliverables.print]
width_mm = 1e2

[[deliverables]]
format = "tiff"

# the end, without a line end"""


def diff(before: str, after: str) -> tuple[list[str], list[str]]:
    """Lines that went and lines that came, line ends included."""
    lines = list(difflib.ndiff(before.splitlines(keepends=True), after.splitlines(keepends=True)))
    return (
        [line[2:] for line in lines if line.startswith("- ")],
        [line[2:] for line in lines if line.startswith("+ ")],
    )


def values_of(tree: Any, place: Place = ()) -> Iterator[tuple[Place, Any]]:
    inner: list[tuple[str | int, Any]] = []
    if isinstance(tree, dict):
        inner = list(tree.items())
    elif isinstance(tree, list):
        inner = list(enumerate(tree))
    else:
        yield place, tree
    for step, value in inner:
        yield from values_of(value, (*place, step))


def at(tree: Any, place: Place) -> Any:
    for step in place:
        tree = tree[step]
    return tree


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("which", ["odd", "villa"])
def test_each_value_of_a_recipe_is_changed_in_one_line(
    villa_text: str, which: str, line_end: str
) -> None:
    text = (ODD if which == "odd" else villa_text).replace("\n", line_end)
    checked = 0
    for place, _ in values_of(tomllib.loads(text)):
        edited = set_value(text, place, "another")
        assert at(tomllib.loads(edited), place) == "another"
        went, came = diff(text, edited)
        assert len(went) == len(came) == 1, dotted(place)
        assert went[0].partition("#")[1:] == came[0].partition("#")[1:], "the comment stays"
        checked += 1
    assert checked > 15


@pytest.mark.parametrize("which", ["odd", "villa"])
def test_each_value_of_a_recipe_is_removed_alone(villa_text: str, which: str) -> None:
    text = ODD if which == "odd" else villa_text
    for place, _ in values_of(tomllib.loads(text)):
        edited = remove_value(text, place)
        went, came = diff(text, edited)
        assert len(went) == 1, dotted(place)
        assert len(came) <= 1, dotted(place)


@pytest.mark.parametrize(
    ("key", "left"), [("kelvin", "{ stops = -2 }  # blue"), ("stops", "{ kelvin = 9000 }  # blue")]
)
def test_a_key_that_goes_leaves_no_gap_in_braces(key: str, left: str) -> None:
    text = "[moods.dusk.lights]\nsky = { stops = -2, kelvin = 9000 }  # blue\n"
    assert remove_value(text, f"moods.dusk.lights.sky.{key}").splitlines()[1] == f"sky = {left}"


def test_setting_what_is_there_already_changes_nothing(villa_text: str) -> None:
    for place, value in values_of(tomllib.loads(villa_text)):
        assert set_value(villa_text, place, value) == villa_text


@pytest.mark.parametrize(
    ("place", "value", "went", "came"),
    [
        (
            "moods.dusk.lights.sun.stops",
            -1,
            ['sun = "off"\n'],
            ["sun = { stops = -1 }\n"],
        ),
        (
            "moods.dusk.lights.sky.factor",
            0.25,
            ["sky = { stops = -2, kelvin = 12000 }   # down and blue\n"],
            ["sky = { factor = 0.25, kelvin = 12000 }   # down and blue\n"],
        ),
        (
            "moods.day.lights.pendants.stops",
            "-1 1/3",
            ['lights = { pendants = "off", sky = "+1/2" }  # daylight alone\n'],
            [
                'lights = { pendants = { stops = "-1 1/3" }, sky = "+1/2" }  # daylight alone\n',
            ],
        ),
        ("moods.dusk.lights.pendant_a", "off", [], ['pendant_a = "off"\n']),
        ("moods.dusk.lights.pendant_a.kelvin", 2200, [], ["pendant_a = { kelvin = 2200 }\n"]),
        (
            "moods.dusk.camera.exposure_stops",
            1.5,
            [],
            ["[moods.dusk.camera]\n", "exposure_stops = 1.5\n"],
        ),
        (
            "look.tone.white",
            3.0,
            ['tone = "neutral"\n'],
            ['tone = { curve = "neutral", white = 3.0 }\n'],
        ),
        ("deliverables[0].width", 1920, [], ["width = 1920\n"]),
        ("silence", ["no-key"], [], ['silence = ["no-key"]\n']),
    ],
)
def test_what_is_written(
    villa_text: str, place: str, value: Any, went: list[str], came: list[str]
) -> None:
    edited = set_value(villa_text, place, value)
    gone, new = diff(villa_text, edited)
    assert gone == went
    assert [line for line in new if line.strip()] == came


def test_a_table_among_dotted_keys() -> None:
    text = "[moods.dusk]\ncamera.exposure_stops = 2\nlights.sun = 'off'\n"
    edited = set_value(text, "moods.dusk.camera.white_balance.kelvin", 4000)
    assert diff(text, edited) == ([], ["camera.white_balance = { kelvin = 4000 }\n"])


def test_what_is_written_loads(write: Callable[..., Path], villa_text: str) -> None:
    text = set_value(villa_text, "moods.dusk.lights.sun.stops", -4)
    text = set_value(text, "moods.evening", {"based_on": "dusk", "lights": {"sky": "-1/3"}})
    text = set_value(text, "moods.evening.lights.sun", "off")
    text = remove_value(text, "moods.dusk.lights.sky.kelvin")
    moods = load(write(text)).moods
    assert moods["dusk"].lights["sun"].stops == -4
    assert moods["dusk"].lights["sky"].kelvin is None
    assert moods["evening"].lights["sun"].off


def test_a_table_left_empty_goes(villa_text: str) -> None:
    text = set_value(villa_text, "moods.dusk.lights.sun.kelvin", 3000)
    text = remove_value(text, "moods.dusk.lights.sun.off")
    text = remove_value(text, "moods.dusk.lights.sun.kelvin")
    assert text == villa_text.replace('sun = "off"\n', "", 1)


def test_removing_what_is_not_there(villa_text: str) -> None:
    assert remove_value(villa_text, "moods.noon.lights.sun") == villa_text
    assert remove_value(villa_text, "deliverables[7].width") == villa_text
    assert remove_value(villa_text, "format.x") == villa_text


@pytest.mark.parametrize(
    ("place", "expected"),
    [
        ("moods.dsk.title", 'there is no mood called "dsk"; known are day, dusk; did you mean'),
        ("deliverables[9].width", "deliverables has 2 entries, counted from 0"),
        ("format.x", "format is a single value, no table"),
    ],
)
def test_places_that_cannot_be_reached(villa_text: str, place: str, expected: str) -> None:
    with pytest.raises(UsageError) as caught:
        set_value(villa_text, place, 1)
    assert expected in str(caught.value)


def test_saving_keeps_mark_permissions_and_links(write: Callable[..., Path]) -> None:
    path = write(b"\xef\xbb\xbfformat = 1\r\n")
    path.chmod(0o640)
    link = path.with_name("link.toml")
    link.symlink_to(path)
    save(link, "format = 1\r\n# saved\r\n")
    assert path.read_bytes() == b"\xef\xbb\xbfformat = 1\r\n# saved\r\n"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert link.is_symlink()
    assert sorted(each.name for each in path.parent.iterdir()) == [
        "link.toml",
        "passes",
        "villa.toml",
    ]


def test_saving_where_nothing_can_be_written(folder: Path) -> None:
    with pytest.raises(OutputError, match=r"cannot be written: No such file"):
        save(folder / "none" / "villa.toml", "format = 1\n")


def test_a_save_that_fails_leaves_the_old_file(
    write: Callable[..., Path], villa_text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OutputError, match="No space left on device"):
        save(path, "format = 1\n")
    assert path.read_text(encoding="utf-8") == villa_text
    assert sorted(each.name for each in path.parent.iterdir()) == ["passes", "villa.toml"]


@pytest.mark.parametrize(
    "value",
    [
        "plain",
        'a "quoted" one',
        "back\\slash",
        "two\nlines",
        "ä",
        True,
        3,
        -0.5,
        1e-7,
        [],
        ["a", 1],
        {},
        {"a b": {"c": [1.5, {"d": "e"}]}},
    ],
)
def test_plain_values_as_toml(value: Any) -> None:
    text = toml_text(value)
    assert "\n" not in text
    assert tomllib.loads(f"value = {text}") == {"value": value}
