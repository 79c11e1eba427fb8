"""`evenfall survey`: look at a folder of passes and write a starter recipe."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenfall.cli.options import json_option

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from evenfall.survey.looking import PassFacts
    from evenfall.survey.survey import Survey

__all__ = ["command"]

_WIDTH_IN_FILES = 120


@click.command("survey", short_help="Look at a folder of passes and write a starter recipe.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--write",
    type=click.Path(path_type=Path),
    metavar="RECIPE",
    help="Write a commented starter recipe with day, dusk and night; of a sequence, one that takes "
    "any frame.",
)
@click.option("--overwrite", is_flag=True, help="Replace a recipe or maps that exist.")
@click.option(
    "--pattern",
    "patterns",
    multiple=True,
    metavar="REGEX",
    help="Find lights by this regular expression with a group named 'light'. May be repeated.",
)
@click.option(
    "--recipe",
    type=click.Path(path_type=Path),
    metavar="RECIPE",
    help="Take name patterns and view from this recipe's [passes].",
)
@click.option("--view", metavar="NAME", help="Camera, for files that hold several views.")
@click.option(
    "--maps",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Also write a map of the broken pixels of each pass that has some.",
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

    For each: size, pixel type, compression, colour space, mean and peak luminance in scene units
    and in stops relative to the key, share of the light of all passes, and a role proposed from its
    name or from its pixels, with the reason. Broken pixels are counted.

    Files that differ only by a number of four digits or more at the end are frames of a sequence.
    One frame is surveyed; --write names the files with # for the digits, and the frame in
    passes.frame. A number without other frames beside it stays as it is.
    """
    from evenfall.cli.reading_progress import reading_progress
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
            on_map=lambda path: click.echo(f"Map: {path}", err=True),
        )
    if as_json:
        click.echo(json.dumps(_as_json(survey), indent=2))
    else:
        _print(survey)
    if write is not None:
        click.echo(f"Recipe: {write}", err=True)
        click.echo(f"Next: evenfall check {write}", err=True)


def _print(survey: Survey) -> None:
    from rich.console import Console

    console = Console(highlight=False, emoji=False, markup=False)
    if not console.is_terminal:
        console = Console(highlight=False, emoji=False, markup=False, width=_WIDTH_IN_FILES)
    count = len(survey.lights)
    console.print(f"{survey.folder}: {count} light{'' if count == 1 else 's'}", style="bold")
    common = _common(survey)
    if common:
        console.print(f"All are {', '.join(common.values())}.")
    console.print(_lights_table(survey, common))
    _print_reasons(survey, console)
    _print_flaws(survey, console)
    guides = [facts.file for facts in survey.passes if facts.kind == "guide"]
    if guides:
        console.print(f"By their names no light's pass: {', '.join(guides)}.", soft_wrap=True)
    for each in survey.unreadable:
        console.print(f"Cannot be read: {each.reason}", soft_wrap=True)
    for note in survey.notes:
        console.print(f"Note: {note}.", soft_wrap=True)


def _file_facts(facts: PassFacts) -> dict[str, str]:
    header = facts.header
    return {
        "size": f"{header.width} x {header.height}",
        "pixels": header.pixel_type,
        "codec": header.compression,
        "colour space": facts.colour_space,
    }


def _common(survey: Survey) -> dict[str, str]:
    """Facts that all pictures with light share; they are said once."""
    lit = [_file_facts(facts) for facts in survey.passes if facts.kind != "guide"]
    if not lit:
        return {}
    return {key: value for key, value in lit[0].items() if all(each[key] == value for each in lit)}


