"""Matching a mood to a picture, and drawing what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from evenfall.deliver.png import encode_png
from evenfall.drawings.match_map import draw_match
from evenfall.passes.source import PassSource
from evenfall.recipe import Recipe
from evenfall.solve.borrowed import match_colour
from evenfall.solve.likeness import match_mood
from evenfall.solve.matched import Matched
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import refuse_existing

__all__ = ["match_view"]


def match_view(
    recipe: Recipe,
    mood: str,
    source: PassSource,
    reference: Path,
    *,
    move: Sequence[str],
    hold: Sequence[str],
    tints: bool,
    within: float,
    rendered: bool,
    dry_run: bool,
    picture: Path | None,
    overwrite: bool,
    workers: int | None,
    only_colour: bool = False,
) -> Matched:
    """Match a mood; as `View.match`."""
    if only_colour:
        return match_colour(
            recipe, mood, source, reference, move=move, hold=hold, dry_run=dry_run, workers=workers
        )
    if picture is not None:
        refuse_existing([picture], allowed=overwrite, option="--picture")
    matched = match_mood(
        recipe,
        mood,
        source,
        reference,
        move=move,
        hold=hold,
        tints=tints,
        within=within,
        rendered=rendered,
        dry_run=dry_run,
        workers=workers,
    )
    if picture is not None and matched.maps is not None:
        drawn = draw_match(
            *matched.maps,
            title=f"{recipe.moods[mood].title}: matched to {reference.name}",
            subtitle=matched.figures,
            places=[(place.box, str(place)) for place in matched.places],
            full=0.1,
        )
        write_atomically(picture, encode_png(drawn), overwrite=overwrite)
    return matched
