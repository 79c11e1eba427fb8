"""The recipe at the desk: edits, undo, saving, other hands, and coming back after an end."""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from evenfall.desk.journal import Edit, Journal, journal_path
from evenfall.desk.session import Session
from evenfall.errors import EvenfallError, RecipeError, UsageError

EDITS = 1000 if os.environ.get("EVENFALL_LONG_TESTS") == "1" else 300
"""At random; a thousand take ten seconds of a processor."""


@pytest.fixture
def session(recipe: Path) -> Iterator[Session]:
    session = Session(recipe)
    yield session
    session.close()


def random_edit(session: Session, dice: random.Random) -> None:
    mood = dice.choice(list(session.recipe.moods))
    figures = session.brief(mood).figures
    key = dice.choice(list(figures))
    what = dice.random()
    try:
        if what < 0.8:
            size = dice.choice(["tenth", "third", "stop"])
            session.turn(mood, key, size, dice.choice([-2, -1, 1, 2]), dice.choice(["", "a", "b"]))
        elif what < 0.9:
            session.own(mood, key)
        elif what < 0.95:
            session.let_go(mood, key)
        else:
            session.say(mood, dice.choice(["lamp off", "sky on", "glare +0.01", "sun x1.5"]))
    except EvenfallError:
        pass  # it cannot go so far, which must leave everything as it was


def test_random_edits_are_undone_to_the_last_byte(session: Session) -> None:
    dice, start = random.Random(5), session.text
    texts = [start]
    for number in range(EDITS):
        random_edit(session, dice)
        if number % 100 == 50:
            for _ in range(3):
                session.undo()
            session.redo()
        texts.append(session.text)
    assert len(set(texts)) > 0.3 * EDITS
    while session.undoes:
        session.undo()
    assert session.text.encode() == start.encode()
    while session.redoes:
        session.redo()
    assert session.text == texts[-1]


def test_saving_keeps_comments_and_changes_one_line(session: Session, recipe: Path) -> None:
    before = recipe.read_text(encoding="utf-8").splitlines()
    session.turn("dusk", "gain:sky", "third", 1)
    assert session.is_unsaved
    session.save()
    after = recipe.read_text(encoding="utf-8").splitlines()
    changed = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    assert len(changed) == 1
    assert "-1 2/3" in changed[0][1]
    assert after[0] == "# what the client asked for"
    assert not session.is_unsaved


def test_turns_of_one_gesture_are_undone_at_once(session: Session) -> None:
    start = session.text
    for _ in range(5):
        session.turn("dusk", "gain:sky", "third", 1, "held")
    session.undo()
    assert session.text == start


def test_an_aim_that_was_turned_is_undone_with_what_was_solved_behind_it(recipe: Path) -> None:
    with recipe.open("a", encoding="utf-8") as file:
        file.write("[moods.dusk.aims.table]\nstops = -1\n")
    session = Session(recipe)
    start = session.text
    for _ in range(2):
        session.turn("dusk", "aim:table", "third", 1, "held")
        solved = session.text.replace("{ stops = -2", "{ stops = -1.9")
        session.take(session.text, solved, "solved for its aims", "dusk")
    assert "-1.9" in session.text
    assert session.undoes == "Table, aim turned"
    session.turn("dusk", "gain:lamp", "stop", -1)
    solved = session.text.replace("{ stops = -1.9", "{ stops = -1.8")
    session.take(session.text, solved, "solved for its aims", "dusk")
    session.undo()
    session.undo()
    assert "-1.9" in session.text
    session.undo()
    assert session.text == start
    session.close()


def test_what_is_inherited_is_made_ones_own_and_let_go_again(session: Session) -> None:
    start = session.text
    session.own("day", "dial:exposure")
    assert session.briefs()[0].figures["dial:exposure"].source == ""
    session.let_go("day", "dial:exposure")
    assert session.briefs()[0].figures["dial:exposure"].source == "the recipe"
    session.undo()
    session.undo()
    assert session.text == start


