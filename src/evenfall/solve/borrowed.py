"""A mood takes over the mood of colour of a picture of another place."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.change.revision import Revision
from evenfall.compare.moods import mood_differences
from evenfall.develop.reduced import reduced_size
from evenfall.passes.source import PassSource
from evenfall.recipe import Recipe
from evenfall.recipe.saving import replace_text
from evenfall.solve.colour_mood import BANDS, fit_colours, read_colours
from evenfall.solve.likeness import check_written_recipe
from evenfall.solve.matched import Matched
from evenfall.solve.measured import measure
from evenfall.solve.movers import choose_movers, moves_of
from evenfall.solve.reasons import MATCHED
from evenfall.solve.screen import Screen
from evenfall.solve.writing import instead_of_reasons, notes_on_text, write_moves

__all__ = ["match_colour"]

_WIDTH = 240
_SEEN = 0.01  # OKLab


def match_colour(
    recipe: Recipe,
    mood: str,
    source: PassSource,
    reference: Path,
    *,
    move: Sequence[str] = (),
    hold: Sequence[str] = (),
    dry_run: bool = False,
    workers: int | None = None,
) -> Matched:
    """Find tints that give a mood the colours of a picture of any place, and write them.

    Parameters
    ----------
    recipe : Recipe
        As its file has it, without one-off changes.
    mood : str
        Name of the mood.
    source : PassSource
        Its passes, at any size.
    reference : Path
        A displayed picture of any place and shape.
    move, hold : sequence of str
        As for `match_mood`; the lights whose colours may change.
    dry_run : bool
        Only say what would be.
    workers : int, optional
        Threads.

    Raises
    ------
    UsageError
        When the reference is no displayed picture, names are unknown, or nothing may move.
    RecipeError, PassError, PixelSourceError, OutputError
        When the recipe, its passes or the reference cannot be used, or the file not be written.
    """
    check_written_recipe(recipe, 1.0)
    wanted = read_colours(reference)
    size = reduced_size(source.size, _WIDTH)
    measured = measure(recipe, mood, source, {None: ()}, workers=workers, small_size=size)
    standing = measured.standing(recipe, mood)
    movers = choose_movers(recipe, mood, standing.balance.on, move, hold, camera=False)
    moves = moves_of(recipe, mood, measured.lights, standing, movers, within=4.0, tints=True)
    screen = Screen(recipe, mood, measured.small, standing, measured.lights, "sRGB")
    unknowns, before, after = fit_colours(screen, moves, len(movers), wanted)
    revision = Revision(recipe.text, recipe.path)
    write_moves(revision, mood, movers, unknowns, measured.space)
    every = {one: mood_differences(recipe, revision.recipe, one) for one in recipe.moods}
    changes = {one: some for one, some in every.items() if some}
    text = instead_of_reasons(revision, MATCHED)
    if changes and not dry_run:
        replace_text(recipe.path, recipe.text, text)
    off = np.hypot(*(after - wanted)[:, :2].T) / _SEEN
    return Matched(
        path=recipe.path,
        mood=mood,
        reference=reference,
        moved=(),
        off_by=float(off.mean()),
        unit="just noticeable differences of colour",
        was_off_by=float((np.hypot(*(before - wanted)[:, :2].T) / _SEEN).mean()),
        matched_share=float((off < 2).mean()),
        places=(),
        missing=(),
        alike=(),
        changes=changes,
        notes=(
            *_stay_away(off),
            *notes_on_text(revision, text),
        ),
        text=text,
        written=bool(changes) and not dry_run,
    )


def _stay_away(off: npt.NDArray[np.float64]) -> list[str]:
    return [
        f"the {name} stay {each:.0f} just noticeable differences away: no tint of these lights "
        "brings them nearer"
        for name, each in zip(BANDS, off, strict=True)
        if each > 3
    ]
