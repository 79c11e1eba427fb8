"""What a review page shows."""

from __future__ import annotations

from dataclasses import dataclass, field

from evenfall.comments.model import Comment

__all__ = ["PageContents", "PagePicture", "PageRound", "PageTable", "PageView"]


@dataclass(frozen=True, eq=False)
class PagePicture:
    """A picture of the page.

    Parameters
    ----------
    mood, title : str
        Key and title of the mood.
    jpeg : bytes
        JPEG file with its profile.
    width, height : int
        Pixels.
    round_number : int or None
        Of an earlier round; None for the picture as it stands.
    """

    mood: str
    title: str
    jpeg: bytes = field(repr=False)
    width: int
    height: int
    round_number: int | None = None

    @property
    def key(self) -> str:
        """Tells it from the others of its view."""
        return f"{'now' if self.round_number is None else self.round_number}:{self.mood}"

    @property
    def full_title(self) -> str:
        """Title with the round, for earlier ones."""
        return (
            self.title if self.round_number is None else f"{self.title}, round {self.round_number}"
        )


@dataclass(frozen=True)
class PageRound:
    """A round of feedback.

    Parameters
    ----------
    number : int
        Which.
    date, asked, by : str
        When, what was asked, and by whom.
    changes : tuple of str
        What was changed, in words.
    answers : tuple of (str, str)
        Wishes with what became of them.
    """

    number: int
    date: str = ""
    asked: str = ""
    by: str = ""
    changes: tuple[str, ...] = ()
    answers: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class PageTable:
    """Settings of the lights, shown if asked for.

    Parameters
    ----------
    moods : tuple of str
        Titles of the columns.
    rows : tuple of (str, tuple of str)
        Light, and what each mood asks of it.
    """

    moods: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, eq=False)
class PageView:
    """A view of the page, with all that is said of it.

    Parameters
    ----------
    key : str
        File stem of its recipe, by which comments find back.
    title : str
        Its name for people.
    pictures : tuple of PagePicture
        Those as they stand first, in the recipe's order; then earlier ones.
    round_name : str
        Round that it stands in; empty if in none.
    rounds : tuple of PageRound
        Latest first.
    comments : tuple of Comment
        Those that were taken in, with their numbers and answers.
    settings : PageTable or None
        Settings of the lights.
    """

    key: str
    title: str
    pictures: tuple[PagePicture, ...]
    round_name: str = ""
    rounds: tuple[PageRound, ...] = ()
    comments: tuple[Comment, ...] = ()
    settings: PageTable | None = None


@dataclass(frozen=True, eq=False)
class PageContents:
    """All of a review page; texts that are empty are left out.

    Parameters
    ----------
    key : str
        Tells the page from others: the view's key, or the project's where it shows several views.
    title, project, studio, date : str
        What stands at the top.
    views : tuple of PageView
        At least one.
    """

    key: str
    title: str
    views: tuple[PageView, ...]
    project: str = ""
    studio: str = ""
    date: str = ""

    @property
    def shows_several(self) -> bool:
        """Whether there are several views to choose from."""
        return len(self.views) > 1

    def picture_key(self, view: PageView, picture: PagePicture) -> str:
        """Tell a picture from all others of the page."""
        return f"{view.key}/{picture.key}" if self.shows_several else picture.key

    def picture_title(self, view: PageView, picture: PagePicture) -> str:
        """Name a picture where it stands among those of other views."""
        if not self.shows_several:
            return picture.full_title
        return f"{view.title} \u00b7 {picture.full_title}"
