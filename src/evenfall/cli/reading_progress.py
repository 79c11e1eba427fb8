"""A bar while passes are read."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from evenfall.cli.saying import make_console

__all__ = ["reading_progress"]


@contextmanager
def reading_progress(count: int | None) -> Iterator[Callable[[str], None]]:
    """Show which pass is read and how many are left, on a terminal only.

    Parameters
    ----------
    count : int or None
        How many there will be, if known.

    Yields
    ------
    callable
        To be called with each name.
    """
    if not sys.stderr.isatty():
        yield lambda name: None
        return
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        ProgressColumn,
        SpinnerColumn,
        TextColumn,
    )

    how_far: list[ProgressColumn] = [SpinnerColumn("line")]
    if count is not None:
        how_far = [BarColumn(bar_width=24), MofNCompleteColumn()]
    bar = Progress(
        TextColumn("reading"),
        *how_far,
        TextColumn("{task.description}", markup=False),
        console=make_console(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task("", total=count)
        yield lambda name: bar.update(task, advance=1, description=name)
