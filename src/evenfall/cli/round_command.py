"""`evenfall round`: rounds of feedback kept, listed, shown, and returned to."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenfall.cli.options import json_option, passes_option, recipe_argument
from evenfall.cli.saying import from_here, make_console, say, say_json
from evenfall.errors import Fault, UsageError

if TYPE_CHECKING:
    from evenfall.record.rounds import KeptRound

__all__ = ["command"]

_WIDEST_WISH = 48

_recipe_option = click.option(
    "--recipe",
    type=click.Path(path_type=Path),
    metavar="RECIPE",
    help="Whose rounds (default: those in the folder 'rounds' here).",
)


@click.group("round", short_help="Keep rounds of feedback, list, show and return to them.")
def command() -> None:
    """Keep rounds of feedback: what was asked, what changed, what came out.

    \b
      evenfall round keep view.toml --asked "lamps warmer" --asked "shelf brighter" --by "Client"
      evenfall round list
      evenfall round show 3
      evenfall round return 2

    A round is a folder of plain files, 'rounds/003' beside the recipe. It never changes afterwards.
    """  # noqa: D301 -- click needs the backspace itself


@command.command("keep", short_help="Keep the recipe as it stands, with its pictures.")
@recipe_argument
@passes_option
@click.option("--asked", multiple=True, metavar="WISH", help="What was asked. May be repeated.")
@click.option(
    "--answer",
    "answers",
    multiple=True,
    metavar="ANSWER",
    help="What became of it: 'done', 'declined: WHY' or 'open', in the order of the wishes.",
)
@click.option("--by", default="", metavar="WHO", help="Who asked, and how: 'Client, call'.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Where the deliverables are (default: where a run puts them).",
)
@click.option("-q", "--quiet", is_flag=True, help="Report only faults.")
def keep(
    recipe: Path,
    passes: Path | None,
    asked: tuple[str, ...],
    answers: tuple[str, ...],
    by: str,
    out: Path | None,
    quiet: bool,
) -> None:
    """Keep RECIPE as it stands as the next round.

    It holds the recipe, word for word; what was asked, by whom, and the answers; what changed since
    the round before, in words; a picture of each mood, 1600 pixels wide; and hashes of the
    deliverables, passes and other files. The pictures come from deliverables that are up to date;
    moods without one are developed.
    """
    from evenfall.cli.progress import LiveProgress
    from evenfall.view.opening import open_view

    view = open_view(recipe, passes=passes, run_follows=True)
    with LiveProgress(quiet=quiet) as progress:
        kept = view.keep_round(asked=asked, answers=answers, by=by, out=out, on_event=progress.hear)
    if quiet:
        return
    record = kept.record
    say(f"Round {kept.number} is kept in {from_here(kept.folder)}")
    for line in record.changed if record is not None else ():
        say(f"  {line}")
    undelivered = record is not None and not record.deliverables
    if undelivered:
        say("Its deliverables were not made yet; only their moods were.", err=True)


@command.command("list", short_help="A table of the rounds.")
@click.argument("recipe", required=False, type=click.Path(path_type=Path))
@json_option
def list_rounds(recipe: Path | None, as_json: bool) -> None:
    """List the rounds of RECIPE, or those in the folder 'rounds' here."""
    from evenfall.record.rounds import read_rounds

    rounds = read_rounds(_folder(recipe))
    if as_json:
        say_json([_as_json(kept) for kept in rounds])
        return
    if not rounds:
        say("No round is kept yet; 'evenfall round keep RECIPE' keeps one.")
        return
    _print_table(rounds)


@command.command("show", short_help="One round in words.")
@click.argument("number", type=click.IntRange(1))
@_recipe_option
@json_option
def show(number: int, recipe: Path | None, as_json: bool) -> None:
    """Show round NUMBER: what was asked and answered, what changed, what came out."""
    from evenfall.record.rounds import find_round

    kept = find_round(_folder(recipe), number)
    if as_json:
        say_json(_as_json(kept))
        return
    for line in _described(kept):
        say(line)


@command.command("return", short_help="Bring back the recipe of a round.")
@click.argument("number", type=click.IntRange(1))
@click.option(
    "--bases",
    is_flag=True,
    help="Bring back the files it is based on, too; other views change with them.",
)
@_recipe_option
def return_(number: int, bases: bool, recipe: Path | None) -> None:
    """Bring back the recipe of round NUMBER.

    The recipe it replaces is kept first as a round of its own, if it was not kept yet; nothing is
    lost. Files that it is based on stay as they are, because other views may be based on them, too:
    --bases brings them back as they were in that round.
    """
    from evenfall.record.rounds import find_round
    from evenfall.rounds.returning import return_to

    if recipe is None:
        kept = find_round(_folder(None), number)
        if kept.record is None:
            raise UsageError(Fault(str(kept.folder), "", kept.trouble))
        recipe = Path(kept.record.recipe)
    returned = return_to(recipe, number, with_bases=bases)
    if returned.stood is not None:
        say(f"The recipe it replaced is kept as round {returned.stood.number}.")
    for line in returned.differences.lines() if returned.differences is not None else ():
        say(f"  {line}")
    say(f"{recipe} is that of round {number}.")
    for name in returned.others:
        note = "has changed since that round, and stays as it is; --bases brings it back, too"
        say(f"{name} {note}.", err=True)


def _folder(recipe: Path | None) -> Path:
    from evenfall.record.rounds import rounds_folder, rounds_here

    return rounds_here() if recipe is None else rounds_folder(recipe)


def _print_table(rounds: Sequence[KeptRound]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    table.add_column("round", justify="right")
    table.add_column("kept", no_wrap=True)
    for name in ("asked", "by", "changes", "state"):
        table.add_column(name)
    for kept in rounds:
        record = kept.record
        if record is None:
            table.add_row(str(kept.number), "", "", "", "", kept.trouble)
            continue
        wishes = "; ".join(one.wish for one in record.asked) or record.note
        shown = wishes if len(wishes) <= _WIDEST_WISH else f"{wishes[: _WIDEST_WISH - 3]}..."
        table.add_row(
            str(kept.number),
            f"{record.kept:%Y-%m-%d %H:%M}",
            shown,
            record.by,
            str(len(record.changed)),
            kept.trouble or "; ".join(kept.damages) or _answered(kept),
        )
    make_console().print(table)


def _answered(kept: KeptRound) -> str:
    """Say how many wishes were answered, and how."""
    asked = kept.record.asked if kept.record is not None else ()
    kinds = [one.answer.partition(":")[0] or "open" for one in asked]
    return ", ".join(f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds))


def _described(kept: KeptRound) -> list[str]:
    record = kept.record
    if record is None:
        return [f"Round {kept.number}: {kept.trouble}"]
    lines = [f"Round {kept.number} of {record.recipe}, kept {record.kept:%Y-%m-%d %H:%M}"]
    lines += [f"By {record.by}"] if record.by else []
    lines += [f"Kept {record.note}"] if record.note else []
    lines += [f"Attention: {trouble}" for trouble in (kept.trouble, *kept.damages) if trouble]
    if record.asked:
        lines += ["", "Asked", *(f"  {one.wish}: {one.answer or 'open'}" for one in record.asked)]
    if record.since is not None:
        said = record.changed or ("nothing",)
        lines += ["", f"Changed since round {record.since}", *(f"  {line}" for line in said)]
    if record.pictures:
        names = (str(kept.folder / one.file) for one in record.pictures)
        lines += ["", "Pictures", *(f"  {name}" for name in names)]
    if record.deliverables:
        sizes = (f"  {one.path}  {one.bytes / 1e6:.1f} MB" for one in record.deliverables)
        lines += ["", "Deliverables", *sizes]
    version = record.versions.get("evenfall", "an unknown version")
    return [*lines, "", f"Recipe: {kept.recipe_path}, by evenfall {version}"]


def _as_json(kept: KeptRound) -> dict[str, Any]:
    record = None if kept.record is None else kept.record.model_dump(mode="json")
    return {
        "number": kept.number,
        "folder": str(kept.folder),
        "trouble": kept.trouble,
        "damages": list(kept.damages),
        "record": record,
    }
