"""`evenfall match`: gains that make a mood look like a picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenfall.cli.aim_command import moves_table, names_said, solved_lines
from evenfall.cli.options import json_option, passes_option, recipe_argument
from evenfall.cli.saying import make_console, say, say_json

if TYPE_CHECKING:
    from evenfall.solve.matched import Matched

__all__ = ["command"]


@click.command("match", short_help="Solve gains that make a mood look like a picture.")
@recipe_argument
@click.argument("mood")
@click.option(
    "--to",
    "reference",
    required=True,
    type=click.Path(path_type=Path),
    metavar="PICTURE",
    help="JPEG, PNG, TIFF, WebP, AVIF, EXR, HDR or PFM.",
)
@passes_option
@click.option(
    "--move",
    metavar="NAMES",
    help="Lights and groups that may move, with commas between them; a group moves as one, so that "
    "its lights keep their ratios. Every light that is on, otherwise.",
)
@click.option(
    "--hold", metavar="NAMES", help="Lights and groups that stay, with commas between them."
)
@click.option("--tints", is_flag=True, help="Let colours change, too.")
@click.option(
    "--only",
    type=click.Choice(["colour"]),
    help="Take only the mood of colour of PICTURE, which may show any place.",
)
@click.option(
    "--as-rendered",
    is_flag=True,
    help="A scene-linear PICTURE holds light as the passes do, before the camera.",
)
@click.option(
    "--within",
    type=float,
    default=6.0,
    show_default=True,
    metavar="STOPS",
    help="The most that a gain may change, up or down.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="PNG to draw reference, match and difference into.",
)
@click.option("--overwrite", is_flag=True, help="Replace that picture if it exists.")
@click.option("--draft", is_flag=True, help="Use reduced passes, which are kept: much quicker.")
@click.option("--dry-run", is_flag=True, help="Only say what would change in the recipe.")
@json_option
def command(
    recipe: Path,
    mood: str,
    reference: Path,
    passes: Path | None,
    move: str | None,
    hold: str | None,
    tints: bool,
    only: str | None,
    as_rendered: bool,
    within: float,
    picture: Path | None,
    overwrite: bool,
    draft: bool,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Make MOOD look like PICTURE: solve gains, and write them into RECIPE.

    PICTURE shows the same view: graded or painted over by hand, made of another recipe, or rendered
    anew; of any size. Exposure and look stay as they are, and are seen through. Spots that were
    painted over do not count; you are told where they are, and which light would be needed there.

    \b
      evenfall match view.toml dusk --to graded.jpg --dry-run --picture difference.png
      evenfall match view.toml dusk --to truth.exr --as-rendered --tints
      evenfall match view.toml dusk --to graded.jpg --move indoor,sky
      evenfall match view.toml dusk --to another_room.jpg --only colour
    """  # noqa: D301 -- click needs the backspace itself
    import evenfall

    if only is not None and (as_rendered or picture is not None):
        raise click.UsageError("--only colour lays nothing over: no --as-rendered, no --picture")
    matched = evenfall.open(recipe, passes=passes, draft=draft).match(
        mood,
        reference,
        move=names_said(move),
        hold=names_said(hold),
        tints=tints,
        within=within,
        rendered=as_rendered,
        only_colour=only is not None,
        dry_run=dry_run,
        picture=picture,
        overwrite=overwrite,
    )
    if as_json:
        say_json(_as_json(matched))
    else:
        _print(matched, picture)


def _as_json(matched: Matched) -> dict[str, object]:
    import dataclasses

    plain = dataclasses.asdict(dataclasses.replace(matched, maps=None))
    del plain["maps"]
    return plain | {"path": str(matched.path), "reference": str(matched.reference)}


def _print(matched: Matched, picture: Path | None) -> None:
    say(f"{matched.figures}.")
    if matched.places:
        say("It cannot be matched at")
        for place in matched.places:
            say(f"  {place}")
    for lacking in matched.missing:
        say(f"{lacking}.")
    if matched.moved:
        make_console().print(moves_table(matched.moved))
    for line in solved_lines(matched):
        say(line)
    for note in matched.notes:
        say(f"Note: {note}.")
    if picture is not None:
        say(picture)
    say(f"{matched.path} is changed." if matched.written else "Nothing was written.")
