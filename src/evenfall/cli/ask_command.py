"""`evenfall ask`: what lights a spot of the picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenfall.cli.options import json_option, passes_option, recipe_argument, set_option
from evenfall.cli.saying import make_console, say, say_json

if TYPE_CHECKING:
    from rich.table import Table

    from evenfall.solve.asking import Spot

__all__ = ["command"]


@click.command("ask", short_help="What lights a spot of the picture.")
@recipe_argument
@click.argument("mood")
@click.argument("place", required=False)
@click.option(
    "--mask",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Ask an area instead: a picture whose values 0 to 1 are the weight.",
)
@click.option(
    "--object", "objects", metavar="NUMBERS", help="Ask objects, by number: 3, or 3,7 together."
)
@click.option(
    "--ids",
    metavar="FILE",
    help="Object-id file in the passes' folder; the one that areas of RECIPE name, otherwise.",
)
@passes_option
@set_option
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Also draw which light rules where, and each light's share.",
)
@click.option("--overwrite", is_flag=True, help="Replace pictures that exist.")
@json_option
def command(
    recipe: Path,
    mood: str,
    place: str | None,
    mask: Path | None,
    objects: str | None,
    ids: str | None,
    passes: Path | None,
    changes: tuple[str, ...],
    picture: Path | None,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Ask the picture of MOOD what lights PLACE.

    PLACE is a spot, 0.42,0.61, as shares of width and height from the top left; a rectangle,
    0.1,0.2,0.4,0.5, as left, top, right, bottom; or the name of an aim of MOOD. For each light it
    shows: its share of the light there; where that light alone would put the spot, in stops from
    middle grey; and how far one more stop of it would lift the spot and the whole picture.

    \b
      evenfall ask view.toml dusk 0.42,0.61
      evenfall ask view.toml dusk table
      evenfall ask view.toml dusk --mask window.png
      evenfall ask view.toml dusk --object 3,7 --ids objects.exr
      evenfall ask view.toml dusk --picture maps
    """  # noqa: D301 -- click needs the backspace itself
    import evenfall

    said = [each for each in (place, mask, objects) if each is not None]
    if len(said) > 1:
        raise click.UsageError("one place at a time: PLACE, --mask or --object")
    if not said and picture is None:
        raise click.UsageError("say a place, such as 0.42,0.61, --mask, --object, or --picture DIR")
    if ids is not None and objects is None:
        raise click.UsageError("--ids goes with --object")
    view = evenfall.open(recipe, passes=passes, changes=changes, draft=True).keep()
    if said:
        from evenfall.view.asks import area_of_file

        asked = place or area_of_file(view.recipe, mask=mask, objects=objects or "", ids=ids)
        spot = view.ask(mood, asked)
        if as_json:
            from dataclasses import asdict

            say_json(asdict(spot))
        else:
            _print(spot, place or (f"object {objects}" if mask is None else mask.name))
    if picture is not None:
        for path in view.light_maps(mood, picture, overwrite=overwrite):
            say(path, err=bool(said))


def _print(spot: Spot, place: str) -> None:
    console = make_console()
    luminance = "" if spot.cd_m2 is None else f", {spot.cd_m2:.3g} cd/m2 in the scene"
    console.print(f"{spot.title} at {place}: {_stops(spot.stops)} from middle grey{luminance}.")
    if spot.clipped_share > 0:
        console.print(f"{spot.clipped_share:.0%} of it is clipped.")
    console.print(_table(spot))
    for note in spot.notes:
        console.print(note)
    if spot.cd_m2 is not None:
        console.print(spot.caution)


def _table(spot: Spot) -> Table:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    table.add_column("light")
    for name in ("share", "alone", "a stop more here", "in the picture"):
        table.add_column(name, justify="right")
    if spot.cd_m2 is not None:
        table.add_column("cd/m2", justify="right")
    for light in spot.lights:
        cells = [
            light.title,
            f"{light.share:.1%}",
            _stops(light.stops),
            f"{light.spot_stops:+z.2f}",
            f"{light.picture_stops:+z.2f}",
        ]
        if light.cd_m2 is not None:
            cells.append(f"{light.cd_m2:.3g}")
        table.add_row(*cells)
    return table


def _stops(stops: float) -> str:
    return "black" if stops == float("-inf") else f"{stops:+z.2f} stops"
