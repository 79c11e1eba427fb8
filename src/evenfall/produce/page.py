"""The review page of views: developed moods, comments and rounds, brought together."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import replace

from evenfall.comments.model import Comments
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.develop.developed import DevelopedMood
from evenfall.light.gain import stops_of
from evenfall.page.contents import PageContents, PagePicture, PageRound, PageTable, PageView
from evenfall.page.html import build_page
from evenfall.produce.stills import srgb_still
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.words.wording import setting_words, stops_words

__all__ = ["PAGE_WIDTH", "make_page", "page_view"]

PAGE_WIDTH = 1920
"""Widest pictures of a page in pixels."""

_QUALITY = 90
_MOST_KILOBYTES = 700  # a picture: six of them stay under 6 MB, as base64 in the page


def page_view(
    recipe: Recipe,
    developed: Iterable[DevelopedMood],
    comments: Comments,
    *,
    width: int = PAGE_WIDTH,
    round_name: str = "",
    rounds: Sequence[PageRound] = (),
    earlier: Sequence[PagePicture] = (),
    figures: bool = False,
) -> PageView:
    """Make what a review page shows of a view.

    Parameters
    ----------
    recipe : Recipe
        The view's.
    developed : iterable of DevelopedMood
        In the order of the page; each is let go once its picture is made.
    comments : Comments
        Those that were taken in.
    width : int
        Widest pictures, in pixels.
    round_name : str
        Round that it stands in.
    rounds : sequence of PageRound
        What was asked and answered, latest first.
    earlier : sequence of PagePicture
        Pictures of earlier rounds.
    figures : bool
        Whether the settings of the lights are shown, and what changed of them from round to round.
    """
    pictures: list[PagePicture] = []
    shown: list[tuple[ResolvedMood, float]] = []
    for mood in developed:
        codes = srgb_still(mood, width)
        height, wide = codes.shape[:2]
        jpeg = encode_jpeg(codes, quality=_QUALITY, max_kilobytes=_MOST_KILOBYTES)
        pictures.append(PagePicture(mood.name, mood.mood.title, jpeg, wide, height))
        shown.append((mood.mood, stops_of(mood.camera.exposure_factor)))
    return PageView(
        key=recipe.path.stem,
        title=recipe.model.project.view or recipe.path.stem,
        pictures=(*pictures, *earlier),
        round_name=round_name,
        rounds=tuple(one if figures else replace(one, changes=()) for one in rounds),
        comments=comments.items,
        settings=_settings(recipe, shown) if figures else None,
    )


def make_page(
    recipe: Recipe,
    views: Sequence[PageView],
    *,
    key: str = "",
    heading: str = "",
    date: datetime.date | None = None,
) -> bytes:
    """Make the review page.

    Parameters
    ----------
    recipe : Recipe
        Names of project and studio; of several views, the studio of the first.
    views : sequence of PageView
        What it shows.
    key : str
        Tells a page of several views from others.
    heading : str
        What several views are called together.
    date : date, optional
        Stands at the top.

    Returns
    -------
    bytes
        One HTML file.
    """
    project = recipe.model.project
    title = project.view or project.title or recipe.path.stem
    if len(views) > 1:
        title = heading
    contents = PageContents(
        key=key or recipe.path.stem,
        title=title,
        views=tuple(views),
        project=project.title or "" if len(views) == 1 else heading,
        studio=project.studio or project.author or "",
        date="" if date is None else f"{date.day} {date:%B %Y}",
    )
    return build_page(contents)


def _settings(recipe: Recipe, shown: Sequence[tuple[ResolvedMood, float]]) -> PageTable:
    rows = [
        (
            light.title or name,
            tuple(setting_words(mood.lights[name], name) for mood, _ in shown),
        )
        for name, light in recipe.model.lights.items()
    ]
    exposures = tuple(f"{stops_words(stops)} stops" for _, stops in shown)
    return PageTable(tuple(mood.title for mood, _ in shown), (*rows, ("Exposure", exposures)))
