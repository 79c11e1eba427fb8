"""Frames on the command line: progress, what was made, and what is missing."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.cli.progress import LiveProgress
from evenfall.cli.saying import from_here, say, say_json
from evenfall.cli.stopping import INTERRUPTED, stop_in_order

if TYPE_CHECKING:
    from evenfall.record.frames_report import FramesReport
    from evenfall.view import View

__all__ = ["how_to_make", "print_frames", "run_frames"]


def how_to_make(sequence: str) -> str:
    """Say how the frames of a sequence are made."""
    return f"which 'evenfall run RECIPE --mood {sequence}' makes"


def run_frames(
    view: View,
    moods: Sequence[str],
    frames: str | None,
    out: Path | None,
    *,
    overwrite: bool,
    dry_run: bool,
    keep_going: bool,
    as_json: bool,
    quiet: bool,
) -> bool:
    """Make frames and tell of them; gives whether all are there."""
    try:
        with LiveProgress(quiet=quiet) as progress:
            if not dry_run:
                stop_in_order()
            report = view.frames(
                moods,
                frames=frames,
                out=out,
                overwrite=overwrite,
                dry_run=dry_run,
                keep_going=keep_going,
                on_event=progress.hear,
            )
    except (KeyboardInterrupt, SystemExit) as error:
        with contextlib.suppress(OSError):  # the terminal may have gone
            say(
                "Stopped. Frames that were finished are whole, and stay: the same command goes on "
                "where it was.",
                err=True,
            )
        sys.exit(INTERRUPTED if isinstance(error, KeyboardInterrupt) else error.code)
    if as_json:
        say_json(report.model_dump(mode="json"))
    elif not quiet:
        print_frames(report)
    for fault in report.faults:
        say(str(fault), err=True)
    return report.is_whole


def print_frames(report: FramesReport) -> None:
    """Print what came of frames: counts and films to stdout, the rest to stderr."""
    from evenfall.cli.run_command import print_files

    for line in report.lines():
        say(line)
    say(f"in {from_here(report.out)}")
    print_files(report.films)
    for note in report.notes:
        say(note, err=True)
