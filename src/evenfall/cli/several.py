"""A run of several views, told as it goes on, with a table at the end."""

from __future__ import annotations

import contextlib
import json
import sys
import threading
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfall.cli.frames_run import print_frames
from evenfall.cli.progress import LiveProgress
from evenfall.cli.saying import from_here, make_console, say, say_json
from evenfall.cli.stopping import INTERRUPTED, stop_in_order
from evenfall.errors import EvenfallError, Fault, printable

if TYPE_CHECKING:
    from rich.table import Table

    from evenfall.produce.events import Event
    from evenfall.view.several import ViewRun

__all__ = ["joint_exit_code", "run_several"]

_WIDTH_IN_FILES = 100


def run_several(
    recipes: Sequence[Path],
    *,
    scheduler: str | None,
    as_json: bool,
    verbose: bool,
    quiet: bool,
    **options: Any,
) -> None:
    """Run several views and end with the exit code; further options are those of `run_views`."""
    from evenfall.cli.run_command import print_report
    from evenfall.view.several import farm_out_views, find_recipes, run_views

    paths = find_recipes(recipes)
    done: list[ViewRun] = []
    told = _Told(quiet=quiet, count=len(paths))
    try:
        if scheduler is None:
            runs = run_views(paths, on_begin=told.begin, on_event=told.hear, **options)
        else:
            stop_in_order()
            told.begin(Path(scheduler))
            del options["dry_run"]
            runs = farm_out_views(paths, scheduler, on_event=told.hear, **options)
        for made in runs:
            if scheduler is None:
                told.end()
            done.append(made)
            if made.report is not None and not quiet and not as_json:
                print_report(made.report, verbose=verbose)
            if made.frames is not None and not quiet and not as_json:
                print_frames(made.frames)
            for fault in _faults(made):
                say(str(fault), err=True)
            if made.error is not None:
                say(str(made.error), err=True)
    except EvenfallError as error:
        told.end()
        _print_table(paths, done, quiet=quiet)
        raise error from None
    except (KeyboardInterrupt, SystemExit) as error:
        told.end()
        with contextlib.suppress(OSError):  # the terminal may have gone
            say("Stopped. Files that were finished are whole, and stay.", err=True)
            _print_table(paths, done, quiet=quiet)
        sys.exit(INTERRUPTED if isinstance(error, KeyboardInterrupt) else error.code)
    told.end()
    sheet = _sheet_of_all(done, quiet=quiet or as_json, **options)
    if as_json:
        say_json([_as_json(one) for one in done])
    else:
        _print_table(paths, done, quiet=quiet)
    sys.exit(_exit_code(done) or (0 if sheet else 1))


def _sheet_of_all(done: Sequence[ViewRun], *, quiet: bool, **options: Any) -> bool:
    """Write the contact sheet of the project where there is one; gives whether all went well."""
    from evenfall.cli.run_command import print_files
    from evenfall.view.project_sheet import sheet_of_all

    try:
        sheet = sheet_of_all(done, draft=options["draft"], overwrite=options["overwrite"])
    except EvenfallError as error:
        say(str(error), err=True)
        return False
    if sheet is not None and not quiet:
        print_files([sheet])
    return True


class _Told:
    """The display of the view whose turn it is."""

    def __init__(self, *, quiet: bool, count: int) -> None:
        self._quiet, self._count, self._begun = quiet, count, 0
        self._progress: LiveProgress | None = None

    def begin(self, recipe: Path) -> None:
        self._begun += 1
        self._progress = LiveProgress(quiet=self._quiet, title=recipe.stem)
        self._progress.__enter__()

    def hear(self, event: Event) -> None:
        from evenfall.produce.events import FolderEntered, FramesPlanned

        is_main = threading.current_thread() is threading.main_thread()  # frames have their own
        if is_main and isinstance(event, FolderEntered | FramesPlanned):
            stop_in_order()
        if self._progress is not None:
            self._progress.hear(event)

    def end(self) -> None:
        if self._progress is not None:
            self._progress.__exit__(None, None, None)
            self._progress = None


def _faults(made: ViewRun) -> tuple[Fault, ...]:
    reports = [one for one in (made.report, made.frames) if one is not None]
    return tuple(fault for one in reports for fault in one.faults)


def _exit_code(done: Sequence[ViewRun]) -> int:
    """0 when all is made; 2 when all that is missing is missing for wrong recipes; else 1."""
    if all(one.is_whole for one in done):
        return 0
    return joint_exit_code(
        1 if one.error is None else one.error.exit_code for one in done if not one.is_whole
    )


def joint_exit_code(codes: Iterable[int]) -> int:
    """Give the code with which all that failed would end alone; 1 where they differ."""
    different = set(codes)
    return different.pop() if len(different) == 1 else 1


def _print_table(paths: Sequence[Path], done: Sequence[ViewRun], *, quiet: bool) -> None:
    if quiet:
        return
    console = make_console(stderr=True, width_in_files=_WIDTH_IN_FILES)
    console.print()
    console.print(_table(paths, {one.recipe: one for one in done}))


def _table(paths: Sequence[Path], done: dict[Path, ViewRun]) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 3, 0, 0))
    table.add_column("view", overflow="fold")
    for name in ("made", "kept", "seconds"):
        table.add_column(name, justify="right")
    table.add_column("what came of it", overflow="fold")
    for path in paths:
        table.add_row(printable(str(from_here(path))), *_row(done.get(path)))
    return table


def _row(made: ViewRun | None) -> tuple[str, str, str, str]:
    if made is None:
        return "", "", "", "not begun"
    if made.error is not None:
        return "", "", f"{made.seconds:.1f}", f"failed: {_reason(made)}"
    if made.report is None and made.frames is None:
        return "", "", "", "has no frames"
    files = () if made.report is None else made.report.files
    kept, count = sum(file.kept for file in files), len(files)
    if made.frames is not None:  # a frame counts as one, whatever is made of it
        kept += len(made.frames.kept) + sum(film.kept for film in made.frames.films)
        count += len(made.frames.made) + len(made.frames.kept) + len(made.frames.films)
    faults = len(_faults(made))
    state = f"{faults} fault{'s' if faults > 1 else ''}, told above" if faults else "complete"
    looked = any(one is not None and one.dry_run for one in (made.report, made.frames))
    state = "only looked at" if looked and not faults else state
    return str(count - kept), str(kept), f"{made.seconds:.1f}", state


def _reason(made: ViewRun) -> str:
    faults = getattr(made.error, "faults", ())
    if not faults:
        return printable(str(made.error))
    first: Fault = faults[0]
    place = first.place or ("" if first.line is None else f"line {first.line}")
    head = f"{place}: " if place and first.found.startswith("found ") else ""
    more = f", and {len(faults) - 1} more" if len(faults) > 1 else ""
    return printable(f"{head}{first.found}{more}")


def _as_json(made: ViewRun) -> dict[str, Any]:
    return {
        "recipe": str(made.recipe),
        "error": None if made.error is None else str(made.error),
        "seconds": round(made.seconds, 3),
        "report": None if made.report is None else json.loads(made.report.to_json()),
        "frames": None if made.frames is None else made.frames.model_dump(mode="json"),
    }
