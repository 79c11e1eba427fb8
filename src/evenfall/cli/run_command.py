"""`evenfall run`: make the deliverables of a recipe."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenfall.cli.options import (
    json_option,
    moods_option,
    passes_option,
    recipes_argument,
    set_option,
)
from evenfall.cli.progress import LiveProgress
from evenfall.cli.saying import from_here, say, say_json_text
from evenfall.cli.stopping import INTERRUPTED, stop_in_order

if TYPE_CHECKING:
    from evenfall.produce.events import Event
    from evenfall.record.report import RunReport
    from evenfall.record.values import FileReport

__all__ = ["command", "print_files", "print_report"]


@click.command("run", short_help="Make the deliverables of all moods, or of chosen ones.")
@recipes_argument
@passes_option
@click.option(
    "--out",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder to write to (default: 'pictures' or 'drafts' beside the recipe).",
)
@moods_option
@click.option("--draft", is_flag=True, help="Quick small pictures, with the recipe's guides.")
@click.option(
    "--frames",
    metavar="NUMBERS",
    help="Only these frames, '1-100,205', of the sequence, or of moods whose passes have ####.",
)
@set_option
@click.option("--watch", is_flag=True, help="With --draft: again at every save, until stopped.")
@click.option(
    "--round",
    "round_number",
    type=click.IntRange(1),
    metavar="N",
    help="Make the deliverables of a kept round again, into 'remade/round_N'.",
)
@click.option("--dry-run", is_flag=True, help="Check recipe and passes; say what would be made.")
@click.option("--overwrite", is_flag=True, help="Replace files that exist.")
@click.option(
    "--keep-going", is_flag=True, help="A damaged pass stops only the moods that need it."
)
@click.option(
    "--workers",
    metavar="N",
    type=click.IntRange(1),
    help="Number of threads (default: one per processor; with --dask one per mood).",
)
@click.option(
    "--dask",
    "scheduler",
    metavar="ADDRESS",
    help="Make moods and frames on the workers of a Dask scheduler, such as tcp://farm:8786.",
)
@json_option
@click.option("-v", "--verbose", is_flag=True, help="Say more: balance, exposure and timings.")
@click.option("-q", "--quiet", is_flag=True, help="Report only faults.")
def command(
    recipes: tuple[Path, ...],
    passes: Path | None,
    out: Path | None,
    moods: tuple[str, ...],
    draft: bool,
    frames: str | None,
    watch: bool,
    round_number: int | None,
    changes: tuple[str, ...],
    dry_run: bool,
    overwrite: bool,
    keep_going: bool,
    workers: int | None,
    scheduler: str | None,
    as_json: bool,
    verbose: bool,
    quiet: bool,
) -> None:
    """Make the deliverables of RECIPE: of all moods, or of chosen ones.

    Several recipes, or a folder of them, are worked through one after the other. A failure in one
    does not stop the others, and a table at the end says how each ended. With --frames, only those
    that have frames.

    Existing files are replaced only with --overwrite, and those of a kept round never. Files that
    are already what this run would make are kept. Drafts have a folder of their own and are always
    replaced; --draft --watch makes those that changed again, every time the recipe is saved.

    A recipe with a [sequence] is made in frames too, after its moods; alone with --mood and the
    sequence's name, or with --frames. The same command goes on where a run was stopped. A frame
    that cannot be made is told, the others are made, and the exit code is 1.

    --round makes the deliverables of a kept round again, byte for byte. If a pass, file or version
    is no longer the same, it says which, and the exit code is 1.
    """
    recipe = recipes[0]
    if len(recipes) > 1 or recipe.is_dir() or scheduler is not None:
        alone = {"--watch": watch, "--round": round_number, "--passes": passes}
        if scheduler is not None:
            _refuse_beside("--dask", {**alone, "--dry-run": dry_run})
        _refuse_with_several(alone)
        from evenfall.cli.several import run_several

        run_several(
            recipes,
            scheduler=scheduler,
            moods=moods,
            changes=changes,
            out=out,
            draft=draft,
            overwrite=overwrite,
            dry_run=dry_run,
            keep_going=keep_going,
            frames=frames,
            workers=workers,
            as_json=as_json,
            verbose=verbose,
            quiet=quiet,
        )
        return
    if watch:
        _refuse_beside(
            "--watch",
            {"--round": round_number, "--dry-run": dry_run, "--json": as_json, "--frames": frames},
        )
        if not draft:
            raise click.UsageError("--watch goes with --draft: deliverables are made once.")
        from evenfall.cli.live import watch_recipe

        watch_recipe(recipe, moods=moods, changes=changes, passes=passes, out=out, workers=workers)
        return
    if round_number is not None:
        chosen = {"--draft": draft, "--set": changes, "--dry-run": dry_run, "--mood": moods}
        _refuse_beside("--round", {**chosen, "--json": as_json, "--frames": frames})
        _make_round_again(recipe, round_number, out, passes, overwrite=overwrite, quiet=quiet)
        return
    _run_one(
        recipe,
        moods=moods,
        changes=changes,
        passes=passes,
        draft=draft,
        workers=workers,
        frames=frames,
        out=out,
        overwrite=overwrite,
        dry_run=dry_run,
        keep_going=keep_going,
        as_json=as_json,
        verbose=verbose,
        quiet=quiet,
    )


def _run_one(
    recipe: Path,
    *,
    moods: tuple[str, ...],
    changes: tuple[str, ...],
    passes: Path | None,
    draft: bool,
    workers: int | None,
    frames: str | None,
    out: Path | None,
    overwrite: bool,
    dry_run: bool,
    keep_going: bool,
    as_json: bool,
    verbose: bool,
    quiet: bool,
) -> None:
    """Make the moods of a recipe, its frames, or both; end with 1 where something is missing."""
    from evenfall.cli.frames_run import how_to_make, run_frames
    from evenfall.view.opening import open_view

    view = open_view(
        recipe,
        changes=changes,
        passes=passes,
        draft=draft,
        workers=workers,
        check_files=not keep_going,
        run_follows=True,
    )
    sequence = view.recipe.model.sequence
    of_hour = sequence is not None and moods == (sequence.name,)
    if frames is not None or of_hour:
        whole = run_frames(
            view,
            moods,
            frames,
            out,
            overwrite=overwrite,
            dry_run=dry_run,
            keep_going=keep_going,
            as_json=as_json,
            quiet=quiet,
        )
        if not whole:
            sys.exit(1)
        return
    try:
        with LiveProgress(quiet=quiet) as progress:

            def hear(event: Event) -> None:
                from evenfall.produce.events import FolderEntered  # late: it takes numpy to import

                if isinstance(event, FolderEntered):
                    stop_in_order()
                progress.hear(event)

            report = view.run(
                moods,
                out=out,
                overwrite=overwrite,
                dry_run=dry_run,
                keep_going=keep_going,
                on_event=hear,
            )
    except (KeyboardInterrupt, SystemExit) as error:
        with contextlib.suppress(OSError):  # the terminal may have gone
            say("Stopped. Files that were finished are whole, and stay.", err=True)
            for line in getattr(error, "__notes__", ()):
                say(line, err=True)
        sys.exit(INTERRUPTED if isinstance(error, KeyboardInterrupt) else error.code)
    if as_json:
        say_json_text(report.to_json())
    elif not quiet:
        print_report(report, verbose=verbose)
    for fault in report.faults:
        say(str(fault), err=True)
    whole = not report.faults
    if sequence is not None and not moods and as_json:
        say(f"The frames of {sequence.name} are not made, {how_to_make(sequence.name)}.", err=True)
    elif sequence is not None and not moods:
        whole &= run_frames(
            view,
            (),
            None,
            None if out is None else out / "frames",
            overwrite=overwrite,
            dry_run=dry_run,
            keep_going=keep_going,
            as_json=False,
            quiet=quiet,
        )
    if not whole:
        sys.exit(1)


def _refuse_beside(option: str, others: Mapping[str, object]) -> None:
    for other, said in others.items():
        if said:
            raise click.UsageError(f"{option} goes without {other}.")


def _refuse_with_several(alone: Mapping[str, object]) -> None:
    """Refuse options of one recipe."""
    for option, said in alone.items():
        if said:
            raise click.UsageError(f"{option} goes with one recipe.")


def _make_round_again(
    recipe: Path,
    number: int,
    out: Path | None,
    passes: Path | None,
    *,
    overwrite: bool,
    quiet: bool,
) -> None:
    """Make a round again, and end with 1 where a file is another one."""
    from evenfall.cli.trace_command import remade_lines
    from evenfall.rounds.remaking import remake_round

    with LiveProgress(quiet=quiet) as progress:
        remade = remake_round(
            recipe, number, out=out, passes=passes, overwrite=overwrite, on_event=progress.hear
        )
    if not quiet:
        for line in remade_lines(remade):
            say(line)
    if remade.others:
        sys.exit(1)


def print_report(report: RunReport, *, verbose: bool) -> None:
    """Print what was made: files to stdout, the rest to stderr."""
    print_files(report.files, dry_run=report.dry_run)
    for mood in report.moods.values():
        for note in mood.notes:
            say(f"{mood.title}: {note}", err=True)
    for note in report.notes:
        say(note, err=True)
    if report.dry_run:
        return
    if report.report is not None:
        say(f"Report: {from_here(report.report)}", err=True)
    if verbose:
        _print_details(report)


def print_files(files: Sequence[FileReport], *, dry_run: bool = False) -> None:
    """Print files with what came of them, and their size."""
    for file in files:
        size = "" if file.bytes is None else f"  {file.bytes / 1e6:.1f} MB"
        say(f"{from_here(file.path)}  {_state(file, dry_run=dry_run)}{size}")


def _state(file: FileReport, *, dry_run: bool) -> str:
    if not dry_run:
        return "kept" if file.kept else "made"
    if file.kept:
        return "would be kept"
    return "would be replaced, with --overwrite" if file.path.exists() else "would be made"


def _print_details(report: RunReport) -> None:
    for mood in report.moods.values():
        say(f"{mood.title}: exposure {mood.exposure.stops:+z.2f} stops", err=True)
        for light, gain in mood.lights.items():
            kelvin = "" if gain.kelvin is None else f", {gain.kelvin:.0f} K"
            say(f"  {light}: {gain.gain_stops:+z.2f} stops{kelvin}", err=True)
    stages = ", ".join(f"{stage} {seconds:.2f} s" for stage, seconds in report.seconds.items())
    say(f"Time: {stages}", err=True)
