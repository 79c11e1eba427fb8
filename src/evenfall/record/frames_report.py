"""The report of many frames: what was made, kept, and not made."""

from __future__ import annotations

from evenfall.errors import Fault
from evenfall.recipe.clock import frames_text
from evenfall.record.values import FileReport, Name, Text, Value

__all__ = ["FramesReport"]


class FramesReport(Value):
    """What came of frames.

    Parameters
    ----------
    recipe : Path
        The recipe file.
    out : Path
        Folder of the files.
    shown : tuple of str
        What they show: the sequence, or moods.
    made, kept, failed : tuple of int
        Frames that were made, that an earlier run had made already, and that could not be made.
    faults : tuple of Fault
        Why not.
    notes : tuple of str
        What a person should know.
    films : tuple of FileReport
        Films of these frames.
    dry_run : bool
        Whether nothing was to be written.
    seconds : float
        Wall-clock time.
    """

    recipe: Name
    out: Name
    shown: tuple[Text, ...]
    made: tuple[int, ...] = ()
    kept: tuple[int, ...] = ()
    failed: tuple[int, ...] = ()
    faults: tuple[Fault, ...] = ()
    notes: tuple[Text, ...] = ()
    films: tuple[FileReport, ...] = ()
    dry_run: bool = False
    seconds: float = 0.0

    @property
    def is_whole(self) -> bool:
        """Whether no frame is missing."""
        return not self.failed and not self.faults

    def lines(self) -> list[str]:
        """Say it in words, a line a fact.

        Examples
        --------
        >>> from pathlib import Path
        >>> FramesReport(recipe=Path("v.toml"), out=Path("frames"), shown=("hour",), made=(1, 2),
        ...     kept=(3,), failed=(4, 5)).lines()
        ['hour: 2 frames made, 1 kept, 2 not made (4-5)']
        """
        verb = "would be made, or kept where they stand" if self.dry_run else "made"
        count = len(self.made)
        parts = [f"{count} frame{'' if count == 1 else 's'} {verb}"]
        parts += [f"{len(self.kept)} kept"] if self.kept else []
        if self.failed:
            parts.append(f"{len(self.failed)} not made ({frames_text(self.failed)})")
        return [f"{', '.join(self.shown)}: {', '.join(parts)}"]
