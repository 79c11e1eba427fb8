"""What goes out of the house from a view: boards for the client, lamps for the next render."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from evenfall.errors import UsageError
from evenfall.recipe.choosing import choose_moods
from evenfall.recipe.words.suggesting import joined
from evenfall.view.developing import ViewDeveloping

if TYPE_CHECKING:
    import datetime

    from evenfall.drawings.board import PaperSize
    from evenfall.handback.lamps import Handback
    from evenfall.produce.board import Board

__all__ = ["ViewOutgoing"]


class ViewOutgoing(ViewDeveloping):
    """What is made of a view for others; see `View`."""

    def board(
        self,
        moods: str | Sequence[str] = (),
        *,
        size: PaperSize = "A3",
        upright: bool = False,
        mark: str = "",
        date: datetime.date | None = None,
        before: int | None = None,
    ) -> Board:
        """Make boards: a PDF with all moods on a page, and each on one of its own.

        Parameters
        ----------
        moods : str or sequence of str
            Only these moods; all otherwise.
        size : str
            "A4", "A3", "A2" or "A1".
        upright : bool
            Whether the pages stand.
        mark : str
            Stands at the top of every page, such as "DRAFT".
        date : date, optional
            Stands at the foot.
        before : int, optional
            A round whose pictures stand beside those of now, on pages of their own.

        Raises
        ------
        UsageError, RecipeError, PassError, PixelSourceError
            As `develop`; when there is no such round; and when the studio's logo cannot be drawn.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> board = evenfall.open(example_recipe()).board(size="A4")
        >>> board.data[:5], board.notes[0][:35]
        (b'%PDF-', 'day: 48 pixels on 234 mm are 5 dpi;')
        """
        from evenfall.produce.board import BoardView, make_board
        from evenfall.rounds.showing import pictures_before, round_name_now

        earlier = None if before is None else pictures_before(self.recipe, before)
        view = BoardView(
            self.recipe, self.developed(moods), round_name_now(self.recipe), earlier or {}
        )
        return make_board([view], size=size, upright=upright, mark=mark, date=date)

    def handback(self, mood: str | None = None) -> Handback:
        """Say what a mood's balance means for the lamps of the next render.

        Parameters
        ----------
        mood : str, optional
            Name of the mood; may be left out where there is only one.

        Raises
        ------
        UsageError
            When there is no such mood, or it is not clear which is meant.
        RecipeError, PassError
            When gains cannot be worked out.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> sky = evenfall.open(example_recipe()).handback("dusk").lights[1]
        >>> sky.name, sky.power
        ('sky', 0.25)
        """
        from evenfall.develop.engine import balance_alone
        from evenfall.handback.lamps import hand_back

        if mood is None and len(self.moods) > 1:
            raise UsageError(f"which mood? This recipe has {joined(self.moods, 'and')}")
        (name,) = choose_moods(self.recipe, [self.moods[0] if mood is None else mood])
        balance = balance_alone(self.passes, self._asked.get(), name, workers=self.workers)
        return hand_back(self.recipe, name, balance, self.passes.space)
