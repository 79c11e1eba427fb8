"""Frames made by many machines: each is a task, and films are put together here."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from evenfall.farm.crew import Crew
from evenfall.farm.parts import FramePart, digest_of
from evenfall.produce.events import FileDone, OnEvent, TakesTime, unheard
from evenfall.produce.frames import FrameMade, Strip
from evenfall.system.partials import partial_path, remove_leftovers

__all__ = ["farm_frames", "token_in"]


def farm_frames(
    strip: Strip,
    out: Path,
    *,
    address: str,
    draft: bool = False,
    overwrite: bool = False,
    keep_going: bool = False,
    workers: int | None = None,
    spent: Mapping[Path, str] | None = None,
    on_event: OnEvent | None = None,
) -> Iterator[FrameMade]:
    """Make frames by the workers of a scheduler; otherwise as `make_frames`.

    Parameters
    ----------
    strip : Strip
        What is made.
    out : Path
        Folder of the files; it is there, and their names are claimed.
    address : str
        Of the scheduler, ``tcp://farm:8786``.
    draft, overwrite, keep_going, spent
        As for `make_frames`.
    workers : int, optional
        Threads that a worker may use for a frame; 1 otherwise.
    on_event : callable, optional
        Told of files, and of whatever a person should know while waiting.

    Yields
    ------
    FrameMade
        In the order in which they are done.

    Raises
    ------
    UsageError
        When there is no such scheduler, or a machine is not like this one.
    OutputError
        When the scheduler or all workers stay away; what was made stays.
    """
    tell = on_event or unheard
    recipe = strip.recipe
    with token_in(out) as token:
        parts = [
            FramePart(
                recipe.path.absolute(),
                digest_of(recipe),
                "",
                recipe.changes,
                out,
                token,
                draft,
                keep_going,
                threads=workers or 1,
                frame=frame,
                moods=strip.moods,
                hour=strip.hour,
                first=strip.first,
                begun=strip.frames[:2],
                overwrite=overwrite,
                spent=_spent_of(frame, spent or {}),
            )
            for frame in strip.frames
        ]
        numbers = {id(part): part.frame for part in parts}
        for part, made in Crew(address, lambda text: tell(TakesTime(text))).work(parts):
            frame_made = made.frame or FrameMade(numbers[id(part)], (), made.faults)
            for file in frame_made.files:
                tell(FileDone(file.path, file.mood, kept=file.kept))
            yield frame_made


@contextmanager
def token_in(folder: Path) -> Iterator[str]:
    """Lay a file into a folder by which other machines know that they see the same; its name.

    In the end what workers of this machine left there that died is taken away, too.
    """
    token = partial_path(folder / "farm")
    token.touch()
    try:
        yield token.name
    finally:
        token.unlink(missing_ok=True)
        remove_leftovers(folder)


def _spent_of(frame: int, spent: Mapping[Path, str]) -> dict[Path, str]:
    """Give those of a frame, and of few others that have its digits in their names."""
    return {path: sha256 for path, sha256 in spent.items() if f"{frame:04d}" in path.name}
