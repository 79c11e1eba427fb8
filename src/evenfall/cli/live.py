"""Drafts at each save, told in a terminal until somebody stops it."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.cli.saying import say
from evenfall.cli.stopping import INTERRUPTED, stop_in_order

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
    """Make drafts at each save of a recipe, and say so, until Ctrl-C."""
    from evenfall.view.live import live_drafts

    stop_in_order()
    say(f"Drafts of {recipe} follow each save; Ctrl-C stops.", err=True)
    try:
        for made in live_drafts(
            recipe, moods=moods, changes=changes, passes=passes, out=out, workers=workers
        ):
            _tell(made)
    except KeyboardInterrupt:
        say("Stopped. The last drafts stay.", err=True)
        sys.exit(INTERRUPTED)


def _tell(made: DraftsMade | DraftsFailed) -> None:
    from evenfall.view.live import DraftsFailed

    now = datetime.datetime.now()
    if isinstance(made, DraftsFailed):
        say(f"{now:%H:%M:%S}  the last good drafts stay:", err=True)
        say(made.error, err=True)
        return
    new = [file.path.name for file in made.report.files if not file.kept]
    told = ", ".join(new) if new else "nothing changed"
    say(f"{now:%H:%M:%S}  {told}  ({made.seconds:.1f} s)")
    sys.stdout.flush()
    for fault in made.report.faults:
        say(fault, err=True)
