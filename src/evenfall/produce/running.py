"""A run, from a recipe to files under their final names."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.recipe import Recipe
from evenfall.recipe.choosing import choose_moods
from evenfall.record.earlier import Earlier
from evenfall.record.fingerprints import Fingerprints
from evenfall.record.report import RunReport
from evenfall.system.processors import workers_of

if TYPE_CHECKING:
    from evenfall.produce.events import OnEvent

__all__ = ["run"]


def run(
    recipe: Recipe,
    *,
    moods: str | Sequence[str] = (),
    out: str | Path | None = None,
    draft: bool = False,
    overwrite: bool = False,
    dry_run: bool = False,
    keep_going: bool = False,
    workers: int | None = None,
    on_event: OnEvent | None = None,
) -> RunReport:
    """Make the deliverables of a recipe.

    Before any pixel is read or anything is written, the recipe, the headers of the passes, the
    balances and all looks are checked, so that what fails later is only what pixels decide: a
    damaged pass, plate or mask, or a place without light. Every file is written whole under its
    final name or not at all. Passes are read once for all moods. Files that an earlier run
    made of the same are kept, and only what they do not cover is read and made.

    Parameters
    ----------
    recipe : Recipe
        From `evenfall.load`.
    moods : str or sequence of str
        Only these moods; all otherwise. The contact sheet is made when all are.
    out : str or Path, optional
        Folder of the files; `pictures` beside the recipe otherwise.
    draft : bool
        Quick reduced pictures, named `_draft`, with the recipe's composition guides.
    overwrite : bool
        Whether files that exist may be replaced.
    dry_run : bool
        Check everything and say what would be made; nothing is written.
    keep_going : bool
        A pass that cannot be used stops only the moods that need it; the report says which.
    workers : int, optional
        Threads; one per processor otherwise. The files do not depend on it.
    on_event : callable, optional
        Told of progress, one event at a time, from any thread.

    Returns
    -------
    RunReport
        What was made, of what, and how; also written as `<recipe>_report.json`.

    Raises
    ------
    RecipeError, UsageError
        When the recipe or the call cannot be.
    PassError, PixelSourceError
        When a pass or another picture cannot be used.
    OutputError
        When a file exists and may not be replaced, or cannot be written.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> report = run(example_recipe(), moods=["dusk"])
    >>> [file.path.name for file in report.files]
    ['corner_dusk.png']
    """
    chosen = choose_moods(recipe, moods)
    folder = Path(out).absolute() if out is not None else recipe.path.absolute().parent / "pictures"
    workers = workers_of(workers)
    earlier = Earlier(folder, recipe, draft=draft)
    with Fingerprints(recipe, earlier, workers) as fingerprints:
        fingerprints.start(_on_somewhere(recipe, chosen))
        # Modules that take long to import come while fingerprints are being taken.
        from evenfall.deliver.targets import refuse_existing
        from evenfall.develop.asked import Asked
        from evenfall.develop.checking import check_balances, check_moods
        from evenfall.develop.opening import open_passes
        from evenfall.produce.making import make
        from evenfall.produce.planning import plan_run

        asked = Asked(recipe)
        unusable = check_moods(asked, chosen, keep_going=keep_going)
        source = open_passes(recipe, draft=draft, keep_going=keep_going)
        if source.headers.keys() >= recipe.model.lights.keys():  # else some may be unknown
            check_balances(asked, chosen, source.space, source.luminance_scale)
        fingerprints.finish()
        plan = plan_run(source, asked, chosen, earlier, fingerprints)
    for mood, error in unusable.items():
        plan.give_up(mood, error)
    refuse_existing(
        [file.path for file in plan.report.files if not file.kept], allowed=overwrite or dry_run
    )
    if dry_run:
        plan.report.dry_run, plan.report.report = True, None
    else:
        make(plan, keep_going=keep_going, workers=workers, tell=on_event)
    return plan.report


def _on_somewhere(recipe: Recipe, moods: Sequence[str]) -> list[str]:
    """Lights that are on in one of these moods."""
    settings = [recipe.moods[mood].lights for mood in moods]
    return [light for light in recipe.model.lights if not all(some[light].off for some in settings)]
