"""Pictures of a kept round stay; those of the next lie apart, and take over what is the same."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.errors import OutputError

Edit = Callable[[str, str], None]
UNREADABLE = Path(
    "/proc/self/mem"
)  # a regular file by its mode; proc(5): nothing lies at its start


@pytest.fixture
def path() -> Path:
    return example_recipe().path


@pytest.fixture
def edit(path: Path) -> Edit:
    def replace(old: str, new: str) -> None:
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")

    return replace


def listed(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir() if entry.is_file())


def test_a_first_round_lies_in_pictures_and_the_next_in_a_folder_of_its_own(
    path: Path, edit: Edit
) -> None:
    evenfall.open(path).run()
    first = {one: (path.parent / "pictures" / one).read_bytes()
             for one in listed(path.parent / "pictures")}  # fmt: skip
    evenfall.open(path).keep_round()
    edit("stops = -2", "stops = -4")
    report = evenfall.open(path).run()
    second = path.parent / "pictures" / "round_2"
    assert report.out.resolve() == second.resolve()
    assert listed(second) == sorted(first)
    assert {one: (path.parent / "pictures" / one).read_bytes() for one in first} == first


def test_what_has_not_changed_is_taken_over(path: Path, edit: Edit, tmp_path: Path) -> None:
    """Day is copied, dusk is made; both are what a run from nothing makes."""
    evenfall.open(path).run()
    evenfall.open(path).keep_round()
    edit("stops = -2", "stops = -4")
    report = evenfall.open(path).run()
    assert {file.path.name: file.kept for file in report.files} == {
        "corner_day.png": True, "corner_dusk.png": False, "corner_contact_sheet.png": False,
    }  # fmt: skip
    fresh = evenfall.open(path).run(out=tmp_path)
    for file, again in zip(report.files, fresh.files, strict=True):
        assert file.path.read_bytes() == again.path.read_bytes(), file.path.name
    assert all(file.kept for file in evenfall.open(path).run().files)


def test_nothing_is_taken_over_that_is_no_more_the_same(path: Path) -> None:
    evenfall.open(path).run()
    evenfall.open(path).keep_round()
    spoilt = path.parent / "pictures" / "corner_day.png"
    spoilt.write_bytes(spoilt.read_bytes()[:-1])
    kept = {file.path.name: file.kept for file in evenfall.open(path).run().files}
    assert not kept["corner_day.png"]
    assert kept["corner_dusk.png"]


def test_what_lies_under_the_name_of_what_would_be_taken_over_is_looked_at(
    path: Path, edit: Edit
) -> None:
    """A run that died may have taken it over; what somebody else put there is told."""
    evenfall.open(path).run()
    evenfall.open(path).keep_round()
    edit("stops = -2", "stops = -4")
    first, second = (path.parent / "pictures" / folder for folder in ("", "round_2"))
    second.mkdir()
    shutil.copy(first / "corner_day.png", second)
    assert {file.path.name for file in evenfall.open(path).run().files if file.kept} == {
        "corner_day.png"
    }
    shutil.rmtree(second)
    second.mkdir()
    strange = bytearray((first / "corner_day.png").read_bytes())
    strange[-1] ^= 1
    (second / "corner_day.png").write_bytes(strange)
    with pytest.raises(OutputError, match=r"corner_day\.png: the file exists already"):
        evenfall.open(path).run()


def test_a_dry_run_copies_nothing(path: Path) -> None:
    evenfall.open(path).run()
    evenfall.open(path).keep_round()
    report = evenfall.open(path).run(dry_run=True)
    assert all(file.kept and file.path.exists() for file in report.files)
    assert not (path.parent / "pictures" / "round_2").exists()


def test_names_may_tell_rounds_apart(path: Path, edit: Edit) -> None:
    edit("format = 1", 'format = 1\nnaming = "names"')
    evenfall.open(path).run()
    evenfall.open(path).keep_round()
    edit("stops = -2", "stops = -4")
    report = evenfall.open(path).run()
    assert {file.path.name: file.kept for file in report.files} == {
        "corner_day_round_2.png": True,
        "corner_dusk_round_2.png": False,
        "corner_contact_sheet_round_2.png": False,
    }
    assert {"corner_day.png", "corner_dusk.png", "corner_dusk_round_2.png"} <= set(
        listed(path.parent / "pictures")
    )


def test_pictures_of_a_kept_round_are_never_replaced(path: Path, edit: Edit) -> None:
    evenfall.open(path).run()
    evenfall.open(path).keep_round()
    edit("stops = -2", "stops = -4")
    before = (path.parent / "pictures" / "corner_dusk.png").read_bytes()
    with pytest.raises(OutputError) as caught:
        evenfall.open(path).run(out=path.parent / "pictures", overwrite=True)
    assert "belongs to round 1, which is kept; choose another folder" in str(caught.value)
    assert (path.parent / "pictures" / "corner_dusk.png").read_bytes() == before


@pytest.mark.skipif(not UNREADABLE.exists(), reason="the system has no file that fails so")
def test_nothing_is_replaced_while_a_round_cannot_be_read(path: Path, edit: Edit) -> None:
    evenfall.open(path).run()
    evenfall.open(path).keep_round()
    record = path.parent / "rounds" / "001" / "round.toml"
    record.unlink()
    record.symlink_to(UNREADABLE)
    edit("stops = -2", "stops = -4")
    pictures = path.parent / "pictures"
    before = (pictures / "corner_dusk.png").read_bytes()
    with pytest.raises(OutputError, match=r"001: round\.toml cannot be read: Input/output error; "):
        evenfall.open(path).run(out=pictures, overwrite=True)
    assert (pictures / "corner_dusk.png").read_bytes() == before
    assert evenfall.open(path).run().out.name == "round_2"


def test_drafts_lie_apart_and_are_replaced_without_asking(path: Path, edit: Edit) -> None:
    view = evenfall.open(path, draft=True)
    first = view.run("dusk").files[0].path
    assert first == path.absolute().parent / "drafts" / "corner_dusk_draft.png"
    before = first.read_bytes()
    edit("stops = -2", "stops = -4")
    assert evenfall.open(path, draft=True).run("dusk").files[0].path == first
    assert first.read_bytes() != before


def test_a_return_to_an_earlier_round_goes_on_from_there(path: Path, edit: Edit) -> None:
    from evenfall.rounds.returning import return_to

    evenfall.open(path).run()
    evenfall.open(path).keep_round()
    edit("stops = -2", "stops = -4")
    return_to(path, 1)
    report = evenfall.open(path).run()
    assert report.out.name == "round_3"
    assert all(file.kept for file in report.files)
