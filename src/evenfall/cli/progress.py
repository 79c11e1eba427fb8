"""The live display of a run, on a terminal only."""

from __future__ import annotations

import sys
from types import TracebackType
from typing import TYPE_CHECKING, Self

from evenfall.cli.saying import make_console, say

if TYPE_CHECKING:
    from evenfall.produce.events import Event

__all__ = ["LiveProgress"]

_FILE_WEIGHT = 3  # writing a picture takes about as long as reading three passes


class LiveProgress:
    """Shows passes read, files written and the time left; little when not on a terminal.

    Parameters
    ----------
    quiet : bool
        True: show nothing at all.
    title : str
        Stands in front, where several are made.
    """

    def __init__(self, *, quiet: bool = False, title: str = "") -> None:
        self._quiet, self._title = quiet, f"{title}: " if title else ""
        self._frames = self._frames_done = 0
        self.shown = not quiet and sys.stderr.isatty()

    def __enter__(self) -> Self:
        if self.shown:
            self._start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if self.shown:
            self._bar.stop()

    def _start(self) -> None:
        from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

        self._bar = Progress(
            TextColumn("{task.description}"),
            BarColumn(bar_width=24),
            TextColumn("{task.fields[counts]}"),
            TextColumn("time left"),
            TimeRemainingColumn(compact=True),
            console=make_console(stderr=True),
            transient=True,
        )
        self._task = self._bar.add_task(f"{self._title}checking", total=None, counts="")
        self._lights = self._files = 0
        self._read = self._written = 0
        self._bar.start()

    def hear(self, event: Event) -> None:
        """Bring the display up to date; one event at a time, from any thread."""
        if self._quiet:
            return
        from evenfall.produce.events import (
            FileDone,
            FrameDone,
            FramesPlanned,
            PassRead,
            RunPlanned,
            TakesTime,
        )

        if isinstance(event, TakesTime):  # said without a terminal too
            if self.shown:
                self._bar.console.print(event.text, soft_wrap=True)
            else:
                say(event.text, err=True)
        if not self.shown:
            return
        if isinstance(event, FramesPlanned):
            self._frames, self._frames_done = event.frames, 0
        self._frames_done += isinstance(event, FrameDone)
        if self._frames:
            self._bar.update(
                self._task,
                description="frames",
                total=self._frames,
                completed=self._frames_done,
                counts=f"{self._frames_done}/{self._frames}",
            )
            return
        match event:
            case RunPlanned():
                self._lights, self._files = event.lights, event.files
            case PassRead():
                self._read += len(event.lights)
            case FileDone():
                self._written += 1
        self._bar.update(
            self._task,
            description=self._title
            + ("finishing and writing" if self._written else "reading and mixing"),
            total=self._lights + _FILE_WEIGHT * self._files,
            completed=self._read + _FILE_WEIGHT * self._written,
            counts=self._counts(),
        )

    def _counts(self) -> str:
        passes = f"passes {self._read}/{self._lights}"
        return f"{passes}  files {self._written}/{self._files}" if self._files else passes
