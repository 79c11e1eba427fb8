"""Earlier rounds as a client sees them: on the review page, and before and after on boards."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO

from evenfall.drawings.board import BoardPicture
from evenfall.page.contents import PagePicture, PageRound
from evenfall.passes.side.whole import picture_bytes
from evenfall.recipe import Recipe
from evenfall.record.rounds import KeptRound, find_round, read_rounds, rounds_folder
from evenfall.rounds.keeping import kept_as

__all__ = ["ShownRounds", "pictures_before", "round_name_now", "rounds_to_show"]


@dataclass(frozen=True, eq=False)
class ShownRounds:
    """Earlier rounds of a view.

    Parameters
    ----------
    pictures : tuple of PagePicture
        Of the latest rounds that are shown, latest first.
    rounds : tuple of PageRound
        What was asked and answered in all rounds, latest first.
    notes : tuple of str
        What is missing, and why.
    """

    pictures: tuple[PagePicture, ...]
    rounds: tuple[PageRound, ...]
    notes: tuple[str, ...]


def rounds_to_show(recipe: Recipe, most: int) -> ShownRounds:
    """Give the rounds of a recipe for its review page.

    Parameters
    ----------
    recipe : Recipe
        As it stands; a round that holds just this is not shown a second time in pictures.
    most : int
        Of how many earlier rounds pictures are shown.
    """
    now = kept_as(recipe)
    pictures: list[PagePicture] = []
    told: list[PageRound] = []
    notes: list[str] = []
    shown = 0
    for kept in reversed(read_rounds(rounds_folder(recipe.path))):
        if kept.record is None:
            notes.append(f"round {kept.number} {kept.trouble}")
            continue
        told.append(_told(kept))
        if shown < most and (now is None or kept.number != now.number):
            shown += 1
            pictures += _pictures(kept, recipe)
            notes += [f"round {kept.number}: {damage}" for damage in kept.damages]
    return ShownRounds(tuple(pictures), tuple(told), tuple(notes))


def pictures_before(recipe: Recipe, number: int) -> dict[str, BoardPicture]:
    """Give the pictures of a round by mood, for boards of before and after.

    Raises
    ------
    UsageError
        When there is no such round.
    """
    kept = find_round(rounds_folder(recipe.path), number)
    return {
        picture.mood: BoardPicture(
            picture.title, picture.jpeg, picture.width, picture.height, f"round {number}"
        )
        for picture in _pictures(kept, recipe)
    }


def round_name_now(recipe: Recipe) -> str:
    """Name the round that holds the recipe as it stands; empty when none does."""
    kept = kept_as(recipe)
    return "" if kept is None else f"Round {kept.number}"


def _pictures(kept: KeptRound, recipe: Recipe) -> Iterator[PagePicture]:
    """Pictures of a round that are as they were kept."""
    from PIL import Image

    assert kept.record is not None
    damaged = {damage.partition(" ")[0] for damage in kept.damages}
    for noted in kept.record.pictures:
        if noted.file in damaged:
            continue
        data = picture_bytes(kept.folder / noted.file)
        with Image.open(BytesIO(data)) as picture:
            width, height = picture.size
        known = recipe.moods.get(noted.mood)
        title = noted.mood if known is None else known.title
        yield PagePicture(noted.mood, title, data, width, height, kept.number)


def _told(kept: KeptRound) -> PageRound:
    record = kept.record
    assert record is not None
    return PageRound(
        number=kept.number,
        date=_day(record.kept),
        by=record.by,
        changes=record.changed,
        answers=tuple((wish.wish, wish.answer or "open") for wish in record.asked),
    )


def _day(moment: datetime.datetime) -> str:
    return f"{moment.day} {moment:%B %Y}"