def test_unsaved_edits_come_back_after_an_end_without_warning(
    session: Session, recipe: Path
) -> None:
    """Nothing is closed in order: the journal is read as a process that was killed leaves it."""
    start = session.text
    session.turn("dusk", "gain:sky", "third", 1)
    session.turn("dusk", "gain:lamp", "stop", -1)
    session.undo()
    text = session.text
    path = journal_path(recipe.resolve())
    data = path.read_bytes()
    session.close()
    for cut in (0, 3, 11):  # the last lines may be torn
        path.write_bytes(data + b'{"at": 5, "out": "x", "pu'[:cut])
        again = Session(recipe)
        assert again.text == text
        assert again.redoes
        again.close()
    again = Session(recipe)
    again.undo()
    assert again.text == start
    again.close()


def test_every_prefix_of_a_journal_is_a_sound_recipe(recipe: Path) -> None:
    session = Session(recipe)
    dice = random.Random(7)
    for _ in range(30):
        random_edit(session, dice)
    session.close()
    path = journal_path(recipe.resolve())
    data = path.read_bytes()
    disk = recipe.read_text(encoding="utf-8")
    for end in random.Random(1).sample(range(len(data)), 40):
        path.write_bytes(data[:end])
        again = Session(recipe)
        assert again.recipe.moods
        assert recipe.read_text(encoding="utf-8") == disk
        again.close()


def test_a_desk_that_was_left_as_saved_leaves_nothing(session: Session, recipe: Path) -> None:
    session.close()
    assert not journal_path(recipe.resolve()).exists()


def test_only_one_desk_works_on_a_recipe(session: Session, recipe: Path) -> None:
    with pytest.raises(UsageError, match="a desk is open on this recipe already"):
        Session(recipe)


def test_a_change_of_the_file_appears_and_can_be_undone(session: Session, recipe: Path) -> None:
    start = session.text
    recipe.write_text(start.replace("stops = -2", "stops = -3"), encoding="utf-8")
    assert session.look_outside()
    assert session.briefs()[1].figures["gain:sky"].text == "3 stops down"
    assert not session.is_unsaved
    session.undo()
    assert session.text == start
    assert session.is_unsaved


def test_where_both_changed_both_are_shown_and_nothing_is_overwritten(
    session: Session, recipe: Path
) -> None:
    session.turn("dusk", "gain:lamp", "stop", -1)
    theirs = recipe.read_text(encoding="utf-8").replace("stops = -2", "stops = -3")
    recipe.write_text(theirs, encoding="utf-8")
    session.look_outside()
    assert session.conflict is not None
    assert session.conflict.theirs == ("dusk: sky: -2 stops -> -3 stops (down 1)",)
    assert session.conflict.ours == ("dusk: lamp: +1 stop, 2700 K -> 0 stops, 2700 K (down 1)",)
    with pytest.raises(UsageError, match="by another hand"):
        session.save()
    assert recipe.read_text(encoding="utf-8") == theirs
    ours = session.text
    session.settle("theirs")
    assert session.text == theirs
    session.undo()
    assert session.text == ours
    session.save()
    assert recipe.read_text(encoding="utf-8") == ours


def test_mine_may_stand_over_the_files_which_stays_in_reach(session: Session, recipe: Path) -> None:
    session.turn("dusk", "gain:lamp", "stop", -1)
    ours = session.text
    theirs = recipe.read_text(encoding="utf-8").replace("stops = -2", "stops = -3")
    recipe.write_text(theirs, encoding="utf-8")
    session.look_outside()
    session.settle("ours")
    session.save()
    assert recipe.read_text(encoding="utf-8") == ours
    session.undo()
    assert session.text == theirs


def test_a_file_that_is_broken_meanwhile_is_said_and_waited_for(
    session: Session, recipe: Path
) -> None:
    good = recipe.read_text(encoding="utf-8")
    recipe.write_text(good + "[moods.dusk", encoding="utf-8")
    assert session.look_outside()
    assert "corner.toml" in session.fault
    assert session.text == good
    recipe.write_text(good.replace("stops = -2", "stops = -1"), encoding="utf-8")
    assert session.look_outside()
    assert session.fault == ""
    assert session.briefs()[1].figures["gain:sky"].text == "1 stop down"


