"""Rounds of feedback of a view."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.system.arguments import given_path
from evenfall.view.state import ViewState

if TYPE_CHECKING:
    from evenfall.produce.events import OnEvent
    from evenfall.record.rounds import KeptRound

__all__ = ["ViewRounds"]


class ViewRounds(ViewState):
    """What can be kept of a view; see `View`."""

    def keep_round(
        self,
        *,
        asked: Sequence[str] = (),
        answers: Sequence[str] = (),
        by: str = "",
        out: str | Path | None = None,
        on_event: OnEvent | None = None,
    ) -> KeptRound:
        """Keep the recipe as it stands as the next round of feedback, with its pictures.

        Parameters
        ----------
        asked : sequence of str
            What was asked for, a wish each.
        answers : sequence of str
            What became of the wishes, in their order: ``"done"``, ``"declined: WHY"``, ``"open"``.
        by : str
            Who asked, and how.
        out : str or Path, optional
            Where the deliverables lie; where a run puts them otherwise.
        on_event : callable, optional
            Told of progress where moods have to be developed.

        Raises
        ------
        UsageError, RecipeError, PassError, PixelSourceError, OutputError
            As `evenfall.rounds.keeping.keep_round`.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> kept = evenfall.open(example_recipe()).keep_round(asked=["warmer"], by="Anna")
        >>> kept.number, [path.name for path in sorted(kept.folder.iterdir())]
        (1, ['corner.toml', 'day.jpg', 'dusk.jpg', 'round.toml'])
        """
        from evenfall.rounds.keeping import keep_round

        folder = None if out is None else given_path(out, "the folder")
        return keep_round(
            self.recipe, asked=asked, answers=answers, by=by, out=folder, on_event=on_event
        )
