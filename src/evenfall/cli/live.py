"""Drafts at each save, told in a terminal until somebody stops it."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.cli.saying import say
from evenfall.cli.stopping import INTERRUPTED, stop_in_order
from evenfall.errors import UsageError

if TYPE_CHECKING:
    from evenfall.view.live import DraftsFailed, DraftsMade

__all__ = ["watch_recipe"]


def watch_recipe(
    recipe: Path,
    *,
    moods: Sequence[str],
    changes: Sequence[str],
    passes: Path | None,
    out: Path | None,
    workers: int | None,
) -> None:
    """Make drafts at each save of a recipe, and say so, until Ctrl-C.

    Raises
    ------
    UsageError
        When there are no such moods at the first look: no save of the recipe is waited for then.
    """
    from evenfall.view.live import DraftsMade, live_drafts

    stop_in_order()
    say(f"Drafts of {recipe} follow each save; Ctrl-C stops.", err=True)
    is_first, are_there = True, False
    try:
        for made in live_drafts(
            recipe, moods=moods, changes=changes, passes=passes, out=out, workers=workers
        ):
            error = None if isinstance(made, DraftsMade) else made.error
            if is_first and isinstance(error, UsageError):
                raise error
            _tell(made, "the last good drafts stay" if are_there else "no drafts yet")
            is_first, are_there = False, are_there or error is None
    except KeyboardInterrupt:
        say("Stopped. The last drafts stay.", err=True)
        sys.exit(INTERRUPTED)


def _tell(made: DraftsMade | DraftsFailed, otherwise: str) -> None:
    from evenfall.view.live import DraftsFailed

    now = datetime.datetime.now()
    if isinstance(made, DraftsFailed):
        say(f"{now:%H:%M:%S}  {otherwise}:", err=True)
        say(made.error, err=True)
        return
    new = [file.path.name for file in made.report.files if not file.kept]
    told = ", ".join(new) if new else "nothing changed"
    say(f"{now:%H:%M:%S}  {told}  ({made.seconds:.1f} s)")
    sys.stdout.flush()
    for fault in made.report.faults:
        say(fault, err=True)
