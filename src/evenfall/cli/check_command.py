"""`evenfall check`: all faults of a recipe and advice, without writing anything."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenfall.cli.options import json_option, passes_option, recipes_argument, set_option
from evenfall.cli.paragraphs import print_indented
from evenfall.cli.saying import from_here, make_console, say, say_json
from evenfall.errors import (
    Advice,
    FaultyError,
    OutputError,
    PassError,
    PixelSourceError,
    RecipeError,
)
from evenfall.recipe.words.suggesting import joined

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from evenfall.passes.header import PassHeader
    from evenfall.recipe import Recipe, ResolvedMood
    from evenfall.recipe.camera import Camera
    from evenfall.view import Checked

__all__ = ["command"]

_FAULTS = (RecipeError, PassError, PixelSourceError, OutputError)
_WIDTH_IN_FILES = 120


@click.command("check", short_help="All faults of a recipe, and advice; nothing is written.")
@recipes_argument
@passes_option
@set_option
@json_option
def command(
    recipes: tuple[Path, ...], passes: Path | None, changes: tuple[str, ...], as_json: bool
) -> None:
    """Check RECIPE: report every fault at once, then advice, without writing anything.

    Faults in the recipe come with file, line and place; the exit code is then 2. If there are none,
    the files that looks use are tried, and the passes' headers compared; for faults there, the exit
    code is 1. A sound recipe is summed up: its lights, and what each mood asks of them.

    Several recipes, or a folder of them, are checked one after the other.
    """
    if len(recipes) > 1 or recipes[0].is_dir():
        if passes is not None:
            raise click.UsageError("--passes goes with one recipe.")
        _check_several(recipes, changes, as_json=as_json)
        return
    try:
        recipe, checked = _checked(recipes[0], changes, passes)
    except _FAULTS as error:
        if as_json:
            say_json(_faults_as_json(recipes[0], error))
        raise
    if as_json:
        say_json(_as_json(recipe, checked))
    else:
        _print(recipe, checked)


def _checked(
    path: Path, changes: tuple[str, ...], passes: Path | None = None
) -> tuple[Recipe, Checked]:
    from evenfall.view import open_view

    view = open_view(path, changes=changes, passes=passes)
    return view.recipe, view.check()


def _check_several(named: Sequence[Path], changes: tuple[str, ...], *, as_json: bool) -> None:
    """Check recipes and end with 1 or 2 where one is not sound: 2 when all those are wrong."""
    from evenfall.cli.several import joint_exit_code
    from evenfall.view.same_names import refuse_same_names
    from evenfall.view.several import find_recipes

    paths = find_recipes(named)
    told: list[dict[str, Any]] = []
    codes: dict[Path, int] = {}
    for path in paths:
        try:
            recipe, checked = _checked(path, changes)
        except _FAULTS as error:
            codes[path] = error.exit_code
            told.append(_faults_as_json(path, error))
            say(str(error), err=True)
            continue
        told.append(_as_json(recipe, checked))
        if not as_json:
            _print(recipe, checked)
            say("")
    if as_json:
        say_json(told)
    refuse_same_names(paths, None)
    if codes:
        names = joined([str(from_here(path)) for path in codes], "and")
        are = "is" if len(codes) == 1 else "are"
        say(f"Of {len(paths)} recipes {names} {are} not sound; see above.", err=True)
        sys.exit(joint_exit_code(codes.values()))
    if not as_json:
        say(f"All {len(paths)} recipes are sound." if len(paths) > 1 else "The recipe is sound.")


def _faults_as_json(path: Path, error: FaultyError) -> dict[str, Any]:
    faults = [dataclasses.asdict(fault) for fault in error.faults]
    return {"recipe": str(path), "sound": False, "faults": faults}


def _as_json(recipe: Recipe, checked: Checked) -> dict[str, Any]:
    return {
        "recipe": str(recipe.path),
        "sound": True,
        "faults": [],
        "notes": list(checked.notes),
        "advice": [dataclasses.asdict(item) for item in checked.advice],
        "lights": {
            name: light.model_dump(mode="json", exclude_none=True)
            for name, light in recipe.model.lights.items()
        },
        "moods": {
            mood.name: {
                "title": mood.title,
                "time_of_day": mood.time_of_day,
                "lights": {
                    name: setting.model_dump(mode="json", exclude_none=True)
                    for name, setting in mood.lights.items()
                },
                "camera": mood.camera.model_dump(mode="json", exclude_none=True),
                "look": mood.look.model_dump(mode="json", exclude_none=True),
            }
            for mood in recipe.moods.values()
        },
    }


def _print(recipe: Recipe, checked: Checked) -> None:
    console = make_console(width_in_files=_WIDTH_IN_FILES)
    title = recipe.model.project.title
    console.print(f"{recipe.path} is sound{f': {title}' if title else ''}.", soft_wrap=True)
    console.print(_passes_line(checked.headers), soft_wrap=True)
    for note in checked.notes:
        console.print(f"Note: {note}.", soft_wrap=True)
    console.print()
    console.print(_lights_table(recipe))
    console.print(_moods_table(recipe))
    _print_looks(recipe, console)
    _print_deliverables(recipe, console)
    _print_advice(checked.advice, console)


def _print_advice(advice: Sequence[Advice], console: Console) -> None:
    if advice:
        console.print(f"Advice ({len(advice)}):")
        for item in advice:
            for indent, text in (
                (2, f"{item.place}: {item.message} [{item.code}]"),
                (4, item.reason),
            ):
                if console.is_terminal:
                    print_indented(console, text, indent)
                else:
                    console.print(" " * indent + text, soft_wrap=True)
        console.print('Advice is silenced by its word: silence = ["..."] at the top of the recipe.')
        console.print()
    console.print(
        "The pixels were not read; 'evenfall meter' reads them and gives the rest of the advice."
    )


def _passes_line(headers: Mapping[str, PassHeader]) -> str:
    first = next(iter(headers.values()))
    kinds = ", ".join(dict.fromkeys(header.pixel_type for header in headers.values()))
    return f"{len(headers)} passes of {first.width} x {first.height} pixels, {kinds}."


def _table(title: str, *headings: str) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD)
    for heading in headings:
        table.add_column(heading, overflow="fold")
    return table


def _lights_table(recipe: Recipe) -> Table:
    table = _table("Lights", "light", "role", "pass", "rendered at")
    from evenfall.recipe.words.wording import rendered_words

    for name, light in recipe.model.lights.items():
        said = rendered_words(light.rendered) or "not said"
        pictures = " + ".join(source.place for source in light.sources)
        table.add_row(name, light.role, pictures, said)
    return table


def _moods_table(recipe: Recipe) -> Table:
    from evenfall.recipe.words.wording import setting_words

    moods = list(recipe.moods.values())
    table = _table("Moods", "", *(mood.name for mood in moods))
    table.columns[0].style = "bold"
    for light in recipe.model.lights:
        table.add_row(light, *(setting_words(mood.lights[light], light) for mood in moods))
    table.add_section()
    table.add_row("exposure, stops", *(_exposure(mood) for mood in moods))
    if any(mood.camera.white_balance for mood in moods):
        table.add_row("white balance", *(_white_balance(mood.camera) for mood in moods))
    table.add_row("tone curve", *(mood.look.tone.curve for mood in moods))
    if any(mood.daylight for mood in moods):
        table.add_row("daylight model", *("yes" if mood.daylight else "" for mood in moods))
    if any(mood.plate for mood in moods):
        table.add_row("plate", *(mood.plate.file if mood.plate else "" for mood in moods))
    if any(mood.regions for mood in moods):
        table.add_row("regions", *(str(len(mood.regions) or "") for mood in moods))
    return table


def _exposure(mood: ResolvedMood) -> str:
    from evenfall.recipe.words.wording import counted_words, stops_words

    if mood.camera.as_in is not None:
        return f"as in {mood.camera.as_in}"
    words = (stops_words(mood.camera.exposure_stops), counted_words(mood.counted_exposure))
    return ", ".join(part for part in words if part)


def _white_balance(camera: Camera) -> str:
    balance = camera.white_balance
    if balance is None:
        return ""
    if balance.neutral is not None:
        return "spot at {:g}, {:g}".format(*balance.neutral)
    duv = f", Duv {balance.duv:+g}" if balance.duv else ""
    return f"{balance.kelvin:g} K{duv}"


def _print_looks(recipe: Recipe, console: Console) -> None:
    from evenfall.recipe.words.looks import look_words

    said: dict[str, list[str]] = {}
    for mood in recipe.moods:
        if words := look_words(recipe, mood):
            said.setdefault(words, []).append(mood)
    for words, moods in said.items():
        console.print(f"Look of {', '.join(moods)}: {words}.", soft_wrap=True)


def _print_deliverables(recipe: Recipe, console: Console) -> None:
    sequence = recipe.model.sequence
    if sequence is not None:
        from evenfall.advice.hours import hours_words

        console.print(f"Sequence {sequence.name}: {hours_words(sequence)}.", soft_wrap=True)
    for number, deliverable in enumerate(recipe.model.deliverables):
        shown = recipe.model.shown_by(number, is_walk=recipe.has_frames)
        have = "has" if len(deliverable.moods) == 1 else "have"
        none = f"{joined(deliverable.moods, 'and')} {have}" if deliverable.moods else "there are"
        moods = ", ".join(shown) or f"nothing: {none} no frames"
        space = deliverable.row.fixed_space or deliverable.space
        kind = f"{deliverable.format}, {deliverable.bit_depth} bits, {space}"
        console.print(f"Deliverable: {kind}, of {moods}.", soft_wrap=True)
    console.print()
