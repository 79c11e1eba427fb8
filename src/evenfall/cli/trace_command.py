"""`evenfall trace`: from a delivered picture back to its recipe."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenfall.cli.options import json_option, passes_option
from evenfall.cli.saying import from_here, say, say_json

if TYPE_CHECKING:
    from evenfall.rounds.remaking import Remade
    from evenfall.rounds.tracing import Traced

__all__ = ["command", "remade_lines"]


@click.command("trace", short_help="How a delivered picture was made, and make it again.")
@click.argument("picture", type=click.Path(path_type=Path))
@click.option(
    "--recipe",
    "recipe_out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the recipe it carries to this file.",
)
@click.option(
    "--remake",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Make the picture again in this folder, and say whether it is the same.",
)
@click.option(
    "--home",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Folder its recipe was in (default: looked for above the picture).",
)
@passes_option
@click.option("--overwrite", is_flag=True, help="Replace files that exist.")
@json_option
def command(
    picture: Path,
    recipe_out: Path | None,
    remake: Path | None,
    home: Path | None,
    passes: Path | None,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Trace PICTURE back: its recipe, mood and round, the version, and whether its passes are here.

    Every deliverable carries the part of the recipe it was made from, unless the recipe says
    record = "none". --recipe writes that part to a file; --remake makes the picture again, byte for
    byte if passes, plates, masks and versions are the same. The exit code is 1 if the new picture
    differs, or if PICTURE carries nothing.
    """
    from evenfall.rounds.tracing import trace_picture

    traced = trace_picture(picture, home=home, passes=passes)
    if recipe_out is not None:
        traced.refuse_several()
        from evenfall.system.atomic import write_atomically

        write_atomically(recipe_out, traced.record.recipe_text.encode(), overwrite=overwrite)
    remade = _remade(traced, remake, passes, overwrite=overwrite) if remake is not None else None
    if as_json:
        say_json(_as_json(traced, remade))
    else:
        for line in _described(traced):
            say(line)
        if recipe_out is not None:
            say(f"Its recipe is written to {recipe_out}")
        for line in remade_lines(remade) if remade is not None else ():
            say(line)
    if remade is not None and not remade.same:
        sys.exit(1)


def _remade(traced: Traced, out: Path, passes: Path | None, *, overwrite: bool) -> Remade:
    from evenfall.cli.progress import LiveProgress
    from evenfall.rounds.remaking import remake_picture

    with LiveProgress() as progress:
        return remake_picture(
            traced, out, passes=passes, overwrite=overwrite, on_event=progress.hear
        )


def remade_lines(remade: Remade) -> Iterator[str]:
    """Say of files that were made again whether they are what they were."""
    for path in remade.same:
        yield f"{from_here(path)}  the same, byte for byte"
    for path in remade.others:
        yield f"{from_here(path)}  differs"
    for reason in remade.reasons:
        yield f"  {reason}"


def _described(traced: Traced) -> Iterator[str]:
    if traced.views:
        yield f"{traced.picture}: the contact sheet of {traced.record.recipe}"
        for view in traced.views:
            yield from _described(view)
        return
    yield from _described_view(traced)


def _described_view(traced: Traced) -> Iterator[str]:
    from importlib.metadata import version

    from evenfall.record.read_record import pinned_exposure

    record, here = traced.record, version("evenfall")
    what = f"mood {record.mood}" if record.mood else "the contact sheet"
    kind = " as a draft" if record.draft else ""
    yield f"{traced.picture}: {what} of {record.recipe}{kind}"
    if record.title:
        yield f"  title    {record.title}"
    if record.frames:
        yield f"  frames   {record.frames}"
    made_by = "this version" if record.version == here else f"this is {here}"
    yield f"  made by  evenfall {record.version}, {made_by}"
    changes, pinned = pinned_exposure(record)
    for change in (one for one in changes if not one.endswith("camera.as_in=none")):
        yield f"  with     --set {change}"
    if pinned is not None:
        yield f"  exposure {pinned:+.2f} stops, as metered in another mood or view"
    if traced.home is not None:
        belongs = f"round {traced.round}" if traced.round is not None else "no round that is kept"
        yield f"  round    {belongs}"
    yield f"  passes   {_passes(traced)}"


def _passes(traced: Traced) -> str:
    if not traced.passes:
        return "none are noted"
    if traced.passes_are_same:
        return f"all {len(traced.passes)} are here, and the same"
    told = {
        state: ", ".join(light for light, is_so in traced.passes.items() if is_so == state)
        for state in ("same", "another", "missing")
    }
    words = {"same": "the same", "another": "another file", "missing": "not here"}
    return "; ".join(f"{words[state]}: {lights}" for state, lights in told.items() if lights)


def _as_json(traced: Traced, remade: Remade | None) -> dict[str, Any]:
    record = traced.record
    told: dict[str, Any] = {
        "picture": str(traced.picture),
        "sha256": traced.sha256,
        "recipe": record.recipe,
        "recipe_text": record.recipe_text,
        "mood": record.mood,
        "frames": record.frames,
        "draft": record.draft,
        "version": record.version,
        "changes": list(record.changes),
        "home": str(traced.home) if traced.home is not None else None,
        "round": traced.round,
        "passes": dict(traced.passes),
    }
    if traced.views:
        told["views"] = [_as_json(view, None) for view in traced.views]
    if remade is not None:
        told["remade"] = {
            "same": [str(path) for path in remade.same],
            "others": [str(path) for path in remade.others],
            "reasons": list(remade.reasons),
        }
    return told
