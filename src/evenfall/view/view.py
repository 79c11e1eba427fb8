"""One view, opened: what the command line, a notebook, a page and another machine all call."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.recipe.choosing import choose_moods
from evenfall.system.arguments import given_path
from evenfall.view.hours import ViewHours
from evenfall.view.rounds import ViewRounds

if TYPE_CHECKING:
    from evenfall.meter.metering import MeterReport
    from evenfall.produce.events import OnEvent, PassRead
    from evenfall.prove.proof import Proof
    from evenfall.record.report import RunReport
    from evenfall.survey.surveyed import Survey
    from evenfall.view.checks import Checked

__all__ = ["View"]

_AS_RENDERED = tuple(
    f"passes.repair.{mending}=false" for mending in ("denoise", "fireflies", "negatives")
)


class View(ViewHours, ViewRounds):
    """A recipe and the passes that it names; made by `evenfall.open`.

    Passes are opened when they are first needed, and read only by what needs their pixels.

    Parameters
    ----------
    recipe : Recipe
        What the person wrote.
    draft : bool
        Whether moods are developed at the reduced size of drafts.
    source : PassSource, optional
        Passes that are open already; those that the recipe names otherwise.
    workers : int, optional
        Threads; one per processor otherwise. No result depends on them.

    Examples
    --------
    >>> import evenfall
    >>> from evenfall.develop.example import example_recipe
    >>> view = evenfall.open(example_recipe())
    >>> view
    View('corner.toml', moods=['day', 'dusk'])
    >>> warmer = view.with_changes("moods.dusk.lights.lamp.kelvin=2400")
    >>> bool((warmer.mix("dusk") != view.mix("dusk")).any())
    True
    """

    def check(self) -> Checked:
        """Check the recipe against its passes and the files of its looks; no pixel is read.

        Raises
        ------
        RecipeError, PixelSourceError, PassError
            With every fault: of the recipe and the files of its looks, or of the passes.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> [advice.code for advice in evenfall.open(example_recipe()).check().advice]
        []
        """
        from evenfall.view.checks import check_view

        return check_view(self._asked.get(), self._opened)

    def prove(
        self,
        *,
        picture: str | Path | None = None,
        overwrite: bool = False,
        on_pass: Callable[[str], None] | None = None,
    ) -> Proof:
        """Prove that the passes, as they were rendered, add up to the beauty, or say why not.

        Parameters
        ----------
        picture : str or Path, optional
            PNG file to draw what they differ by into.
        overwrite : bool
            Whether a picture that exists may be replaced.
        on_pass : callable, optional
            Told the name of every pass that was read.

        Raises
        ------
        PassError
            When a pass or the beauty cannot be used.
        UsageError, OutputError
            When the picture cannot be made, or not be written; before anything is read.
        """
        from evenfall.view.proofs import prove_recipe

        recipe = self.recipe.with_changes(*_AS_RENDERED)
        target = None if picture is None else given_path(picture, "a picture")
        return prove_recipe(recipe, picture=target, overwrite=overwrite, on_pass=on_pass)

    def survey(self, *, on_file: Callable[[str], None] | None = None) -> Survey:
        """Look at everything in the passes' folder, named as the recipe names it.

        Parameters
        ----------
        on_file : callable, optional
            Told the name of every file.

        Raises
        ------
        UsageError, PassError
            When there is nothing to survey.
        """
        from evenfall.view.surveys import survey_folder

        said = self.recipe.model.passes
        return survey_folder(
            self.recipe.passes_folder, patterns=said.name_patterns, view=said.view, on_file=on_file
        )

    def meter(
        self,
        moods: str | Sequence[str] = (),
        *,
        pictures: str | Path | None = None,
        overwrite: bool = False,
        on_read: Callable[[PassRead], None] | None = None,
    ) -> MeterReport:
        """Meter moods: gains, colours, ratios, exposure, noise headroom, and advice.

        Parameters
        ----------
        moods : str or sequence of str
            Only these moods; all otherwise.
        pictures : str or Path, optional
            Folder for an exposure map, a histogram and the curve of every mood.
        overwrite : bool
            Whether pictures that exist may be replaced.
        on_read : callable, optional
            Told of passes as they are read.

        Raises
        ------
        UsageError, RecipeError, PassError, PixelSourceError, OutputError
            As for a run.
        """
        from evenfall.view.meters import meter_view

        chosen = choose_moods(self.recipe, moods)
        folder = None if pictures is None else given_path(pictures, "the folder")
        return meter_view(
            self._asked.get(),
            self._opened,
            chosen,
            pictures=folder,
            overwrite=overwrite,
            workers=self.workers,
            on_read=on_read,
        )

    def run(
        self,
        moods: str | Sequence[str] = (),
        *,
        out: str | Path | None = None,
        overwrite: bool = False,
        dry_run: bool = False,
        keep_going: bool = False,
        on_event: OnEvent | None = None,
    ) -> RunReport:
        """Make the deliverables, or drafts.

        Parameters
        ----------
        moods : str or sequence of str
            Only these moods; all otherwise. The contact sheet is made when all are.
        out : str or Path, optional
            Folder of the files; `pictures` beside the recipe otherwise.
        overwrite : bool
            Whether files that exist may be replaced.
        dry_run : bool
            Check everything and say what would be made; nothing is written.
        keep_going : bool
            What cannot be used stops only the moods that need it; the report says which.
        on_event : callable, optional
            Told of progress, one event at a time, from any thread.

        Returns
        -------
        RunReport
            What was made, of what, and how; also written as `<recipe>_report.json`.

        Raises
        ------
        UsageError, RecipeError, PassError, PixelSourceError, OutputError
            As `evenfall.produce.run`.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> report = evenfall.open(example_recipe()).run("dusk")
        >>> [file.path.name for file in report.files]
        ['corner_dusk.png']
        """
        from evenfall.produce.running import run

        return run(
            self.recipe,
            moods=moods,
            out=out,
            draft=self.draft,
            overwrite=overwrite,
            dry_run=dry_run,
            keep_going=keep_going,
            workers=self.workers,
            on_event=on_event,
            source=self._given,
        )
