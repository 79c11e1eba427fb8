"""Files that are no recipe at all, and text that is no TOML."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from evenfall.errors import RecipeError
from evenfall.recipe import load
from evenfall.recipe.deliverables import Deliverable


def said(path: Path) -> str:
    with pytest.raises(RecipeError) as caught:
        load(path)
    return str(caught.value)


def test_no_file(folder: Path) -> None:
    text = said(folder / "nope.toml")
    assert "nope.toml: there is no such file; 'evenfall survey FOLDER --write RECIPE'" in text


def test_a_misspelt_file(write: Callable[..., Path]) -> None:
    path = write()
    assert f"did you mean {path}?" in said(path.with_name("vila.toml"))


def test_a_folder(folder: Path) -> None:
    assert "is a folder; expected a recipe" in said(folder)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_named_pipe_does_not_hang(folder: Path) -> None:
    os.mkfifo(folder / "pipe.toml")
    assert "is no ordinary file" in said(folder / "pipe.toml")


@pytest.mark.skipif(
    sys.platform == "win32" or os.geteuid() == 0, reason="permissions do not bind this user"
)
def test_no_permission(write: Callable[..., Path]) -> None:
    path = write()
    path.chmod(0)
    assert "cannot be read: Permission denied" in said(path)


@pytest.mark.parametrize("text", ["", " \n\t\n", "\ufeff"])
def test_an_empty_file(write: Callable[..., Path], text: str) -> None:
    assert "is empty; expected a recipe" in said(write(text))


def test_a_huge_file(write: Callable[..., Path]) -> None:
    path = write()
    with path.open("r+b") as stream:
        stream.truncate(17 * 1024 * 1024)
    assert "is over 16 MB" in said(path)


def test_latin_1(write: Callable[..., Path], villa_text: str) -> None:
    data = villa_text.replace("Blue hour", "Dämmerung").encode("latin-1")
    text = said(write(data))
    assert "villa.toml:40: found the byte 0xe4, which is not UTF-8" in text
    assert "save it as UTF-8" in text


def test_utf_16(write: Callable[..., Path], villa_text: str) -> None:
    assert "is text in UTF-16" in said(write(villa_text.encode("utf-16")))


def test_byte_order_mark_and_windows_line_ends_are_fine(
    write: Callable[..., Path], villa_text: str
) -> None:
    recipe = load(write(b"\xef\xbb\xbf" + villa_text.replace("\n", "\r\n").encode()))
    assert recipe.text == villa_text.replace("\n", "\r\n")
    assert recipe.model.project.title == "Villa"


def test_windows_line_ends_keep_the_lines_of_faults(
    write: Callable[..., Path], villa_text: str
) -> None:
    broken = villa_text.replace('"key"', '"kee"').replace("\n", "\r\n")
    assert "villa.toml:13: lights.sun.role" in said(write(broken))


SLIPS = [
    ("role = key", 'text stands in quotes: role = "key"'),
    ("role = “key”", "text stands in straight quotes: \"...\" or '...'"),
    ("stops = 0,5", "numbers take a decimal point, not a comma: 0.5"),
    ("sun = { stops = -1,5, kelvin = 3000 }", "numbers take a decimal point, not a comma: 0.5"),
    ("stops = .5", "numbers start with a digit: stops = 0.5"),
    ("stops = -.5", "numbers start with a digit: stops = -0.5"),
    ("stops = 5.", "numbers end with a digit: stops = 5.0"),
    ("kelvin = 2700K", "numbers stand without units: kelvin = 2700"),
    ("stops = -2 stops", "numbers stand without units: stops = -2"),
    ("factor = 50%", "a share is written as a number: 50 % is 0.5"),
    ("stops = 01", "numbers start without needless zeros"),
    ("stops = +1 1/3", 'text stands in quotes: stops = "+1 1/3"'),
    ("shutter = 1/125", 'text stands in quotes: shutter = "1/125"'),
    ("dither = True", 'write dither = true, or "on" for a light'),
    ("sun = off", 'write sun = false, or "off" for a light'),
    ("lights = { sun = off, sky = 1 }", 'write sun = false, or "off" for a light'),
    ("sun = off  # later", 'write sun = false, or "off" for a light'),
    ('file = "C:\\passes\\sun.exr"', "in double quotes a backslash is a sign of its own"),
    ('file = "sun.exr', 'the text is not closed by "'),
    ("file = 'sun.exr", "the text is not closed by '"),
    ('role: "key"', "keys and values are joined by '=': role = \"key\""),
    ("role =", "expected a value after role ="),
    ("hex = #ffd2a0", 'text stands in quotes: hex = "#ffd2a0"'),
    ("rgb = (1, 2, 3)", "a list stands in square brackets: [1.0, 0.9, 0.8]"),
    ("xy = [0.44 0.40]", "the list is not closed by ']', or lacks a comma"),
    ("rgb = [1, 2", "the list is not closed by ']', or lacks a comma"),
    ("a = { b = 1,\n c = 2 }", "a table in braces is closed by '}' on the same line"),
    ("a = { b = 1", "a table in braces is closed by '}' on the same line"),
    ('title = """one\ntwo', 'the text is not closed by """'),
    ("[moods.dusk", "a heading ends with ']': [moods.dusk]"),
    ("[[deliverables]", "a heading of a list ends with ']]': [[deliverables]]"),
    ("[moods.late dusk]", 'names with spaces or other signs stand in quotes: [moods."late dusk"]'),
    ("[moods.dämmerung]", 'names with spaces or other signs stand in quotes: [moods."late dusk"]'),
    ('dämmerung = "on"', 'names with spaces or other signs stand in quotes: "dämmerung"'),
    ("lights.wall lamp = 1", 'names with spaces or other signs stand in quotes: "wall lamp"'),
    (
        'a = { sun = "off", žárovka = 1 }',
        'names with spaces or other signs stand in quotes: "žárov',
    ),
    ("just words", "expected key = value, a [heading] or a # comment"),
    ("a = 1 b = 2", "each key stands on a line of its own"),
    ("time = 2026-13-01", "there is no such date or time"),
]


@pytest.mark.parametrize(("slip", "advice"), SLIPS)
def test_a_slip_of_the_pen(write: Callable[..., Path], slip: str, advice: str) -> None:
    text = said(write(f"format = 1\n\n{slip}\n"))
    assert f"villa.toml:3: found {slip.splitlines()[0]}; {advice}" in text


def test_a_list_that_is_not_closed_is_shown_where_it_opens(write: Callable[..., Path]) -> None:
    text = said(write('format = 1\nluts = [\n  "a.cube",\n\n[lights.sun]\nfile = "sun.exr"\n'))
    assert "villa.toml:2: found luts = [; the list is not closed" in text


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a = 1\nb = 2\na = 3", "villa.toml:3: a: stands twice, here and in line 1"),
        ("[m.a]\nx = 1\n[m.b]\n[m.a]\n", "villa.toml:4: m.a: stands twice, here and in line 1"),
        (
            "[m.a]\nx = 1\n[m.b]\nx = 1\nx = 2",
            "villa.toml:5: m.b.x: stands twice, here and in line 4",
        ),
        ("a = { x = 1, x = 2 }", "villa.toml:1: a.x: stands twice, here and in line 1"),
    ],
)
def test_what_stands_twice(write: Callable[..., Path], text: str, expected: str) -> None:
    assert expected in said(write(text))


def test_control_characters_are_shown_not_printed(write: Callable[..., Path]) -> None:
    text = said(write('format = 1\ntitle = "a\x1b[2Jb"\n'))
    assert "\x1b" not in text
    assert r"villa.toml:2: found title = " in text


def test_nesting_without_end(write: Callable[..., Path]) -> None:
    assert "nested too deeply" in said(write("a = " + "[" * 20000))


def test_json_is_recognised(write: Callable[..., Path]) -> None:
    assert "villa.toml:1: begins as JSON; a recipe is TOML" in said(write('{"format": 1}'))


def test_numbers_without_end(write: Callable[..., Path]) -> None:
    assert "holds a number of very many digits" in said(write("format = " + "9" * 5000))
    text = said(write("format = 0x" + "f" * 5000))
    assert "found a number of very many digits" in text


def test_depths_where_none_is_said() -> None:
    """HDR has 10 or 12 bits (ITU-R BT.2100), scenes are halves (OpenEXR); 8 is common practice."""
    depths = {name: Deliverable(format=name).bit_depth for name in ("avif", "png", "tiff", "exr")}
    assert depths == {"avif": 10, "png": 8, "tiff": 8, "exr": 16}