def _lights_table(survey: Survey, common: dict[str, str]) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("light", no_wrap=True)
    table.add_column("role")
    for heading in ("mean", "peak", "stops\nto key", "share"):
        table.add_column(heading, justify="right", no_wrap=True)
    own = [key for key in ("size", "pixels", "codec", "colour space") if key not in common]
    for key in own:
        table.add_column(key)
    table.add_column("file", overflow="fold")
    rows = sorted(survey.lights, key=lambda facts: -facts.share)
    for facts in (*rows, *([] if survey.beauty is None else [survey.beauty])):
        if facts is survey.beauty:
            table.add_section()
        inside = [part for part in (facts.header.part, facts.header.layer) if part]
        file_facts = _file_facts(facts)
        table.add_row(
            facts.name,
            facts.role.role if facts.role is not None else facts.kind,
            *_light_cells(facts),
            *(file_facts[key] for key in own),
            " / ".join([facts.file, *inside]),
        )
    return table


def _light_cells(facts: PassFacts) -> tuple[str, str, str, str]:
    stops = "black"
    if facts.stops_to_key is not None:
        stops = f"{facts.stops_to_key:+.1f}" if facts.stops_to_key else "0"
    share = f"{100 * facts.share:.1f} %" if facts.kind == "light" else ""
    return f"{facts.mean_luminance:.3g}", f"{facts.peak_luminance:.3g}", stops, share


def _print_reasons(survey: Survey, console: Console) -> None:
    console.print(
        "Mean and peak are luminance in scene units; share is of the light of all passes."
    )
    console.print("Why these roles:")
    for facts in survey.lights:
        if facts.role is not None:
            console.print(f"  {facts.name}: {facts.role.role}, {facts.role.reason}", soft_wrap=True)
    console.print()


def _print_flaws(survey: Survey, console: Console) -> None:
    for facts in survey.passes:
        said = _flaws_in_words(facts)
        if said:
            console.print(f"{facts.name}: {said}", soft_wrap=True)
        if facts.encoding_marks:
            console.print(
                f"{facts.name}: looks display-encoded: {'; '.join(facts.encoding_marks)}. Passes "
                "must be scene-linear; render or save it again without a display transform",
                soft_wrap=True,
                style="bold",
            )


def _flaws_in_words(facts: PassFacts) -> str:
    census = facts.census
    top = "" if facts.flat_top is None else f" of {facts.flat_top:.4g}"
    counts = {
        "of NaN": census.nan,
        "of infinity": census.infinite,
        "below zero": census.negative,
        "at the largest half": census.overflow,
        "with an alpha that is no number": census.alpha,
        f"brighter than any light ({census.brightest})": census.huge,
        "of fireflies": facts.flaws.get("fireflies", 0),
        f"at a flat top{top} (a lamp seen directly, or light cut off)": facts.flaws.get(
            "flat top", 0
        ),
    }
    told = [(f"{count:,}", word) for word, count in counts.items() if count]
    if not told:
        return ""
    pixels = "pixel" if told[0][0] == "1" else "pixels"
    first = f"{told[0][0]} {pixels} {told[0][1]}"
    return ", ".join([first, *(" ".join(each) for each in told[1:])])


def _as_json(survey: Survey) -> dict[str, Any]:
    return {
        "folder": str(survey.folder),
        "frame": survey.frame,
        "passes": [_facts_as_json(facts, survey) for facts in survey.passes],
        "unreadable": [asdict(each) for each in survey.unreadable],
        "notes": list(survey.notes),
    }


def _facts_as_json(facts: PassFacts, survey: Survey) -> dict[str, Any]:
    header = facts.header
    return {
        "name": facts.name,
        "kind": facts.kind,
        "file": facts.file,
        "file_of_any_frame": survey.frame_names.get(facts.file),
        "layer": header.layer,
        "part": header.part,
        "view": header.view,
        "width": header.width,
        "height": header.height,
        "pixel_type": header.pixel_type,
        "compression": header.compression,
        "has_alpha": header.has_alpha,
        "colour_space": facts.colour_space,
        "mean_luminance": facts.mean_luminance,
        "peak_luminance": facts.peak_luminance,
        "stops_to_key": facts.stops_to_key,
        "share_of_light": facts.share,
        "role": None if facts.role is None else asdict(facts.role),
        "broken_numbers": asdict(facts.census),
        "flaws": facts.flaws,
        "flat_top": facts.flat_top,
        "looks_display_encoded": list(facts.encoding_marks),
    }
