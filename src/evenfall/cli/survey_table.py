"""A survey as a table that a person can check in a minute."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence, Sized
from typing import TYPE_CHECKING

from evenfall.cli.paragraphs import print_hanging, print_indented
from evenfall.cli.saying import make_console
from evenfall.errors import printable
from evenfall.recipe.words.suggesting import joined

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from evenfall.survey.looking import PassFacts
    from evenfall.survey.surveyed import Picture, Survey, SurveyedLight
    from evenfall.survey.verdicts import Kind

__all__ = ["print_survey"]

_WIDTH_IN_FILES = 120
_WIDTH_OF_A_NAME = 20  # of lights whose names stay on one line in a narrow terminal
_OTHERS: dict[Kind, str] = {
    "beauty": "Beauty",
    "part of light": "Part of light",
    "left out": "Left out",
    "data": "Data",
}


def print_survey(survey: Survey) -> None:
    """Print what every picture is taken for, and what else a person should know."""
    console = make_console(width_in_files=_WIDTH_IN_FILES)
    count = len(survey.lights)
    heading = f"{survey.folder}: {count} light{'' if count == 1 else 's'}"
    console.print(printable(heading), style="bold")
    lit = _pictures_with_light(survey)
    file = _only_file(survey)
    common = _common(lit)
    if common:
        inside = "" if file is None else f"in {printable(file)}: "
        print_indented(console, f"All are {inside}{', '.join(common.values())}.", 0)
    if survey.lights:
        console.print()
        console.print(_table(survey, common, file))
    if any(picture.kind != "light" for picture in survey.pictures):
        console.print()
    for kind, title in _OTHERS.items():
        _print_others(survey.of_kind(kind), title, file, console)
    if survey.lights:
        _print_level(survey, console)
    _print_flaws(survey, console)
    for each in survey.unreadable:
        print_indented(console, f"Cannot be read: {printable(each.reason)}", 0)
    for note in survey.notes:
        print_indented(console, f"Note: {printable(note)}.", 0)
    if survey.lights:
        _print_what_if(console)


def _pictures_with_light(survey: Survey) -> list[Picture]:
    pictures = [picture for light in survey.lights for picture in light.pictures]
    return pictures if survey.beauty is None else [*pictures, survey.beauty]


def _only_file(survey: Survey) -> str | None:
    """Name of the file that holds everything, which need not be said in each row."""
    files = {picture.file for picture in survey.pictures}
    return files.pop() if len(files) == 1 and len(survey.pictures) > 1 else None


def _file_facts(picture: Picture) -> dict[str, str]:
    assert picture.facts is not None  # asked of what was read only
    header = picture.facts.header
    return {
        "size": f"{header.width} x {header.height}",
        "pixels": header.pixel_type,
        "codec": header.compression,
        "colour space": picture.facts.colour_space,
    }


def _common(lit: Sequence[Picture]) -> dict[str, str]:
    """Facts that all pictures with light share; they are said once."""
    facts = [_file_facts(picture) for picture in lit]
    if not facts:
        return {}
    first = facts[0]
    return {key: value for key, value in first.items() if all(each[key] == value for each in facts)}


def _table(survey: Survey, common: dict[str, str], file: str | None) -> Table:
    from rich import box
    from rich.table import Table

    inside = any(p.layer or p.part for light in survey.lights for p in light.pictures)
    where = ("file / layer" if inside else "file") if file is None else "layer"
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0), show_edge=False)
    short = max(len(light.name) for light in survey.lights) <= _WIDTH_OF_A_NAME
    table.add_column("light", overflow="fold", no_wrap=short)
    table.add_column("role")
    for heading in ("share", "stops\nto key"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column(where, overflow="fold")
    table.add_column("why", overflow="fold")
    for light in sorted(survey.lights, key=lambda light: -light.share):
        table.add_row(*_light_row(light, common, file))
    return table


def _light_row(light: SurveyedLight, common: dict[str, str], file: str | None) -> tuple[str, ...]:
    stops = "black"
    if light.stops_to_key is not None:
        stops = f"{light.stops_to_key:+.1f}" if light.stops_to_key else "0"
    name = light.name if light.title is None else f"{light.name} ({light.title})"
    facts = _file_facts(light.pictures[0])
    own = [value for key, value in facts.items() if key not in common]
    reasons = [light.role.reason, *dict.fromkeys(p.reason for p in light.pictures if p.reason)]
    return (
        printable(name) + ("" if light.sure else " ?"),
        light.role.role,
        f"{100 * light.share:.1f} %",
        stops,
        " + ".join(_places(light.pictures, file)),
        printable("; ".join([*reasons, *own])),
    )


def _places(pictures: Iterable[Picture], file: str | None) -> list[str]:
    """Where pictures are; a file that the one before was in is not said again."""
    places = []
    for picture in pictures:
        inside = " / ".join(each for each in (picture.part, picture.layer) if each)
        whole = picture.place if picture.file != file else inside or "the unnamed layer"
        places.append(printable(whole))
        file = picture.file
    return list(dict.fromkeys(places))


def _print_others(
    pictures: Sequence[Picture], title: str, file: str | None, console: Console
) -> None:
    """Say what is no light: what is the same in several places takes one paragraph."""
    gathered: dict[tuple[str, str, bool], list[Picture]] = {}
    for picture in pictures:
        reason = picture.reason if picture.kind != "part of light" or not picture.light else ""
        gathered.setdefault((picture.what, reason, picture.sure), []).append(picture)
    for (what, reason, sure), several in gathered.items():
        lights = dict.fromkeys(picture.light for picture in several if picture.light)
        why = reason or f"{joined(lights, 'and', most=3)} {_are(lights)} there whole"
        label = (f"{title}, {what}" if what else title) + (":" if sure else "?")
        where = joined(_places(several, file), "and", most=3)
        print_hanging(console, f"{printable(label)} {where} ({printable(why)})")


def _are(some: Sized) -> str:
    return "is" if len(some) == 1 else "are"


def _print_level(survey: Survey, console: Console) -> None:
    key = max(survey.lights, key=lambda light: (light.role.role == "key", light.share))
    console.print()
    print_indented(
        console,
        f"Level: {printable(key.name)} has a mean of {key.mean_luminance:.3g} and a peak of "
        f"{key.peak_luminance:.3g} (luminance in scene units). Share is of the light of all.",
        0,
    )


def _print_what_if(console: Console) -> None:
    """Say what to write where the table is wrong."""
    console.print()
    console.print("If a row is wrong, change the recipe:")
    for line in (
        "a row is no light            delete its [lights.NAME]",
        "a light is not in the table  add [lights.NAME] with file = ..., layer = ...",
        'another role                 role = "fixture" in its [lights.NAME]',
        "another beauty               beauty = { file = ... } in [passes]",
    ):
        console.print(f"  {line}", highlight=False, markup=False)


_FLAT_TOP = "All at one brightest value (a lamp or a plain sky in view, or light cut off)"
_CURES = {"Fireflies": "To mend them: repair.fireflies = true in [passes]"}


def _print_flaws(survey: Survey, console: Console) -> None:
    """Say what pixels are broken, one paragraph per kind, the worst picture first."""
    pictures = [(light.name, p) for light in survey.lights for p in light.pictures]
    pictures += [] if survey.beauty is None else [("beauty", survey.beauty)]
    looked_at = [(name, picture.facts) for name, picture in pictures if picture.facts]
    found: dict[str, list[tuple[int, str]]] = {}
    for name, facts in looked_at:
        for flaw, count in _flaws(facts):
            found.setdefault(flaw, []).append((count, name))
    for flaw, counts in found.items():
        worst = sorted(counts, key=lambda each: -each[0])
        said = (f"{_pixels(count)} in {printable(name)}" for count, name in worst)
        cure = f". {_CURES[flaw]}" if flaw in _CURES else ""
        print_hanging(console, f"{flaw}: {joined(said, 'and')}{cure}")
    for name, facts in looked_at:
        if facts.encoding_marks:
            console.print(
                f"{printable(name)}: looks display-encoded: {'; '.join(facts.encoding_marks)}. "
                "Passes must be scene-linear; render or save it again without a display transform",
                soft_wrap=True,
                style="bold",
            )


def _flaws(facts: PassFacts) -> Iterator[tuple[str, int]]:
    census = facts.census
    counts = {
        "NaN": census.nan,
        "Infinity": census.infinite,
        "Below zero": census.negative,
        "At the largest half": census.overflow,
        "Brighter than any light": census.huge,
        "Fireflies": facts.flaws.get("fireflies", 0),
        _FLAT_TOP: facts.flaws.get("flat top", 0),
    }
    return ((flaw, count) for flaw, count in counts.items() if count)


def _pixels(count: int) -> str:
    return f"{count:,} pixel{'' if count == 1 else 's'}"
