"""Drafts that follow the recipe: made again at each save, until somebody stops it."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.errors import EvenfallError, refusal
from evenfall.recipe.inheriting import base_files
from evenfall.view.opening import open_view

if TYPE_CHECKING:
    from evenfall.recipe import Recipe
    from evenfall.record.report import RunReport

__all__ = ["DraftsFailed", "DraftsMade", "live_drafts"]

_LOOK_SECONDS = 0.15
"""Between two looks at the files: a person does not notice it, and the disk hardly does."""

_MOST_LOOKS = 40
"""Until a file that keeps changing, or is away, is taken as it is."""

_Stamps = dict[Path, tuple[int, int, int] | None]


@dataclass(frozen=True)
class DraftsMade:
    """Drafts that fit the recipe as it was saved, and the seconds that they took."""

    report: RunReport
    seconds: float


@dataclass(frozen=True)
class DraftsFailed:
    """Why no drafts could be made; those that were good last are still there."""

    error: EvenfallError


def live_drafts(
    path: Path,
    *,
    moods: str | Sequence[str] = (),
    changes: Sequence[str] = (),
    passes: Path | None = None,
    out: Path | None = None,
    workers: int | None = None,
    wait: Callable[[float], object] = time.sleep,
) -> Iterator[DraftsMade | DraftsFailed]:
    """Make drafts now, and again whenever the recipe or a file that it names is saved.

    Only moods that a change touches are made again. A fault ends nothing: it is given, and the last
    good drafts stay. Whoever has enough stops asking.

    Parameters
    ----------
    path : Path
        The recipe.
    moods : str or sequence of str
        Only these moods; all otherwise.
    changes : sequence of str
        One-off changes.
    passes : Path, optional
        Folder of the passes instead of the recipe's own.
    out : Path, optional
        Folder of the drafts; `drafts` beside the recipe otherwise.
    workers : int, optional
        Threads; one per processor otherwise.
    wait : callable
        Passes so many seconds.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> for made in live_drafts(example_recipe().path, moods="dusk"):
    ...     print([file.path.name for file in made.report.files])
    ...     break
    ['corner_dusk_draft.png']
    """
    others: list[Path] = []  # files that the recipe names
    seen: _Stamps = {}
    while True:
        while _stamps((path, *others)) == seen:
            wait(_LOOK_SECONDS)
        seen = _settled((path, *others), wait)
        begun = time.perf_counter()
        try:
            view = open_view(path, changes=changes, passes=passes, draft=True, workers=workers)
            others = _named(view.recipe)
            seen = {**_stamps(others), path: seen[path]}  # as they are before they are opened
            report = view.run(moods, out=out)
        except (EvenfallError, OSError, ImportError) as error:
            others = list(dict.fromkeys((*base_files(path), *others)))
            seen = _stamps((path, *others)) | seen
            told = error if isinstance(error, EvenfallError) else EvenfallError(refusal(error))
            yield DraftsFailed(told)
        else:
            yield DraftsMade(report, time.perf_counter() - begun)


def _settled(files: Sequence[Path], wait: Callable[[float], object]) -> _Stamps:
    """Wait until files are written to the end, as far as that shows; an editor may take a while."""
    before = _stamps(files)
    for _ in range(_MOST_LOOKS):
        wait(_LOOK_SECONDS / 3)
        stamps = _stamps(files)
        if stamps == before and stamps[files[0]] is not None:
            break
        before = stamps
    return before


def _stamps(files: Iterable[Path]) -> _Stamps:
    return {file: _stamp(file) for file in files}


def _stamp(file: Path) -> tuple[int, int, int] | None:
    try:
        status = file.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino


def _named(recipe: Recipe) -> list[Path]:
    """Files that a recipe names: what it builds on, passes, plates, masks, LUTs."""
    from evenfall.recipe.files import named_files

    return [
        *(base.path for base in (*recipe.bases, *recipe.views)),
        *(
            recipe.pass_path(named.name) if named.in_passes else recipe.beside(named.name)
            for named in named_files(recipe.model)
        ),
    ]
