"""The meter report as pictures: where each mood's light lies, and what the curve makes of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

from evenfall.deliver.png import Codes, encode_png
from evenfall.drawings.curve_picture import draw_curve
from evenfall.drawings.exposure_map import draw_exposure_map, draw_histogram, histogram_of
from evenfall.drawings.lettering import format_stops
from evenfall.meter.metering import MeteredMood, MeterReport
from evenfall.recipe import Recipe
from evenfall.recipe.choosing import choose_moods
from evenfall.recipe.look import Evenfall
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import refuse_existing

__all__ = ["refuse_existing_pictures", "write_meter_pictures"]


def write_meter_pictures(
    report: MeterReport, recipe: Recipe, folder: Path, *, overwrite: bool = False
) -> list[Path]:
    """Write an exposure map, a histogram and the tone curve of every mood.

    Parameters
    ----------
    report : MeterReport
        From `meter_moods`.
    recipe : Recipe
        Names the files and the pictures.
    folder : Path
        Where they go; made if missing.
    overwrite : bool
        Whether pictures that exist may be replaced.

    Returns
    -------
    list of Path
        Two for each mood, and our tone curve where moods use it: once if all moods share it.

    Raises
    ------
    OutputError
        When a picture exists and may not be replaced, or cannot be written; nothing is written if
        one of them exists.
    """
    names = [mood.facts.mood for mood in report.moods]
    refuse_existing_pictures(recipe, names, folder, overwrite=overwrite)
    paths = _paths(recipe, names, folder)
    written: dict[Path, None] = {}
    for mood in report.moods:
        for kind, draw in _pictures(mood, recipe):
            path = paths[mood.facts.mood, kind]
            if path not in written:
                write_atomically(path, encode_png(draw()), overwrite=overwrite)
                written[path] = None
    return list(written)


def refuse_existing_pictures(
    recipe: Recipe, moods: Sequence[str], folder: Path, *, overwrite: bool = False
) -> None:
    """Refuse to go on when a picture of these moods exists, before anything is metered.

    Parameters
    ----------
    recipe : Recipe
        Names the files.
    moods : sequence of str
        Only these moods; all otherwise.
    folder : Path
        Where the pictures would go.
    overwrite : bool
        Whether pictures that exist may be replaced.

    Raises
    ------
    OutputError
        Naming every picture that is in the way.
    UsageError
        When a mood is not in the recipe.
    """
    paths = _paths(recipe, choose_moods(recipe, moods), folder)
    refuse_existing(paths.values(), allowed=overwrite, option="--pictures")


def _paths(recipe: Recipe, moods: Sequence[str], folder: Path) -> dict[tuple[str, str], Path]:
    """Path of each picture by mood and kind."""
    stem, shared = recipe.output_stem, _share_one_curve(recipe)
    found: dict[tuple[str, str], Path] = {}
    for mood in moods:
        for kind in ("exposure", "histogram"):
            found[mood, kind] = folder / f"{stem}_{mood}_{kind}.png"
        if isinstance(recipe.moods[mood].look.tone, Evenfall):
            found[mood, "curve"] = folder / f"{stem}{'' if shared else f'_{mood}'}_curve.png"
    return found


def _share_one_curve(recipe: Recipe) -> bool:
    return len({mood.look.tone for mood in recipe.moods.values()}) == 1


def _pictures(mood: MeteredMood, recipe: Recipe) -> Iterator[tuple[str, Callable[[], Codes]]]:
    """Kinds of pictures of a mood, and how each is drawn."""
    project = recipe.model.project
    of_view = project.view or project.title
    title = ", ".join(part for part in (of_view, mood.facts.title) if part)
    subtitle = f"exposure {format_stops(mood.facts.exposure_stops)} stops on the passes"
    clipped = f"{100 * mood.facts.clipped_share:.1f} % of the pixels are clipped by the look"
    yield "exposure", partial(draw_exposure_map, mood.luminance, title=title, subtitle=subtitle)
    tone = recipe.moods[mood.facts.mood].look.tone
    yield (
        "histogram",
        partial(
            draw_histogram,
            histogram_of(mood.exposed, mood.luminance_weights),
            title=title,
            subtitle=f"{subtitle},  {clipped}",
            white_stops=tone.highlight_stops if isinstance(tone, Evenfall) else None,
        ),
    )
    if isinstance(tone, Evenfall):
        above = of_view if _share_one_curve(recipe) else title
        yield "curve", partial(draw_curve, tone, title=f"{above}: tone curve")
