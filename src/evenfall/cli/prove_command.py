"""`evenfall prove`: do the passes add up to the beauty, and if not, why not."""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenfall.cli.options import json_option, passes_option, recipe_argument, set_option
from evenfall.cli.paragraphs import print_indented
from evenfall.cli.saying import make_console, say, say_json

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from evenfall.prove.diagnosis import Diagnosis
    from evenfall.prove.proof import LightProof, Proof

__all__ = ["command"]

_WIDTH_IN_FILES = 110


@click.command("prove", short_help="Whether the passes add up to the beauty, and if not, why.")
@recipe_argument
@passes_option
@set_option
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="FILE.png",
    help="Also draw where beauty and passes differ.",
)
@click.option("--overwrite", is_flag=True, help="Replace a picture that exists.")
@json_option
def command(
    recipe: Path,
    passes: Path | None,
    changes: tuple[str, ...],
    picture: Path | None,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Prove that the passes of RECIPE add up to its beauty.

    What beauty and passes differ by is held against its own noise, and that alone is the verdict:
    exit code 0 where they add up, 1 where they do not. Then faults are undone one after the other,
    and what explains most is told first: a pass missing or counted twice, another exposure, white
    balance or colour space, a tone curve, values cut off, a camera that moved, alpha, background,
    vignette or bloom. Remarks, such as a pass that was denoised, decide nothing. Passes are looked
    at as they were rendered, whatever the recipe mends in them.

    Without a beauty in the recipe, little can be proven; it says what cannot.
    """
    from evenfall.cli.reading_progress import reading_progress
    from evenfall.view import open_view

    view = open_view(recipe, changes=changes, passes=passes)
    with reading_progress(len(view.recipe.model.lights)) as advance:
        proof = view.prove(picture=picture, overwrite=overwrite, on_pass=advance)
    if picture is not None:
        say(f"Picture: {picture}", err=True)
    if as_json:
        say_json(_as_json(proof))
    else:
        _print(proof)
    if proof.verdict == "does not add up":
        sys.exit(1)


def _print(proof: Proof) -> None:
    console = make_console(width_in_files=_WIDTH_IN_FILES)
    _print_verdict(proof, console)
    for number, diagnosis in enumerate(proof.diagnoses, 1):
        _print_diagnosis(console, number, diagnosis)
    console.print(_table(proof))
    if proof.remarks:
        console.print("Remarks, which decide nothing", style="bold")
        for remark in proof.remarks:
            print_indented(console, f"{remark}", 2)
            print_indented(console, f"{remark.advice[0].upper()}{remark.advice[1:]}.", 4)
    if proof.unprovable:
        without = "" if proof.maps is not None else "Without a beauty "
        console.print(f"{without}it cannot be proven:".capitalize())
        for each in proof.unprovable:
            console.print(f"  - {each}")
    if proof.maps is None:
        console.print(
            "Render the view once with all lights on, at the same settings, and name it in the "
            'recipe, under the heading [passes]: beauty = { file = "beauty.exr" }'
        )


def _print_diagnosis(console: Console, number: int, diagnosis: Diagnosis) -> None:
    from evenfall.recipe.words.wording import percent_words

    said = str(diagnosis)
    if not diagnosis.lights:
        said = f"{said[0].upper()}{said[1:]}"
    print_indented(console, f"{number}. {said}", 0)
    print_indented(console, f"What helps: {diagnosis.remedy}.", 3)
    if diagnosis.explained < 1:
        share = percent_words(diagnosis.explained)
        print_indented(console, f"Explains {share} of the difference beyond noise.", 3)
    console.print()


def _print_verdict(proof: Proof, console: Console) -> None:
    from evenfall.recipe.words.wording import percent_words

    words = {
        "adds up": "The passes add up to the beauty.",
        "does not add up": "The passes do not add up to the beauty.",
        "cannot be proven": "Nothing is known against the passes, but they are not proven.",
    }
    console.print(words[proof.verdict], style="bold")
    if proof.maps is None:
        return
    console.print(
        f"They differ by {percent_words(proof.difference_share)} of the light, block for block; "
        f"noise alone would make {percent_words(proof.noise_share)}."
    )
    if proof.worst is not None:
        share = percent_words(abs(proof.worst_share))
        what = (
            f"{share} of the beauty's light there is in no pass"
            if proof.worst_share >= 0
            else f"the passes hold {share} more light there than the beauty"
        )
        console.print(
            f"Worst place: {proof.worst}; {what}, {abs(proof.worst_sigmas):.1f} times the noise."
        )
    console.print()


def _table(proof: Proof) -> Table:
    from rich import box
    from rich.table import Table

    from evenfall.recipe.words.wording import percent_words

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("light")
    table.add_column("share of light", justify="right")
    fitted = any(light.factor is not None for light in proof.lights)
    if fitted:
        table.add_column("factor in the beauty", justify="right")
        table.add_column("against the beauty")
    told = {light for diagnosis in proof.diagnoses for light in diagnosis.lights}
    for light in proof.lights:
        row = [light.name, percent_words(light.share)]
        if fitted:
            row += [_factor(light), _reading(light)]
        table.add_row(*row, style="bold" if light.name in told else None)
    return table


def _factor(light: LightProof) -> str:
    if light.factor is None or light.error is None:
        return "not known"
    if light.factor == 0 and light.error == 0:
        return "0"
    return f"{light.factor:.3f} \u00b1 {light.error:.3f}"


def _reading(light: LightProof) -> str:
    if light.factor is None:
        return ""
    if light.as_rendered:
        return "as rendered"
    stops = light.exported_stops
    if stops is None or light.factor < 0.05:
        return "not needed"
    return f"{stops:+z.2f} stops"


def _as_json(proof: Proof) -> dict[str, Any]:
    return {
        "verdict": proof.verdict,
        "difference_share": proof.difference_share,
        "noise_share": proof.noise_share,
        "worst": None
        if proof.worst is None
        else {
            **asdict(proof.worst),
            "share": proof.worst_share,
            "standard_errors": proof.worst_sigmas,
        },
        "lights": [
            {**asdict(light), "exported_stops": light.exported_stops} for light in proof.lights
        ],
        "diagnoses": [asdict(diagnosis) for diagnosis in proof.diagnoses],
        "remarks": [asdict(remark) for remark in proof.remarks],
        "unprovable": list(proof.unprovable),
    }
