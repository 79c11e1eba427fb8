"""`evenfall meter`: gains, colours, ratios, exposure and noise headroom of every mood."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenfall.cli.options import (
    json_option,
    moods_option,
    passes_option,
    recipe_argument,
    set_option,
)
from evenfall.cli.paragraphs import print_indented
from evenfall.cli.saying import make_console, say, say_json

if TYPE_CHECKING:
    from rich.table import Table

    from evenfall.advice.facts import AskedRatio, LightFacts
    from evenfall.meter.metering import MeteredMood, MeterReport
    from evenfall.recipe import Recipe

__all__ = ["command"]


@click.command("meter", short_help="Gains, tints, ratios, exposure, noise headroom of every mood.")
@recipe_argument
@passes_option
@moods_option
@set_option
@click.option(
    "--pictures",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Also write exposure map, histogram and tone curve of each mood into this folder.",
)
@click.option("--overwrite", is_flag=True, help="Replace pictures that exist.")
@json_option
def command(
    recipe: Path,
    passes: Path | None,
    moods: tuple[str, ...],
    changes: tuple[str, ...],
    pictures: Path | None,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Meter the moods of RECIPE.

    For each light in each mood: gain in stops, colour temperature, share of the picture's light,
    ratio to the key, and how many stops it can still go up before the noise of its pass shows.
    For each mood: exposure, and how much of the picture is clipped. Then advice, with the word that
    silences each piece.
    """
    from evenfall.cli.progress import LiveProgress
    from evenfall.view import open_view

    view = open_view(recipe, changes=changes, passes=passes)
    loaded = view.recipe
    with LiveProgress() as progress:
        from evenfall.produce.events import RunPlanned

        progress.hear(RunPlanned(len(loaded.model.lights), view.moods, files=0))
        report = view.meter(moods, pictures=pictures, overwrite=overwrite, on_read=progress.hear)
    if as_json:
        say_json(_as_json(report, loaded))
    else:
        _print(report, loaded)
    for path in report.pictures:
        say(f"Picture: {path}", err=True)


def _print(report: MeterReport, recipe: Recipe) -> None:
    console = make_console()
    for mood in report.moods:
        console.print()
        console.print(mood.facts.title, style="bold")
        console.print(f" {_figures(mood, recipe)}")
        console.print(_table(mood))
        if counted := _counted(recipe, mood):
            told = "; ".join(f"{light} {words}" for light, words in counted.items())
            print_indented(console, f"Counted from another mood: {told}.", 2)
        for asked in mood.facts.asked_ratios:
            print_indented(console, _asked_ratio_words(asked), 2)
        for note in mood.facts.notes:
            print_indented(console, note, 2)
    console.print(
        "\nStops are relative to how the light was rendered. key:light compares the two "
        "alone, over the whole picture; "
        "the (key + light):light ratio is one more: 3:1 is 4:1. Headroom is the stops a light can "
        "go up before its noise shows; white at 5 says that it shows at no gain, and that what the "
        "light shines on is burnt white 5 stops up. Clipped are pixels with a channel at full "
        "white after the look; the histogram of --pictures is of the light before it. Noise is "
        "how much lightness (CIE L*) varies in the worst 5 % of the picture."
    )
    if any(mood.mean_cd_m2 for mood in report.moods):
        console.print(
            "\ncd/m2 is the mean of the light over the whole picture, as balanced. "
            f"{report.caution}"
        )
    if report.advice:
        console.print("\nAdvice", style="bold")
        for advice in report.advice:
            print_indented(console, f"{advice.place}: {advice.message}.", 2)
            print_indented(console, f"{advice.reason[0].upper()}{advice.reason[1:]}.", 4)
            console.print(f'    To silence it: silence = ["{advice.code}"]', style="dim")


def _asked_ratio_words(asked: AskedRatio) -> str:
    area, picture = asked.in_area, asked.in_picture
    return (
        f"{asked.to} to {' + '.join(asked.lights)}: {area.key_to_light:.3g}:1 in the area where it "
        f"was asked for ({area.lit_to_shadow:.3g}:1 with both on the lit side); "
        f"{picture.key_to_light:.3g}:1 over the whole picture."
    )


def _figures(mood: MeteredMood, recipe: Recipe) -> str:
    facts, as_in = mood.facts, recipe.moods[mood.facts.mood].camera.as_in
    parts = [f"exposure {facts.exposure_stops:+z.2f} stops{f' as in {as_in}' if as_in else ''}"]
    if mood.ev100 is not None:
        parts.append(f"EV {mood.ev100:.1f} at ISO 100")
    parts.append(f"{facts.clipped_share:.1%} clipped")
    if facts.noise_lightness is not None:
        parts.append(f"noise {facts.noise_lightness:.2f} L*")
    return ",  ".join(parts)


def _counted(recipe: Recipe, mood: MeteredMood) -> dict[str, str]:
    """By light that is on, from which other mood its gain counts, in words."""
    from evenfall.recipe.words.wording import counted_words

    settings = recipe.moods[mood.facts.mood].lights
    on = [light.name for light in mood.facts.lights if light.is_on]
    return {name: words for name in on if (words := counted_words(settings[name].counted))}


def _table(mood: MeteredMood) -> Table:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("light", no_wrap=True, overflow="fold")
    table.add_column("role", no_wrap=True)
    for name in ("stops", "kelvin", "share", "key:light", "headroom"):
        table.add_column(name, justify="right")
    if mood.mean_cd_m2:
        table.add_column("cd/m2", justify="right")
    for light in mood.facts.lights:
        cells = _cells(light)
        if mood.mean_cd_m2:
            cells.append(f"{mood.mean_cd_m2[light.name]:.3g}" if light.is_on else "")
        table.add_row(*cells, style=None if light.is_on else "dim")
    return table


def _cells(light: LightFacts) -> list[str]:
    role = light.role.removesuffix(" fixture")
    if not light.is_on or light.gain_stops is None:
        return [light.name, role, "off", "", "", "", ""]
    ratio = light.ratio
    return [
        light.name,
        role,
        f"{light.gain_stops:+z.2f}",
        f"{light.kelvin:.0f}" if light.kelvin else "",
        f"{light.share:.1%}",
        f"{ratio.key_to_light:.3g}:1" if ratio else "",
        _headroom(light),
    ]


def _headroom(light: LightFacts) -> str:
    from evenfall.advice.headroom import MAX_HEADROOM_STOPS

    stops = light.headroom_stops
    if stops is None:
        return ""
    if light.burns_out:
        return f"white at {stops:.1f}" if stops > 0 else "white"
    if stops <= 0:
        return "none"
    return f"over {stops:.0f}" if stops >= MAX_HEADROOM_STOPS else f"{stops:.1f}"


def _as_json(report: MeterReport, recipe: Recipe) -> dict[str, Any]:
    from dataclasses import asdict

    return {
        "moods": [
            {
                **asdict(mood.facts),
                "counted": _counted(recipe, mood),
                "ev100": mood.ev100,
                "mean_cd_m2": dict(mood.mean_cd_m2) if mood.mean_cd_m2 else None,
            }
            for mood in report.moods
        ],
        "advice": [asdict(advice) for advice in report.advice],
        "caution": report.caution,
    }
