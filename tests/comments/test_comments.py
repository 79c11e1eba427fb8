"""Comments taken in from files of any make, numbered, answered, drawn."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

import evenfall
from evenfall.cli.main import main
from evenfall.comments.model import Box, Comment
from evenfall.comments.store import comments_path, load_comments
from evenfall.errors import OutputError, UsageError
from evenfall.view import add_comments, answer_comment


def annotation(text: str = "Warmer.", **changes: Any) -> dict[str, Any]:
    """As the example of section 4.2.1 of the Web Annotation Data Model is built."""
    usual: dict[str, Any] = {
        "@context": "http://www.w3.org/ns/anno.jsonld",
        "id": f"urn:uuid:{text}",
        "type": "Annotation",
        "created": "2026-11-26T10:00:00Z",
        "creator": {"type": "Person", "name": "Anna"},
        "body": {"type": "TextualBody", "value": text},
        "target": {
            "source": "urn:evenfall:corner:dusk:now",
            "selector": {"type": "FragmentSelector", "value": "xywh=percent:10,20,30,40"},
        },
    }
    return usual | changes


def write(folder: Path, *items: Any, name: str = "anna.json") -> Path:
    path = folder / name
    path.write_text(json.dumps({"type": "AnnotationPage", "items": list(items)}), encoding="utf-8")
    return path


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["comments", *map(str, arguments)])


def test_several_people_and_the_same_comment_twice(corner: evenfall.Recipe) -> None:
    folder = corner.path.parent
    anna = write(folder, annotation("one"), annotation("two"))
    ben = write(folder, annotation("two"), annotation("three"), name="ben.json")
    taken = add_comments(corner, [anna, ben])
    assert [(each.number, each.text) for each in taken.new] == [
        (1, "one"),
        (2, "two"),
        (3, "three"),
    ]
    assert add_comments(corner, [ben]).new == ()
    stored = load_comments(corner).items
    assert stored[0].box == Box(10, 20, 30, 40)
    assert (stored[0].author, stored[0].created) == ("Anna", "2026-11-26T10:00:00Z")


def test_another_comment_of_the_same_number_is_told_of(corner: evenfall.Recipe) -> None:
    add_comments(corner, [write(corner.path.parent, annotation("one"))])
    item = annotation("one")
    item["body"]["value"] = "One,\nand more"
    taken = add_comments(corner, [write(corner.path.parent, item)])
    assert taken.new == ()
    said = 'comment 1 is there already, in other words: left out is "One, and more"'
    assert taken.notes == (said,)


def test_two_people_who_take_in_comments_at_once(corner: evenfall.Recipe) -> None:
    folder = corner.path.parent
    files = [write(folder, annotation(name), name=f"{name}.json") for name in "abcd"]
    with ThreadPoolExecutor(len(files)) as pool:
        tasks = [pool.submit(_until_taken, corner, path) for path in files]
        for task in tasks:
            task.result()
    stored = load_comments(corner).items
    assert {each.text for each in stored} == set("abcd")
    assert [each.number for each in stored] == [1, 2, 3, 4]


def _until_taken(recipe: evenfall.Recipe, path: Path) -> None:
    """Try again as the message says."""
    for _ in range(20):
        try:
            add_comments(recipe, [path])
        except OutputError as error:
            assert "somebody else takes in comments" in str(error)  # noqa: PT017
        else:
            return
    raise AssertionError("it was never let in")


def test_a_byte_order_mark_and_joined_signs(corner: evenfall.Recipe) -> None:
    """Zero width joiners belong to words of many languages and to emoji of several people."""
    item = annotation("one")
    item["body"]["value"] = "Auf\u200clage 👩\u200d👧 \u202eback"
    path = write(corner.path.parent, item)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    [comment] = add_comments(corner, [path]).new
    assert comment.text == "Auf\u200clage 👩\u200d👧 back"


@pytest.mark.parametrize("ending", ["1234567", "٣", "²", "-1", ""])
def test_rounds_that_are_no_numbers(corner: evenfall.Recipe, ending: str) -> None:
    item = annotation("one")
    item["target"]["source"] = f"urn:evenfall:corner:dusk:{ending}"
    with pytest.raises(UsageError, match="is no picture of a view"):
        add_comments(corner, [write(corner.path.parent, item)])


def test_answers_stay_with_their_numbers(corner: evenfall.Recipe) -> None:
    add_comments(corner, [write(corner.path.parent, annotation("one"), annotation("two"))])
    answer_comment(corner, 2, "declined: the lamp\nis fixed")
    stored = load_comments(corner).items
    assert [each.answer for each in stored] == ["", "declined: the lamp is fixed"]
    with pytest.raises(UsageError, match="there is no comment 9; there are 1 and 2"):
        answer_comment(corner, 9, "done")


def test_what_is_kept_is_an_annotation_page(corner: evenfall.Recipe) -> None:
    add_comments(corner, [write(corner.path.parent, annotation("one"))])
    told = json.loads(comments_path(corner).read_text(encoding="utf-8"))
    assert told["@context"][0] == "http://www.w3.org/ns/anno.jsonld"
    assert told["items"][0]["target"]["selector"]["value"] == "xywh=percent:10,20,30,40"


@pytest.mark.parametrize(
    ("item", "says"),
    [
        (annotation(target={"source": "urn:evenfall:kitchen:dusk:now"}), "of the view kitchen"),
        (annotation(target={"source": "urn:evenfall:corner:noon:now"}), "of the mood noon"),
        (annotation(target={"source": "http://elsewhere/picture.jpg"}), "no picture of a view"),
        (annotation(target={"source": "urn:evenfall:corner:dusk:now", "selector": {}}), "no value"),
        (annotation(body={"value": " "}), "says nothing"),
        (annotation(body={"value": "x" * 5000}), "5,000 letters"),
        (annotation(body=[]), "has no body"),
        (annotation(id=3), "has no id"),
        (None, "has no target"),
    ],
)
def test_what_is_left_out_is_told(corner: evenfall.Recipe, item: Any, says: str) -> None:
    taken = add_comments(corner, [write(corner.path.parent, annotation("good"), item)])
    assert [each.text for each in taken.new] == ["good"]
    assert says in taken.notes[0]


@pytest.mark.parametrize(
    "fragment",
    [
        "xywh=percent:90,10,20,5",
        "xywh=percent:1,2,3",
        "xywh=pixel:1,2,3,4",
        "xywh=percent:nan,1,1,1",
    ],
)
def test_spots_outside_are_left_out(corner: evenfall.Recipe, fragment: str) -> None:
    target = {"source": "urn:evenfall:corner:dusk:now", "selector": {"value": fragment}}
    path = write(corner.path.parent, annotation("good"), annotation("odd", target=target))
    assert [each.text for each in add_comments(corner, [path]).new] == ["good"]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is no JSON"),
        (b"[" * 200_000, "is no JSON"),
        (b'{"items": 3}', "holds no annotations"),
        (b"\xff\xfe\x00", "is no JSON"),
        (b" " * 4_000_001, "4,000,001 bytes"),
    ],
)
def test_files_that_are_none(corner: evenfall.Recipe, data: bytes, says: str) -> None:
    path = corner.path.with_name("odd.json")
    path.write_bytes(data)
    good = write(corner.path.parent, annotation("good"))
    with pytest.raises(UsageError, match=says):
        add_comments(corner, [good, path])
    assert not comments_path(corner).exists()  # nothing of the good one was taken in either


def test_only_comments_of_another_view(corner: evenfall.Recipe) -> None:
    target = {"source": "urn:evenfall:kitchen:dusk:now"}
    with pytest.raises(UsageError, match="of the view kitchen, not of corner"):
        add_comments(corner, [write(corner.path.parent, annotation(target=target))])


def test_a_damaged_store_is_left_alone(corner: evenfall.Recipe) -> None:
    comments_path(corner).write_text('{"items": [{}]}', encoding="utf-8")
    with pytest.raises(UsageError, match="put a copy of the file back"):
        add_comments(corner, [write(corner.path.parent, annotation("good"))])
    assert comments_path(corner).read_text(encoding="utf-8") == '{"items": [{}]}'


def test_control_characters_do_not_reach_the_terminal(corner: evenfall.Recipe) -> None:
    path = write(corner.path.parent, annotation("bell\x07 and \x1b[31mred\x1b[0m"))
    done = call("add", corner.path, path)
    assert "\x1b" not in done.output
    assert "bell and [31mred[0m" in done.stdout


def test_the_commands(corner: evenfall.Recipe) -> None:
    path = write(corner.path.parent, annotation("Warmer inside.", creator={"name": "Anna O'Hara"}))
    added = call("add", corner.path, path)
    assert added.exit_code == 0, added.output
    assert added.stdout.strip() == "1 dusk, Anna O'Hara: Warmer inside."
    assert "evenfall round keep" in added.stderr
    assert "--by" in added.stderr
    assert call("answer", corner.path, 1, "done").stdout.splitlines()[1] == "    answered: done"
    assert "answered: done" in call("list", corner.path).stdout
    assert call("answer", corner.path, 7, "done").exit_code == 2
    assert call("add", corner.path, corner.path).exit_code == 2
    drawn = call("draw", corner.path)
    assert drawn.stdout.strip().endswith("corner_dusk_comments.png")


def test_numbers_stand_where_the_comments_are() -> None:
    from evenfall.drawings.spots import Spot, draw_spots

    grey = np.full((360, 640, 3), 118, np.uint8)
    drawn = draw_spots(grey, [Spot(1, 25, 50, 0.5, 0.5), Spot(12, 60, 20, 20, 30)])
    changed = (drawn != grey).any(axis=2)
    rows, columns = np.nonzero(changed[:, :320])
    assert (columns.mean() / 640, rows.mean() / 360) == pytest.approx((0.2525, 0.5025), abs=0.01)
    assert changed[72, 400]  # the edges of the area
    assert changed[178:182, 500].any()
    assert not changed[40, 400]


def test_a_comment_is_written_and_read_back() -> None:
    from evenfall.comments.reading import read_annotations

    said = Comment("urn:a", "late dusk", 3, Box(1.25, 2, 3, 4), "Two\nlines", "Ünal", "2026")
    found = read_annotations([said.to_annotation("liv:ing")], "liv:ing", ["late dusk"])
    assert found.comments == (said,)


@pytest.fixture
def project(corner: evenfall.Recipe) -> Path:
    """A folder with two views, corner and kitchen."""
    (corner.path.parent / "kitchen.toml").write_text(corner.text, encoding="utf-8")
    return corner.path.parent


def on(view: str, text: str, mood: str = "dusk") -> dict[str, Any]:
    item = annotation(text)
    item["target"]["source"] = f"urn:evenfall:{view}:{mood}:now"
    return item


def stored(folder: Path, view: str) -> list[str]:
    return [each.text for each in load_comments(evenfall.load(folder / f"{view}.toml")).items]


@pytest.mark.parametrize("named", [("corner.toml", "kitchen.toml"), ("",)])
def test_each_view_of_a_project_gets_its_own(project: Path, named: tuple[str, ...]) -> None:
    """One file comes back from the page of several views, and is taken in once."""
    file = write(project, on("kitchen", "colder"), on("corner", "warmer"), on("attic", "where?"))
    added = call("add", *(project / name for name in named), file)
    assert added.exit_code == 0, added.output
    assert stored(project, "corner") == ["warmer"]
    assert stored(project, "kitchen") == ["colder"]
    assert "is of the view attic" in added.stderr
    assert "is of the view kitchen" not in added.stderr
    call("add", *(project / name for name in named), file)
    assert stored(project, "kitchen") == ["colder"]


def test_a_view_of_which_nothing_is_said_is_no_fault(project: Path) -> None:
    file = write(project, on("kitchen", "colder"))
    assert call("add", project, file).exit_code == 0
    assert stored(project, "corner") == []
    assert call("add", project / "corner.toml", file).exit_code == 2


def test_a_file_of_no_view_of_the_project_is_told_before_anything_is_taken_in(
    project: Path,
) -> None:
    good = write(project, on("kitchen", "colder"))
    stray = write(project, on("attic", "where?"), name="stray.json")
    added = call("add", project, good, stray)
    assert added.exit_code == 2
    assert "stray.json" in added.output
    assert stored(project, "kitchen") == []
