"""Rounds are kept whole or not at all, are never written again, and nothing that stood is lost."""

from __future__ import annotations

import errno
import hashlib
import os
import threading
import tomllib
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.errors import OutputError, RecipeError, UsageError
from evenfall.record import round_pictures, rounds
from evenfall.record.round_pictures import picture_of
from evenfall.record.round_record import RoundRecord
from evenfall.record.rounds import find_round, read_rounds, rounds_folder
from evenfall.rounds.keeping import keep_text
from evenfall.rounds.returning import return_to
from evenfall.system import folders
from evenfall.system.cache import cache_folder
from evenfall.system.partials import partial_path

Edit = Callable[[str, str], None]


@pytest.fixture
def path() -> Path:
    found = example_recipe().path
    text = found.read_text(encoding="utf-8")
    found.write_text(text.replace("sky = { stops = -2 }", "sky = -2"), encoding="utf-8")
    return found


@pytest.fixture
def edit(path: Path) -> Edit:
    def replace(old: str, new: str) -> None:
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")

    return replace


def snapshot(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_a_round_holds_what_was_asked_what_changed_and_what_came_out(
    path: Path, edit: Edit
) -> None:
    evenfall.open(path).run()
    evenfall.open(path).keep_round(by="First delivery")
    edit("sky = -2", "sky = -2.5")
    report = evenfall.open(path).run()
    kept = evenfall.open(path).keep_round(
        asked=["sky darker", "lamp red"],
        answers=["done", "declined: it is no bar"],
        by="Anna, call",
    )
    assert (kept.number, kept.folder) == (2, path.absolute().parent / "rounds" / "002")
    noted = tomllib.loads((kept.folder / "round.toml").read_text(encoding="utf-8"))
    assert noted["by"] == "Anna, call"
    assert noted["since"] == 1
    assert noted["changed"] == ["dusk: sky: -2 stops -> -2 1/2 stops (down 1/2)"]
    assert noted["asked"] == [
        {"wish": "sky darker", "answer": "done"},
        {"wish": "lamp red", "answer": "declined: it is no bar"},
    ]
    hashes = {file.path.name: file.sha256 for file in report.files}
    found = {Path(file["path"]).name: file["sha256"] for file in noted["deliverables"]}
    assert found == hashes
    assert {file["path"] for file in noted["deliverables"]} == {
        f"pictures/round_2/{name}" for name in hashes
    }
    assert set(noted["passes"]) == {"sun", "sky", "lamp"}
    assert noted["versions"]["evenfall"] == evenfall.__version__
    assert (kept.folder / path.name).read_bytes() == path.read_bytes()


def test_its_pictures_are_those_of_the_moods(path: Path) -> None:
    evenfall.open(path).run()
    kept = evenfall.open(path).keep_round()
    for mood in ("day", "dusk"):
        data = (kept.folder / f"{mood}.jpg").read_bytes()
        with (
            Image.open(BytesIO(data)) as small,
            Image.open(path.parent / "pictures" / f"corner_{mood}.png") as full,
        ):
            assert small.size == full.size == (48, 32)
            one, other = (list(picture.convert("RGB").resize((1, 1), Image.Resampling.BOX)
                               .get_flattened_data()) for picture in (small, full))  # fmt: skip
            assert one[0] == pytest.approx(other[0], abs=3)


@pytest.mark.parametrize(
    "kind",
    [
        '{ format = "png", dither = true }',
        '{ format = "png", bits = 16, space = "Display P3" }',
    ],
)
def test_pictures_that_a_run_left_behind_are_those_of_its_files(
    path: Path, edit: Edit, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once there are rounds; a deliverable is decoded only where none was left."""
    text = path.read_text(encoding="utf-8")
    path.write_text(f"deliverables = [{kind}]\n{text}", encoding="utf-8")
    evenfall.open(path).keep_round()
    edit("sky = -2", "sky = -2.5")
    report = evenfall.open(path).run()
    decoded = {file.mood: picture_of(file.path, None) for file in report.files if file.mood}
    monkeypatch.setattr(round_pictures, "read_reduced", None)
    kept = evenfall.open(path).keep_round()
    assert {mood: (kept.folder / f"{mood}.jpg").read_bytes() for mood in decoded} == decoded


def test_a_deliverable_is_decoded_once(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    report = evenfall.open(path).run()
    files = [file for file in report.files if file.mood]
    first = [picture_of(file.path, file.sha256) for file in files]
    monkeypatch.setattr(round_pictures, "read_reduced", None)
    assert [picture_of(file.path, file.sha256) for file in files] == first


def test_a_picture_left_behind_that_is_damaged_is_made_again(path: Path, edit: Edit) -> None:
    evenfall.open(path).keep_round()
    edit("sky = -2", "sky = -2.5")
    report = evenfall.open(path).run()
    for left in (cache_folder() / "rounds").iterdir():
        left.write_bytes(left.read_bytes()[:-1])
    kept = evenfall.open(path).keep_round()
    for file in report.files:
        if file.mood:
            expected = picture_of(file.path, None)
            assert (kept.folder / f"{file.mood}.jpg").read_bytes() == expected


def test_pictures_are_developed_where_no_deliverable_is_current(path: Path, edit: Edit) -> None:
    evenfall.open(path).run()
    evenfall.open(path).keep_round()
    edit("sky = -2", "sky = 3")
    kept = evenfall.open(path).keep_round()
    first = find_round(rounds_folder(path), 1)
    assert (first.folder / "day.jpg").read_bytes() == (kept.folder / "day.jpg").read_bytes()
    assert (first.folder / "dusk.jpg").read_bytes() != (kept.folder / "dusk.jpg").read_bytes()
    assert kept.record is not None
    assert [Path(file.path).name for file in kept.record.deliverables] == ["corner_day.png"]


def test_plates_and_what_else_is_opened_are_noted(path: Path, edit: Edit) -> None:
    plate = path.with_name("plate.png")
    Image.new("RGB", (48, 32), (90, 120, 160)).save(plate)
    edit("[moods.dusk]\n", '[moods.dusk]\nplate = { file = "plate.png" }\n')
    evenfall.open(path).run()
    kept = evenfall.open(path).keep_round()
    assert kept.record is not None
    assert kept.record.files == {"plate.png": hashlib.sha256(plate.read_bytes()).hexdigest()}


def test_what_is_developed_for_a_round_alone_is_noted_too(path: Path, edit: Edit) -> None:
    plate = path.with_name("plate.png")
    Image.new("RGB", (48, 32), (90, 120, 160)).save(plate)
    edit("[moods.dusk]\n", '[moods.dusk]\nplate = { file = "plate.png" }\n')
    kept = evenfall.open(path).keep_round()
    assert kept.record is not None
    assert kept.record.files == {"plate.png": hashlib.sha256(plate.read_bytes()).hexdigest()}
    passes = path.with_name("sky.exr").read_bytes()
    assert kept.record.passes["sky"] == f"sha256:{hashlib.sha256(passes).hexdigest()}"
    assert list(kept.record.passes) == ["sun", "sky", "lamp"]


def test_a_kept_round_cannot_be_written_and_is_not(path: Path, edit: Edit) -> None:
    first = evenfall.open(path).keep_round()
    before = snapshot(first.folder)
    assert all(file.stat().st_mode & 0o222 == 0 for file in first.folder.iterdir())
    edit("sky = -2", "sky = -1")
    evenfall.open(path).keep_round()
    evenfall.open(path).run()
    return_to(path, 1)
    assert snapshot(first.folder) == before


def test_the_same_again_is_refused_unless_something_was_asked(path: Path) -> None:
    evenfall.open(path).keep_round()
    with pytest.raises(UsageError, match="round 1 holds this recipe already"):
        evenfall.open(path).keep_round()
    declined = evenfall.open(path).keep_round(asked=["all pink"], answers=["declined: no"])
    assert declined.record is not None
    assert declined.record.changed == ()


@pytest.mark.parametrize(
    ("asked", "answers", "found"),
    [
        (["a"], ["done", "done"], "2 answers to 1 wishes"),
        (["a"], ["perhaps"], 'found "perhaps"; expected "done", "declined: WHY" or "open"'),
        ([" "], [], "is empty"),
    ],
)
def test_wishes_and_answers_that_do_not_fit(
    path: Path, asked: list[str], answers: list[str], found: str
) -> None:
    with pytest.raises(UsageError) as caught:
        evenfall.open(path).keep_round(asked=asked, answers=answers)
    assert found in str(caught.value)
    assert not rounds_folder(path).exists()


def test_one_off_changes_are_no_part_of_a_round(path: Path) -> None:
    with pytest.raises(UsageError, match="a round keeps the recipe as it stands"):
        evenfall.open(path, changes="moods.dusk.lights.sky=-4").keep_round()


def test_returning_keeps_what_stood_first(path: Path, edit: Edit) -> None:
    first = path.read_text(encoding="utf-8")
    evenfall.open(path).keep_round()
    edit("[moods.dusk]", "[moods.dusk]   # tried")
    edit("sky = -2", "sky = -4")
    returned = return_to(path, 1)
    assert path.read_text(encoding="utf-8") == first
    assert returned.stood is not None
    assert returned.stood.number == 2
    assert "[moods.dusk]   # tried" in returned.stood.recipe_text()
    assert returned.differences is not None
    assert returned.differences.lines() == ["dusk: sky: -4 stops -> -2 stops (up 2)"]
    again = return_to(path, 2)
    assert again.stood is None
    assert "sky = -4" in path.read_text(encoding="utf-8")
    assert len(read_rounds(rounds_folder(path))) == 2


def test_even_a_recipe_that_is_not_sound_is_kept(path: Path, edit: Edit) -> None:
    evenfall.open(path).keep_round()
    edit("sky = -2", "sky = two")
    returned = return_to(path, 1)
    assert returned.stood is not None
    assert "sky = two" in returned.stood.recipe_text()
    assert returned.differences is None
    evenfall.load(path)


def test_returning_to_what_stands_is_told(path: Path) -> None:
    evenfall.open(path).keep_round()
    with pytest.raises(UsageError, match="is the recipe of round 1 already"):
        return_to(path, 1)
    with pytest.raises(UsageError, match="there is no round 7; kept are 1"):
        return_to(path, 7)


def test_a_byte_order_mark_is_kept_too(path: Path) -> None:
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    kept = evenfall.open(path).keep_round()
    assert (kept.folder / path.name).read_bytes() == path.read_bytes()
    assert not kept.trouble


def test_two_people_at_the_same_moment(path: Path) -> None:
    """Many threads keep a round each; every one gets a number of its own, and is whole."""
    text = path.read_text(encoding="utf-8")
    barrier = threading.Barrier(8)
    numbers: list[int] = []

    def keep(who: int) -> None:
        barrier.wait()
        numbers.append(keep_text(path, text, f"by {who}").number)

    threads = [threading.Thread(target=keep, args=(who,)) for who in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(numbers) == list(range(1, 9))
    rounds = read_rounds(rounds_folder(path))
    notes = {kept.record.note for kept in rounds if kept.record is not None}
    assert notes == {f"by {who}" for who in range(8)}
    assert not any(kept.trouble or kept.damages for kept in rounds)


def test_rounds_of_another_recipe_in_the_folder(path: Path) -> None:
    other = path.with_name("hall.toml")
    other.write_bytes(path.read_bytes())
    evenfall.open(path).keep_round()
    kept = evenfall.open(other).keep_round()
    assert kept.number == 1
    assert kept.folder == other.absolute().parent / "rounds" / "hall" / "001"
    assert rounds_folder(path) == path.absolute().parent / "rounds"
    assert evenfall.open(path).keep_round(asked=["more"]).number == 2


def test_a_file_that_has_the_name_of_a_round_is_left_alone(path: Path) -> None:
    rounds_folder(path).mkdir()
    taken = rounds_folder(path) / "001"
    taken.write_text("mine", encoding="utf-8")
    assert evenfall.open(path).keep_round().number == 2
    assert taken.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (errno.ENOSPC, "No space left on device"),
        (errno.EROFS, "Read-only file system"),
        (errno.EACCES, "Permission denied"),
    ],
)
def test_a_disk_that_is_full_or_read_only(
    path: Path, monkeypatch: pytest.MonkeyPatch, code: int, said: str
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(folders, "put_whole", refuse)
    with pytest.raises(OutputError, match=f"the round cannot be kept: {said}"):
        evenfall.open(path).keep_round()
    assert list(rounds_folder(path).iterdir()) == []


def test_what_a_killed_keeping_left_goes_with_the_next(path: Path) -> None:
    folder = rounds_folder(path)
    left = partial_path(folder / "001")
    dead = left.with_name(left.name.replace(f".{os.getpid()}-", ".4194303-"))
    dead.mkdir(parents=True)
    (dead / "day.jpg").write_bytes(b"half")
    evenfall.open(path).keep_round()
    assert [entry.name for entry in folder.iterdir()] == ["001"]


def spoil_record(kept: Path) -> None:
    (kept / "round.toml").chmod(0o644)
    (kept / "round.toml").write_text("format = ", encoding="utf-8")


def newer(kept: Path) -> None:
    (kept / "round.toml").chmod(0o644)
    (kept / "round.toml").write_text("format = 9\n", encoding="utf-8")


def edit_recipe(kept: Path) -> None:
    (kept / "corner.toml").chmod(0o644)
    (kept / "corner.toml").write_text("format = 1\n", encoding="utf-8")


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (
            lambda kept: (kept / "round.toml").unlink(),
            "is not a whole round: round.toml is missing",
        ),
        (
            lambda kept: (kept / "corner.toml").unlink(),
            "is not a whole round: corner.toml is missing",
        ),
        (spoil_record, "round.toml is not valid TOML"),
        (newer, r"was kept by a newer evenfall \(format 9; this one knows 1\)"),
        (edit_recipe, "corner.toml in it was changed since it was kept"),
    ],
)
def test_rounds_that_are_half_copied_edited_or_newer(
    path: Path, edit: Edit, spoil: Callable[[Path], None], said: str
) -> None:
    """It is told of, never returned to, and in the way of nothing."""
    kept = evenfall.open(path).keep_round()
    spoil(kept.folder)
    [found] = read_rounds(rounds_folder(path))
    before = path.read_bytes()
    with pytest.raises(UsageError, match=said):
        return_to(path, found.number)
    assert path.read_bytes() == before
    edit("sky = -2", "sky = -1")
    assert evenfall.open(path).keep_round().number == 2


def test_a_picture_that_was_changed_is_told_of(path: Path) -> None:
    kept = evenfall.open(path).keep_round()
    (kept.folder / "day.jpg").chmod(0o644)
    (kept.folder / "day.jpg").write_bytes(b"other")
    (kept.folder / "dusk.jpg").unlink()
    found = find_round(rounds_folder(path), 1)
    assert found.damages == ("day.jpg was changed since", "dusk.jpg is missing")
    assert not found.trouble


def test_a_record_names_no_file_elsewhere() -> None:
    text = 'format = 1\nrecipe = "../../secret"\nrecipe_sha256 = "x"\nkept = 2026-06-21T00:00:00Z\n'
    with pytest.raises(ValueError, match="expected the name of a file in the round's own folder"):
        RoundRecord.from_toml(text)


def test_a_recipe_that_changes_while_its_pictures_are_made(path: Path) -> None:
    view = evenfall.open(path)
    path.write_text(path.read_text(encoding="utf-8") + "# later\n", encoding="utf-8")
    with pytest.raises(UsageError, match="was changed meanwhile"):
        view.keep_round()
    assert not rounds_folder(path).exists() or not list(rounds_folder(path).iterdir())


def test_hashes_are_those_of_the_files(path: Path) -> None:
    kept = evenfall.open(path).keep_round()
    assert kept.record is not None
    for picture in kept.record.pictures:
        data = (kept.folder / picture.file).read_bytes()
        assert picture.sha256 == hashlib.sha256(data).hexdigest()


def test_a_missing_pass_stops_it_before_anything_is_written(path: Path) -> None:
    view = evenfall.open(path)
    next(path.parent.rglob("sky.exr")).unlink()
    with pytest.raises((evenfall.errors.PassError, RecipeError)):
        view.keep_round()
    assert not rounds_folder(path).exists()


def test_a_round_is_read_once_until_it_is_edited(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rounds, "_SETTLED_NS", 0)  # it need not lie for a while first
    kept = evenfall.open(path).keep_round(asked=["warmer"])
    record = kept.folder / "round.toml"
    for minute, wish in enumerate(("warmer", "cooler"), start=1):
        record.chmod(0o644)
        text = record.read_text(encoding="utf-8").replace("warmer", wish)
        record.write_text(text, encoding="utf-8")
        os.utime(record, (60 * minute, 60 * minute))
        (found,), (again,) = read_rounds(kept.folder.parent), read_rounds(kept.folder.parent)
        assert found is again
        assert found.record is not None
        assert [one.wish for one in found.record.asked] == [wish]
