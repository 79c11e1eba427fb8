"""What travels inside a picture: what the recipe says of it, not what was noted for oneself."""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.recipe import Recipe, load
from evenfall.recipe.toml_values import toml_document, toml_text
from evenfall.record.excerpt import excerpt

NOTE = "# Mr Pell is difficult; invoice 4711 is unpaid"
FORMATS = ("png", "jpeg", "tiff", "exr", "avif", "gain-map jpeg", "webp")

Noted = Callable[[str], Recipe]


@pytest.fixture
def noted() -> Noted:
    """The example with a note in it, and a deliverable of every format."""

    def write(more: str = "") -> Recipe:
        path = example_recipe().path
        text = path.read_text(encoding="utf-8").replace(
            "format = 1", f"format = 1   {NOTE}\n{more}"
        )
        kinds = [f'[[deliverables]]\nformat = "{name}"\nsuffix = "_{name}"\n' for name in FORMATS]
        path.write_text(f"{text}\n{NOTE}\n{''.join(kinds)}", encoding="utf-8")
        return load(path)

    return write


def holding(word: bytes, recipe: Recipe) -> list[str]:
    report = evenfall.open(recipe).run("dusk")
    return [file.format for file in report.files if word in file.path.read_bytes()]


def test_comments_stay_with_who_wrote_them(noted: Noted) -> None:
    recipe = noted()
    report = evenfall.open(recipe).run()
    assert len(report.files) == 2 * len(FORMATS) + 1
    for file in report.files:
        assert b"invoice" not in file.path.read_bytes(), file.path.name
        record = evenfall.read_provenance(file.path)
        assert record is not None
        assert "#" not in record.recipe_text


def test_comments_travel_where_they_are_asked_for(noted: Noted) -> None:
    recipe = noted('record = "with comments"\n')
    assert len(holding(b"invoice 4711", recipe)) == len(FORMATS)


def test_nothing_travels_where_that_is_asked_for(noted: Noted) -> None:
    recipe = noted('record = "none"\n[project]\nauthor = "Atelier Pell"\n')
    report = evenfall.open(recipe).run("dusk")
    for file in report.files:
        assert evenfall.read_provenance(file.path) is None, file.format
        data = file.path.read_bytes()
        assert b"moods.dusk" not in data
        assert b"corner.toml" not in data
        assert b"Atelier Pell" in data or (file.format == "avif" and b"Atelier" in data)


def test_another_comment_makes_no_other_picture(noted: Noted) -> None:
    recipe = noted()
    evenfall.open(recipe).run()
    text = recipe.text.replace("Mr Pell", "Mrs Pell")
    recipe.path.write_text(text, encoding="utf-8")
    report = evenfall.open(recipe.path).run(overwrite=True)
    assert all(file.kept for file in report.files)


def test_the_order_of_groups_is_kept(tmp_path: Path) -> None:
    """The later of two groups decides; a table must not be moved behind plain values."""
    path = tmp_path / "view.toml"
    path.write_text(
        """
        format = 1
        lights = { a = { file = "a.exr" }, b = { file = "b.exr" } }
        groups = { one = ["a", "b"], other = ["b"] }
        [moods.dusk.lights]
        one = { stops = -3, kelvin = 2700 }
        other = -1
        """,
        encoding="utf-8",
    )
    recipe = load(path, check_files=False)
    path.write_text(excerpt(recipe, ["dusk"], None, draft=False, sheet=False), encoding="utf-8")
    again = load(path, check_files=False)
    assert again.moods["dusk"].lights == recipe.moods["dusk"].lights
    assert list(again.model.moods["dusk"].lights) == ["one", "other"]


@pytest.mark.parametrize(
    "value",
    [
        True,
        -3,
        0.1,
        1e300,
        "plain",
        'quotes " and \\ and \n and \t and \x7f and \x01 and \u2028 and é and 🌙',
        datetime.datetime(
            2026, 6, 21, 21, 30, tzinfo=datetime.timezone(datetime.timedelta(hours=2))
        ),
        datetime.date(2026, 6, 21),
        [1, [2, "three"], {"four": 5}],
        {"a b": {"": 1}, "c.d": [], "e": {}},
    ],
)
def test_values_are_read_back_by_tomllib(value: object) -> None:
    assert tomllib.loads(f"value = {toml_text(value)}")["value"] == value


def test_a_whole_recipe_is_read_back_by_tomllib() -> None:
    text = (Path(__file__).parents[2] / "sample_passes" / "view.toml").read_text(encoding="utf-8")
    tree = tomllib.loads(text)
    again = tomllib.loads(toml_document(tree))
    assert again == tree
    for mood in tree["moods"]:
        assert list(again["moods"][mood]["lights"]) == list(tree["moods"][mood]["lights"])
