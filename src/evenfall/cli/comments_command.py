"""`evenfall comments`: what a client said on the review page, taken in and answered."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenfall.cli.options import recipe_argument
from evenfall.cli.saying import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from evenfall.comments.model import Comment
    from evenfall.recipe import Recipe

__all__ = ["command"]


@click.group("comments", short_help="Comments of a client: take them in, show and answer them.")
def command() -> None:
    """Take in, show and answer the comments that came back from a review page.

    They are kept beside the recipe, in RECIPE_comments.json.
    """


@command.command("add")
@click.argument(
    "named",
    nargs=-1,
    required=True,
    type=click.Path(path_type=Path),
    metavar="RECIPE... FILE...",
)
def add(named: tuple[Path, ...]) -> None:
    """Take in the comment FILEs that clients sent; the same comment twice counts once.

    Of the page of a project, name its recipes, or their folder: each view gets its own comments.
    """
    from evenfall.recipe import load
    from evenfall.view import add_comments_to_all
    from evenfall.view.several import find_recipes

    recipes = [path for path in named if path.suffix.lower() == ".toml" or path.is_dir()]
    files = [path for path in named if path not in recipes]
    if not recipes or not files:
        raise click.UsageError(
            "name the recipe, recipes or folder of recipes (.toml), and then files of comments"
        )
    loaded = [load(recipe, check_files=False) for recipe in find_recipes(recipes)]
    for recipe, taken in zip(loaded, add_comments_to_all(loaded, files), strict=True):
        for note in taken.notes:
            say(note, err=True)
        if len(loaded) > 1:
            say(f"{recipe.path.stem}:", err=True)
        _print(recipe, taken.new)
        count = len(taken.new)
        say(f"{count or 'No'} new comment{'' if count == 1 else 's'}.", err=True)
        if taken.new:
            say(f"For the next round: {_keep_words(recipe, taken.new)}", err=True)


@command.command("list")
@recipe_argument
def show(recipe: Path) -> None:
    """Print all comments with their answers."""
    from evenfall.recipe import load
    from evenfall.view import load_comments

    loaded = load(recipe, check_files=False)
    comments = load_comments(loaded).items
    _print(loaded, comments)
    if not comments:
        say("There are no comments yet.", err=True)


@command.command("answer")
@recipe_argument
@click.argument("number", type=click.IntRange(min=1))
@click.argument("answer")
def answer(recipe: Path, number: int, answer: str) -> None:
    """Give comment NUMBER its ANSWER, such as "done" or "declined: the lamp is fixed"."""
    from evenfall.recipe import load
    from evenfall.view import answer_comment

    loaded = load(recipe, check_files=False)
    after = answer_comment(loaded, number, answer)
    _print(loaded, [each for each in after.items if each.number == number])


@command.command("draw")
@recipe_argument
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder to write to (default: 'pictures' beside the recipe).",
)
def draw(recipe: Path, out: Path | None) -> None:
    """Draw the numbers of the comments on a draft of each mood."""
    import evenfall
    from evenfall.view import draw_comments

    made = draw_comments(evenfall.open(recipe, draft=True), out)
    for path in made:
        say(str(path))
    if not made:
        say("There are no comments to draw.", err=True)


def _print(recipe: Recipe, comments: Iterable[Comment]) -> None:
    from evenfall.view import comment_words

    for comment in comments:
        say(comment_words(recipe, comment))
        if comment.answer:
            say(f"    answered: {comment.answer}")


def _keep_words(recipe: Recipe, comments: Sequence[Comment]) -> str:
    from evenfall.view import comment_words

    asked = [word for each in comments for word in ("--asked", comment_words(recipe, each))]
    by = ", ".join(dict.fromkeys(each.author for each in comments if each.author))
    words = ["evenfall", "round", "keep", str(recipe.path), *asked]
    return shlex.join([*words, *(["--by", by] if by else [])])
