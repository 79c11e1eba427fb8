"""The review page of a view, and the comments that come back from it."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from evenfall.comments.model import Comment, Comments
from evenfall.comments.reading import read_comments
from evenfall.comments.store import alone_with_comments, load_comments, save_comments
from evenfall.deliver.png import encode_png
from evenfall.drawings.spots import Spot, draw_spots
from evenfall.errors import Fault, UsageError
from evenfall.produce.page import PAGE_WIDTH, make_page, page_view
from evenfall.produce.stills import srgb_still
from evenfall.recipe import Recipe
from evenfall.recipe.together import heading_of_all, headings_of_views
from evenfall.recipe.words.suggesting import joined
from evenfall.rounds.showing import round_name_now, rounds_to_show
from evenfall.system.arguments import given_path
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import refuse_existing
from evenfall.view.project import as_views, project_name, refuse_alike, usual_file
from evenfall.view.view import View

__all__ = [
    "CommentsTaken",
    "add_comments",
    "add_comments_to_all",
    "answer_comment",
    "comment_words",
    "draw_comments",
    "load_comments",
    "write_page",
]


@dataclass(frozen=True)
class CommentsTaken:
    """Comments that were taken in.

    Parameters
    ----------
    comments : Comments
        All of the view.
    new : tuple of Comment
        Those that were new, with their numbers.
    notes : tuple of str
        What was left out, and why.
    """

    comments: Comments
    new: tuple[Comment, ...]
    notes: tuple[str, ...]


def write_page(
    views: View | Sequence[View],
    path: str | Path | None = None,
    *,
    moods: str | Sequence[str] = (),
    width: int = PAGE_WIDTH,
    date: datetime.date | None = None,
    rounds: int = 1,
    figures: bool = False,
    overwrite: bool = False,
) -> tuple[Path, tuple[str, ...]]:
    """Write the review page of a view, or one of several views.

    Parameters
    ----------
    views : View or sequence of View
        From `evenfall.open` or `open_views`.
    path : str or Path, optional
        A .html file; RECIPE_review.html in the folder `pictures` beside the recipe otherwise, of
        several views PROJECT_review.html.
    moods : str or sequence of str
        Only these moods; all otherwise.
    width : int
        Widest pictures, in pixels.
    date : date, optional
        Stands at the top.
    rounds : int
        Of how many earlier rounds pictures are shown.
    figures : bool
        Whether the settings of the lights are shown.
    overwrite : bool
        Whether a page that exists may be replaced.

    Returns
    -------
    path : Path
        Where it lies.
    notes : tuple of str
        What a person should know.

    Raises
    ------
    OutputError
        When the file exists and may not be replaced, or cannot be written.
    """
    shown = as_views(views)
    recipes = [view.recipe for view in shown]
    file = usual_file(recipes, "_review.html") if path is None else given_path(path, "a page")
    if file.suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"{file}: a review page is written as .html")
    refuse_existing([file], allowed=overwrite)
    notes: list[str] = []
    parts = []
    for view in shown:
        earlier = rounds_to_show(view.recipe, rounds)
        of_view = "" if len(shown) == 1 else f"{view.recipe.path.stem}: "
        notes += [f"{of_view}{note}" for note in earlier.notes]
        parts.append(
            page_view(
                view.recipe,
                view.developed(moods),
                load_comments(view.recipe),
                width=width,
                round_name=round_name_now(view.recipe),
                rounds=earlier.rounds,
                earlier=earlier.pictures,
                figures=figures,
            )
        )
    name = project_name(recipes)
    if len(parts) > 1:
        parts = [
            replace(part, title=title)
            for part, title in zip(parts, headings_of_views(recipes), strict=True)
        ]
    heading = heading_of_all(recipes, name)
    page = make_page(recipes[0], parts, key=name, heading=heading, date=date)
    write_atomically(file, page, overwrite=overwrite)
    return file, tuple(notes)


def add_comments(recipe: Recipe, files: Sequence[str | Path]) -> CommentsTaken:
    """Take in files of comments; a comment that is there already counts once.

    Raises
    ------
    UsageError
        When a file is no comments file, or of another view; nothing is taken in then.
    """
    (taken,) = add_comments_to_all([recipe], files)
    return taken


def add_comments_to_all(
    recipes: Sequence[Recipe], files: Sequence[str | Path]
) -> tuple[CommentsTaken, ...]:
    """Take in files of comments on the page of several views: each view gets its own.

    Parameters
    ----------
    recipes : sequence of Recipe
        Of the views.
    files : sequence of str or Path
        What clients sent.

    Returns
    -------
    tuple of CommentsTaken
        By view, in their order.

    Raises
    ------
    UsageError
        When a file is no comments file, or speaks of none of the views, and when two recipes have
        one name; nothing is taken in then.
    """
    refuse_alike(recipes)
    faults: dict[Fault, None] = {}
    read = [_read(recipe, files, [one.path.stem for one in recipes], faults) for recipe in recipes]
    if faults:
        raise UsageError(faults)
    return tuple(
        _take(recipe, found, notes) for recipe, (found, notes) in zip(recipes, read, strict=True)
    )


def _read(
    recipe: Recipe, files: Sequence[str | Path], views: Sequence[str], faults: dict[Fault, None]
) -> tuple[list[Comment], list[str]]:
    """Read what files say of one view of several; what is wrong with them is noted."""
    stem, moods = recipe.path.stem, tuple(recipe.moods)
    others = {view for view in views if view != stem}
    found: list[Comment] = []
    notes: list[str] = []
    for path in map(Path, files):
        try:
            read = read_comments(path, stem, moods, others=others)
        except UsageError as error:
            faults |= dict.fromkeys(error.faults)
            continue
        found += read.comments
        notes += [f"{path.name}: {note}" for note in read.notes]
    return found, notes


def _take(recipe: Recipe, found: Sequence[Comment], notes: list[str]) -> CommentsTaken:
    with alone_with_comments(recipe):
        before = load_comments(recipe)
        after = before.with_new(tuple(found))
        if after != before:
            save_comments(recipe, after)
    known = {each.id: each for each in after.items}
    notes += [
        f"comment {known[each.id].number} is there already, in other words: left out is "
        f'"{" ".join(each.text.split())}"'
        for each in found
        if each.text != known[each.id].text
    ]
    return CommentsTaken(after, after.items[len(before.items) :], tuple(notes))


def answer_comment(recipe: Recipe, number: int, answer: str) -> Comments:
    """Give a comment its answer, which the next page shows.

    Raises
    ------
    UsageError
        When there is no such comment.
    """
    with alone_with_comments(recipe):
        before = load_comments(recipe)
        try:
            after = before.answered(number, " ".join(answer.split()))
        except KeyError:
            known = joined((str(each.number) for each in before.items), "and", most=20) or "none"
            raise UsageError(f"there is no comment {number}; there are {known}") from None
        save_comments(recipe, after)
    return after


def comment_words(recipe: Recipe, comment: Comment) -> str:
    """Say a comment in a line: '3 Dusk, Anna: the lamps warmer'.

    Examples
    --------
    >>> from evenfall.comments.model import Box
    >>> from evenfall.develop.example import example_recipe
    >>> one = Comment("urn:a", "dusk", None, Box(1, 2, 1, 1), "Warmer, please.", "Anna", number=3)
    >>> comment_words(example_recipe(), one)
    '3 dusk, Anna: Warmer, please.'
    """
    title = recipe.moods[comment.mood].title if comment.mood in recipe.moods else comment.mood
    who = ", ".join(part for part in (title, comment.author) if part)
    return f"{comment.number} {who}: {' '.join(comment.text.split())}"


def draw_comments(
    view: View, folder: str | Path | None = None, *, overwrite: bool = True
) -> list[Path]:
    """Draw the numbers of comments on a picture of every mood that has some.

    Parameters
    ----------
    view : View
        From `evenfall.open`; drafts are enough.
    folder : str or Path, optional
        Where to; the folder `pictures` beside the recipe otherwise.
    overwrite : bool
        Whether pictures that exist may be replaced.

    Raises
    ------
    OutputError
        When a picture exists and may not be replaced, or cannot be written.
    """
    recipe = view.recipe
    target = recipe.path.parent / "pictures" if folder is None else given_path(folder, "the folder")
    comments = load_comments(recipe).items
    moods = [mood for mood in recipe.moods if any(each.mood == mood for each in comments)]
    files = {mood: target / f"{recipe.output_stem}_{mood}_comments.png" for mood in moods}
    refuse_existing(files.values(), allowed=overwrite)
    for developed in view.developed(moods) if moods else ():
        spots = [
            Spot(each.number, each.box.x, each.box.y, each.box.width, each.box.height)
            for each in comments
            if each.mood == developed.name
        ]
        codes = draw_spots(srgb_still(developed, PAGE_WIDTH), spots)
        write_atomically(files[developed.name], encode_png(codes), overwrite=overwrite)
    return list(files.values())
