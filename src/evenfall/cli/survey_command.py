"""`evenfall survey`: look at a folder of passes and write a starter recipe."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenfall.cli.options import json_option
from evenfall.cli.saying import say, say_json

if TYPE_CHECKING:
    from evenfall.survey.looking import PassFacts
    from evenfall.survey.surveyed import Picture, Survey, SurveyedLight

__all__ = ["command"]


@click.command("survey", short_help="Look at a folder of passes and write a first recipe.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--write",
    type=click.Path(path_type=Path),
    metavar="RECIPE",
    help="Write a commented first recipe with day, dusk and night; for a sequence, one that works "
    "for every frame.",
)
@click.option("--overwrite", is_flag=True, help="Replace a recipe or maps that exist.")
@click.option(
    "--pattern",
    "patterns",
    multiple=True,
    metavar="REGEX",
    help="Find lights with this expression, whose group 'light' is the name. May be repeated.",
)
@click.option(
    "--recipe",
    type=click.Path(path_type=Path),
    metavar="RECIPE",
    help="Use the name patterns and view of this recipe's [passes].",
)
@click.option("--view", metavar="NAME", help="Which camera, for files that hold several views.")
@click.option(
    "--maps",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Also write a map of the broken pixels of each pass that has any.",
)
@json_option
def command(
    folder: Path,
    write: Path | None,
    overwrite: bool,
    patterns: tuple[str, ...],
    recipe: Path | None,
    view: str | None,
    maps: Path | None,
    as_json: bool,
) -> None:
    """Look at all passes in FOLDER and the folders in it.

    A table shows what each picture is taken for, and why: a light, with its role, its share of all
    light and its stops relative to the key; the beauty; a part of a light; data such as depth,
    normals or mattes; or left out, because it does not fit the others or is a copy. The evidence is
    names, pixels, and how the pictures add up. Check the rows that have a question mark. If only
    parts of a light were saved, they are put together. Broken pixels are counted.

    Files that differ only by a number of four digits or more at the end are frames of a sequence.
    One frame is surveyed; --write puts # for the digits into the names, and the frame into
    passes.frame. A number with no other frame beside it stays as it is.
    """
    from evenfall.cli.reading_progress import reading_progress
    from evenfall.cli.survey_table import print_survey
    from evenfall.view import survey_folder

    if recipe is not None:
        from evenfall.recipe import load

        said = load(recipe, check_files=False).model.passes
        patterns, view = patterns or said.name_patterns, view or said.view
    with reading_progress(None) as advance:
        survey = survey_folder(
            folder,
            patterns=patterns,
            view=view,
            write=write,
            maps=maps,
            overwrite=overwrite,
            on_file=advance,
            on_map=lambda path: say(f"Map: {path}", err=True),
        )
    if as_json:
        say_json(_as_json(survey))
    else:
        print_survey(survey)
    if write is not None:
        say(f"Recipe: {write}", err=True)
        first = "check" if survey.beauty is None else "prove"
        say(f"Next: evenfall {first} {write}", err=True)


def _as_json(survey: Survey) -> dict[str, Any]:
    return {
        "folder": str(survey.folder),
        "frame": survey.frame,
        "camera": survey.camera,
        "lights": [_light_as_json(light) for light in survey.lights],
        "pictures": [_picture_as_json(picture, survey) for picture in survey.pictures],
        "unreadable": [asdict(each) for each in survey.unreadable],
        "notes": list(survey.notes),
    }


def _light_as_json(light: SurveyedLight) -> dict[str, Any]:
    return {
        "name": light.name,
        "title": light.title,
        "role": asdict(light.role),
        "sure": light.sure,
        "pictures": [picture.place for picture in light.pictures],
        "mean_luminance": light.mean_luminance,
        "peak_luminance": light.peak_luminance,
        "share_of_light": light.share,
        "stops_to_key": light.stops_to_key,
        "lamp_colour": None if light.lamp is None else asdict(light.lamp),
    }


def _picture_as_json(picture: Picture, survey: Survey) -> dict[str, Any]:
    return {
        "place": picture.place,
        "file": picture.file,
        "file_in_recipes": survey.file_names.get(picture.file),
        "layer": picture.layer,
        "part": picture.part,
        "view": picture.view,
        "channels": list(picture.channels),
        "taken_for": picture.kind,
        "what": picture.what,
        "why": picture.reason,
        "sure": picture.sure,
        "light": picture.light,
        **({} if picture.facts is None else _facts_as_json(picture.facts)),
    }


def _facts_as_json(facts: PassFacts) -> dict[str, Any]:
    header = facts.header
    return {
        "width": header.width,
        "height": header.height,
        "pixel_type": header.pixel_type,
        "compression": header.compression,
        "has_alpha": header.has_alpha,
        "colour_space": facts.colour_space,
        "mean_luminance": facts.mean_luminance,
        "peak_luminance": facts.peak_luminance,
        "broken_numbers": asdict(facts.census),
        "flaws": facts.flaws,
        "flat_top": facts.flat_top,
        "looks_display_encoded": list(facts.encoding_marks),
    }