def test_a_change_of_the_file_while_there_was_no_desk(recipe: Path) -> None:
    session = Session(recipe)
    session.turn("dusk", "gain:lamp", "stop", -1)
    session.close()
    theirs = recipe.read_text(encoding="utf-8").replace("stops = -2", "stops = -3")
    recipe.write_text(theirs, encoding="utf-8")
    again = Session(recipe)
    assert again.conflict is not None
    assert recipe.read_text(encoding="utf-8") == theirs
    again.close()


@pytest.mark.parametrize(
    ("before", "after"),
    [("", "a"), ("a", ""), ("aaa", "aa"), ("aa", "aaa"), ("abc", "abc"), ("ab", "ba"), ("é", "è")],
)
def test_an_edit_goes_forth_and_back(before: str, after: str) -> None:
    edit = Edit.between(before, after, "")
    assert (edit.forth(before), edit.back(after)) == (after, before)


def test_a_journal_of_something_else_is_begun_anew(tmp_path: Path) -> None:
    path = tmp_path / ".x.desk"
    for data in (b"", b"\0\xff", b"[]\n", b'{"evenfall_desk": 99}\n', b'{"a": 1}\n' * 9):
        path.write_bytes(data)
        journal = Journal(path, "text")
        assert (journal.text, journal.undoes) == ("text", None)
        journal.close(keep=True)


@pytest.mark.parametrize("line", [b'{"go": 1}', b'{"a": 1}', b"[]", b"\0\xff"])
def test_what_stands_before_a_line_that_cannot_be_comes_back(recipe: Path, line: bytes) -> None:
    session = Session(recipe)
    session.turn("dusk", "gain:lamp", "stop", -1)
    turned = session.text
    session.close()
    with journal_path(recipe.resolve()).open("ab") as journal:
        journal.write(line + b'\n{"go": -1}\n')
    again = Session(recipe)
    assert (again.text, again.undoes) == (turned, "lamp down 1")
    again.close()


@pytest.fixture
def house(recipe: Path) -> Path:
    """A recipe on which another builds, which says what the sky does at dusk."""
    house = recipe.with_name("house.toml")
    house.write_text(recipe.read_text(encoding="utf-8"), encoding="utf-8")
    own = '[moods.dusk]\nlights = { sun = "off", sky = { stops = -1 } }\n'
    recipe.write_text(f'format = 1\nbased_on = "house.toml"\n\n{own}', encoding="utf-8")
    return house


def _rename_the_sky(house: Path) -> None:
    text = house.read_text(encoding="utf-8")
    text = text.replace("[lights.sky]", "[lights.dome]").replace("sky = {", "dome = {")
    house.write_text(text, encoding="utf-8")


def test_what_was_unsaved_and_cannot_be_used_keeps_nobody_from_the_file(
    recipe: Path, house: Path
) -> None:
    session = Session(recipe)
    session.turn("dusk", "gain:sky", "stop", -1)
    turned = session.text
    session.close()
    _rename_the_sky(house)
    mended = recipe.read_text(encoding="utf-8").replace("sky =", "dome =")
    recipe.write_text(mended, encoding="utf-8")
    again = Session(recipe)
    assert (again.text, again.conflict, again.is_unsaved) == (mended, None, False)
    with pytest.raises(RecipeError, match='no light or group called "sky"'):
        again.undo()
    assert again.text == again.recipe.text == mended
    house.write_text(house.read_text(encoding="utf-8").replace("dome", "sky"), encoding="utf-8")
    again.undo()
    assert again.text == again.recipe.text == turned
    again.close()


def test_a_hand_that_goes_on_turning_after_a_choice_turns_no_choice_away(
    session: Session, recipe: Path
) -> None:
    session.turn("dusk", "gain:sky", "third", 1, "g")
    ours = session.text
    recipe.write_text(ours.replace("stops = 1,", "stops = 0.5,"), encoding="utf-8")
    session.look_outside()
    session.settle("ours")
    session.turn("dusk", "gain:sky", "third", 1, "g")
    session.undo()
    assert session.text == ours
