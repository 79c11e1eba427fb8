"""The folder of a run's files: tried before the work, and claimed while it lasts."""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path

from evenfall.errors import Fault, OutputError
from evenfall.system.atomic import cannot_be_written
from evenfall.system.locks import Claim, Claimed, claim
from evenfall.system.partials import remove_leftovers

__all__ = ["enter_folder"]


@contextmanager
def enter_folder(out: Path, files: Collection[Path]) -> Iterator[tuple[Claim, ...]]:
    """Make a folder if it is missing, try to write there, and claim the names of files in it.

    What a killed run left half-written is taken away. A folder that was made for this and is empty
    afterwards is taken away too.

    Parameters
    ----------
    out : Path
        The folder; absolute.
    files : collection of Path
        Files that may be written.

    Yields
    ------
    tuple of Claim
        Of runs that were to write some of these files and did not end.

    Raises
    ------
    OutputError
        When nothing can be written there, a folder has the name of a file, or another run writes
        some of these files.
    """
    in_the_way = [path for path in files if path.is_dir()]
    if in_the_way:
        raise OutputError(
            Fault(str(path), "", "there is a folder of this name", "expected a free file name")
            for path in in_the_way
        )
    made, is_entered = _missing(out), False
    try:
        out.mkdir(parents=True, exist_ok=True)
        with claim(out, [path.relative_to(out).as_posix() for path in files]) as abandoned:
            remove_leftovers(out)
            is_entered = True
            yield abandoned
    except Claimed as error:
        found = f"another run writes into this folder: {error.by}"
        hint = "wait until it has ended, or choose another folder with --out"
        raise OutputError(Fault(str(out), "", found, "", hint)) from None
    except OSError as error:
        if is_entered:
            raise
        raise OutputError(cannot_be_written(out, error)) from error
    finally:
        _take_away(made)


def _missing(folder: Path) -> list[Path]:
    """Folders that are not there yet, the innermost first."""
    missing = []
    while not folder.exists() and folder != folder.parent:
        missing.append(folder)
        folder = folder.parent
    return missing


def _take_away(folders: list[Path]) -> None:
    for folder in folders:
        with contextlib.suppress(OSError):  # it is not empty
            folder.rmdir()
