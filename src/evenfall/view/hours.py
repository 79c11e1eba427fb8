"""Frames of a view: an hour that passes, or a walk."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.system.arguments import given_path
from evenfall.view.outgoing import ViewOutgoing

if TYPE_CHECKING:
    from evenfall.produce.events import OnEvent
    from evenfall.produce.hours import MakeFrames
    from evenfall.record.frames_report import FramesReport

__all__ = ["ViewHours"]


class ViewHours(ViewOutgoing):
    """What is made of a view in many frames; see `View`."""

    def frames(
        self,
        moods: str | Sequence[str] = (),
        *,
        frames: str | Sequence[int] | None = None,
        out: str | Path | None = None,
        overwrite: bool = False,
        dry_run: bool = False,
        keep_going: bool = False,
        scheduler: str | None = None,
        on_event: OnEvent | None = None,
    ) -> FramesReport:
        """Make frames of the sequence, or of moods under passes with #### in their names.

        Parameters
        ----------
        moods : str or sequence of str
            The sequence by its name, or moods; the sequence where there is one, all moods
            otherwise.
        frames : str or sequence of int, optional
            Only these, such as "1-100,205"; all of the sequence otherwise.
        out : str or Path, optional
            Folder of the files; `frames` in that of the pictures otherwise.
        overwrite, dry_run, on_event
            As for a run.
        keep_going : bool
            What cannot be used stops only the moods of a frame that need it. Other frames are made
            in any case.
        scheduler : str, optional
            Address of a Dask scheduler, ``tcp://farm:8786``, on whose workers the frames are made;
            see docs/farm.md. The files are the same.

        Raises
        ------
        UsageError, RecipeError, PassError, PixelSourceError, OutputError
            When no frame can be made.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> hour = example_recipe().with_changes(
        ...     "sequence={frames=5, keys=[{mood='day', frame=1}, {mood='dusk', frame=5}]}")
        >>> evenfall.open(hour).frames(frames="2-3").lines()
        ['sequence: 2 frames made']
        """
        from evenfall.errors import UsageError
        from evenfall.produce.frames import make_frames, strip_of
        from evenfall.produce.hours import run_frames
        from evenfall.recipe.clock import frame_numbers

        try:
            numbers = frame_numbers(frames) if isinstance(frames, str) else frames
        except ValueError as error:
            raise UsageError(f"--frames {frames}: {error}") from None
        make: MakeFrames = make_frames
        if scheduler is not None:
            from evenfall.farm.frames import farm_frames

            make = partial(farm_frames, address=scheduler)
        strip = strip_of(self.recipe, moods, numbers)
        folder = None if out is None else given_path(out, "the folder")
        return run_frames(
            strip,
            folder,
            draft=self.draft,
            overwrite=overwrite,
            dry_run=dry_run,
            keep_going=keep_going,
            workers=self.workers,
            on_event=on_event,
            make=make,
        )
