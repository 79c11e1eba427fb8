"""A survey as a table that a person can check in a minute."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from evenfall.cli.paragraphs import print_indented
from evenfall.cli.saying import make_console
from evenfall.errors import printable
from evenfall.recipe.words.suggesting import joined

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from evenfall.survey.looking import PassFacts
    from evenfall.survey.surveyed import Picture, Survey, SurveyedLight

__all__ = ["print_survey"]

_WIDTH_IN_FILES = 120


def print_survey(survey: Survey) -> None:
    """Print what every picture is taken for, and what else a person should know."""
    console = make_console(width_in_files=_WIDTH_IN_FILES)
    count = len(survey.lights)
    heading = f"{survey.folder}: {count} light{'' if count == 1 else 's'}"
    console.print(printable(heading), style="bold")
    common = _common(survey)
    if common:
        console.print(f"All are {', '.join(common.values())}.")
    console.print(_table(survey, common))
    if survey.lights:
        _print_level(survey, console)
        _print_what_if(survey, console)
    _print_flaws(survey, console)
    for each in survey.unreadable:
        print_indented(console, f"Cannot be read: {printable(each.reason)}", 0)
    for note in survey.notes:
        print_indented(console, f"Note: {printable(note)}.", 0)


def _file_facts(picture: Picture) -> dict[str, str]:
    assert picture.facts is not None  # asked of what was read only
    header = picture.facts.header
    return {
        "size": f"{header.width} x {header.height}",
        "pixels": header.pixel_type,
        "codec": header.compression,
        "colour space": picture.facts.colour_space,
    }


def _common(survey: Survey) -> dict[str, str]:
    """Facts that all pictures with light share; they are said once."""
    pictures = [picture for light in survey.lights for picture in light.pictures]
    pictures += [] if survey.beauty is None else [survey.beauty]
    lit = [_file_facts(picture) for picture in pictures]
    if not lit:
        return {}
    return {key: value for key, value in lit[0].items() if all(each[key] == value for each in lit)}


def _table(survey: Survey, common: dict[str, str]) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("taken for", overflow="fold")
    table.add_column("as")
    for heading in ("share", "stops\nto key"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("file / part / layer", overflow="fold")
    table.add_column("why", overflow="fold")
    for light in sorted(survey.lights, key=lambda light: -light.share):
        table.add_row(*_light_row(light, common))
    for kind in ("beauty", "part of light", "left out", "data"):
        rows = list(_other_rows(survey.of_kind(kind)))
        if rows:
            table.add_section()
        for row in rows:
            table.add_row(*row)
    return table


def _light_row(light: SurveyedLight, common: dict[str, str]) -> tuple[str, ...]:
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
        printable(" + ".join(picture.place for picture in light.pictures)),
        printable("; ".join([*reasons, *own])),
    )


def _other_rows(pictures: Iterable[Picture]) -> Iterator[tuple[str, ...]]:
    """Rows of what is no light; what is the same in several places takes one."""
    gathered: dict[tuple[str, str, str, bool], list[Picture]] = {}
    for picture in pictures:
        reason = picture.reason if picture.kind != "part of light" or not picture.light else ""
        key = (picture.kind, picture.what, reason, picture.sure)
        gathered.setdefault(key, []).append(picture)
    for (kind, what, reason, sure), several in gathered.items():
        lights = [picture.light for picture in several if picture.light]
        why = reason or f"the whole of {_some(lights)} is there"
        places = [printable(picture.place) for picture in several]
        yield (kind + ("" if sure else " ?"), what, "", "", _some(places), printable(why))


def _some(names: Iterable[str]) -> str:
    return joined(dict.fromkeys(names), "and", most=3)


def _print_level(survey: Survey, console: Console) -> None:
    key = max(survey.lights, key=lambda light: (light.role.role == "key", light.share))
    print_indented(
        console,
        f"Level: {printable(key.name)} has a mean of {key.mean_luminance:.3g} and a peak of "
        f"{key.peak_luminance:.3g} (luminance in scene units). Share is of the light of all.",
        0,
    )


def _print_what_if(survey: Survey, console: Console) -> None:
    """Say what to write where the table is wrong."""
    first = survey.lights[0].name
    print_indented(
        console,
        "If a row is wrong: take a light that is none out of the recipe, with its [lights.NAME]; "
        "write a light that was not taken as [lights.NAME] with its file, and layer or part where "
        "the file has several; put roles right at role = ...; name another beauty in "
        f"passes.beauty. Example: [lights.{printable(first)}]. What may be a light after all "
        "stands in the written recipe as comments.",
        0,
    )
    console.print()


def _print_flaws(survey: Survey, console: Console) -> None:
    pictures = [(light.name, p) for light in survey.lights for p in light.pictures]
    pictures += [] if survey.beauty is None else [("beauty", survey.beauty)]
    for name, picture in pictures:
        if picture.facts is None:
            continue
        said = _flaws_in_words(picture.facts)
        if said:
            print_indented(console, f"{printable(name)}: {said}", 0)
        if picture.facts.encoding_marks:
            console.print(
                f"{printable(name)}: looks display-encoded: "
                f"{'; '.join(picture.facts.encoding_marks)}. Passes must be scene-linear; render "
                "or save it again without a display transform",
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
        "brighter than any light": census.huge,
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
