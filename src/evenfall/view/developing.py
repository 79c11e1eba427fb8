"""Developing a view: moods one by one, several from one reading, and the mix alone."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.recipe.choosing import choose_moods, choose_written_moods
from evenfall.view.state import ViewState

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from evenfall.develop.developed import DevelopedMood
    from evenfall.recipe import Area
    from evenfall.solve.aimed import Aimed
    from evenfall.solve.asking import Spot
    from evenfall.solve.first_aims import FirstAimed
    from evenfall.solve.matched import Matched
    from evenfall.view.stills import Shows

__all__ = ["ViewDeveloping"]


class ViewDeveloping(ViewState):
    """What is worked out of a view's pixels; see `View`."""

    def develop(self, mood: str, *, lights: Collection[str] | None = None) -> DevelopedMood:
        """Develop one mood: balanced, mixed, exposed, and with its look at hand.

        Parameters
        ----------
        mood : str
            Name of the mood.
        lights : collection of str, optional
            Only these lights are seen; balance and camera stay as with all of them.

        Raises
        ------
        UsageError
            When there is no such mood.
        RecipeError, PassError, PixelSourceError
            When gains cannot be worked out, or passes or other pictures cannot be used.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> dusk = evenfall.open(example_recipe()).develop("dusk")
        >>> dusk.encoded("Display P3").shape
        (32, 48, 3)
        """
        (developed,) = self.developed([mood], lights=lights)
        return developed

    def developed(
        self, moods: str | Sequence[str] = (), *, lights: Collection[str] | None = None
    ) -> Iterator[DevelopedMood]:
        """Develop several moods from one reading of the passes, one after the other.

        Parameters
        ----------
        moods : str or sequence of str
            Only these moods; all otherwise.
        lights : collection of str, optional
            As for `develop`.

        Raises
        ------
        UsageError, RecipeError, PassError, PixelSourceError
            As `develop`.
        """
        from evenfall.develop.checking import check_moods
        from evenfall.develop.engine import develop_moods

        chosen, asked = choose_moods(self.recipe, moods), self._asked.get()
        check_moods(asked, chosen)
        return iter(
            develop_moods(
                self.passes,
                asked,
                chosen,
                workers=self.workers,
                shelf=self._shelf.get(),
                lights=lights,
            )
        )

    def still(
        self,
        mood: str,
        *,
        lights: Collection[str] | None = None,
        shows: Shows = "picture",
        rows: slice | None = None,
    ) -> npt.NDArray[np.uint8]:
        """Show a mood: as a draft of the view's size has it, or as a map of its light.

        Parameters
        ----------
        mood : str
            Name of the mood.
        lights : collection of str, optional
            Only these lights are seen.
        shows : {"picture", "exposure", "ends"}
            The picture, to the code what a run writes as an 8-bit PNG; stops from middle grey as
            colours; or what is clipped and what is black.
        rows : slice, optional
            Only these rows of the picture.

        Returns
        -------
        ndarray, shape (h, w, 3), uint8
            sRGB codes.

        Raises
        ------
        UsageError, RecipeError, PassError, PixelSourceError
            As `develop`.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> evenfall.open(example_recipe()).still("dusk", shows="exposure").shape
        (32, 48, 3)
        """
        from evenfall.view.stills import still_of

        developed = self.develop(mood, lights=lights)
        return still_of(developed, shows, rows=rows, workers=self.workers)

    def mix(self, mood: str) -> npt.NDArray[np.float32]:
        """Mix one mood: the exact scene-linear sum of its passes, before the camera.

        Parameters
        ----------
        mood : str
            Name of the mood.

        Returns
        -------
        ndarray, shape (H, W, 3), float32
            R, G, B in the passes' primaries and units. Nothing is clipped: negative values and
            values over 65,504 are kept. NaN and infinite pixels of passes count as the recipe's
            `passes.repair.non_finite` says.

        Raises
        ------
        UsageError
            When there is no such mood.
        RecipeError, PassError
            When gains cannot be worked out, or passes cannot be used.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> day = evenfall.open(example_recipe()).mix("day")
        >>> day.shape, day.dtype
        ((32, 48, 3), dtype('float32'))
        """
        from evenfall.develop.engine import mix_mood

        (name,) = choose_moods(self.recipe, [mood])
        return mix_mood(self.passes, self._asked.get(), name, workers=self.workers).rgb()

    def ask(self, mood: str, place: str | tuple[float, float] | Area) -> Spot:
        """Say what lights a place of a mood: each light's share, and what a stop more would do.

        Parameters
        ----------
        mood : str
            Name of the mood.
        place : str, tuple of float, or Area
            A spot, "0.42,0.61" or (0.42, 0.61), in shares of width and height from the top left; a
            rectangle, "0.1,0.2,0.4,0.5"; the name of an aim of the mood; or an area as a recipe
            has it.

        Raises
        ------
        UsageError
            When there is no such mood or place.
        RecipeError, PassError, PixelSourceError
            As `develop`.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> spot = evenfall.open(example_recipe()).ask("dusk", (0.3, 0.4))
        >>> spot.lights[0].light, spot.lights[0].share > 0.8
        ('lamp', True)
        """
        from evenfall.view.asks import ask_at, place_of

        (name,) = choose_moods(self.recipe, [mood])
        where = place_of(place, self.recipe, name) if isinstance(place, str) else place
        return ask_at(self.develop(name), self.passes, self.recipe, where)

    def light_maps(self, mood: str, folder: str | Path, *, overwrite: bool = False) -> list[Path]:
        """Draw which light rules where in a mood, and a map of each light's share.

        Raises
        ------
        OutputError
            When a picture exists and may not be replaced, or cannot be written.
        UsageError, RecipeError, PassError, PixelSourceError
            As `develop`.
        """
        from evenfall.view.asks import write_light_maps

        developed = self.develop(mood)
        folder = Path(folder)
        return write_light_maps(developed, self.passes, self.recipe, folder, overwrite=overwrite)

    def aim(
        self,
        mood: str,
        *,
        move: Sequence[str] = (),
        hold: Sequence[str] = (),
        tints: bool = False,
        within: float = 4.0,
        dry_run: bool = False,
    ) -> Aimed:
        """Solve the gains by which a mood meets its aims, and write them into the recipe.

        Parameters
        ----------
        mood : str
            Name of the mood; `moods.NAME.aims` says what it should show.
        move : sequence of str
            Lights, groups (which move as one) or "exposure" that may move; every light that is on
            otherwise.
        hold : sequence of str
            Lights and groups that stay.
        tints : bool
            Whether the colours of what moves may change, too.
        within : float
            Most stops that a gain may go either way.
        dry_run : bool
            Only say what would be; nothing is written.

        Raises
        ------
        UsageError
            When there are no aims, an area is empty, a name is unknown, or nothing may move.
        RecipeError, PassError, PixelSourceError, OutputError
            When the recipe or its passes cannot be used, or the file cannot be written.
        """
        from evenfall.solve.aiming import aim_mood

        (name,) = choose_written_moods(self.recipe, [mood])
        return aim_mood(
            self.recipe,
            name,
            self.passes,
            move=move,
            hold=hold,
            tints=tints,
            within=within,
            dry_run=dry_run,
            workers=self.workers,
        )

    def aim_first(self, moods: str | Sequence[str] = (), *, dry_run: bool = False) -> FirstAimed:
        """Balance day, dusk and night by the rules of the trade, and write gains and exposures.

        Parameters
        ----------
        moods : str or sequence of str
            Only these moods; all that show a day, a dusk or a night otherwise.
        dry_run : bool
            Only say what would be; nothing is written.

        Raises
        ------
        UsageError
            When none of the moods shows a day, a dusk or a night.
        RecipeError, PassError, PixelSourceError, OutputError
            When the recipe or its passes cannot be used, or the file cannot be written.
        """
        from evenfall.solve.first_aims import aim_first

        chosen = choose_written_moods(self.recipe, moods)
        return aim_first(self.recipe, chosen, self.passes, dry_run=dry_run, workers=self.workers)

    def match(
        self,
        mood: str,
        reference: str | Path,
        *,
        move: Sequence[str] = (),
        hold: Sequence[str] = (),
        tints: bool = False,
        within: float = 6.0,
        rendered: bool = False,
        only_colour: bool = False,
        dry_run: bool = False,
        picture: str | Path | None = None,
        overwrite: bool = False,
    ) -> Matched:
        """Find gains, and colours if asked, that make a mood look like a picture of this view.

        Parameters
        ----------
        mood : str
            Name of the mood.
        reference : str or Path
            JPEG, PNG, TIFF, WebP or AVIF by its profile; EXR, HDR or PFM as scene-linear light
            behind the camera.
        move : sequence of str
            Lights and groups (which move as one) that may move; every light that is on otherwise.
        hold : sequence of str
            Lights and groups that stay.
        tints : bool
            Whether the colours of what moves may change, too.
        within : float
            Most stops that a gain may go either way.
        rendered : bool
            Whether a scene-linear reference holds light as the passes do, before the camera.
        only_colour : bool
            Take only the mood of colour of the reference, which may be of any place: tints that
            bring its colours, from shadows to lights, into this view.
        dry_run : bool
            Only say what would be; nothing is written into the recipe.
        picture : str or Path, optional
            PNG file to draw reference, match and their difference into.
        overwrite : bool
            Whether a picture that exists may be replaced.

        Raises
        ------
        UsageError
            When the reference is of another shape or view, a name is unknown, or nothing may move.
        RecipeError, PassError, PixelSourceError, OutputError
            When recipe, passes or reference cannot be used, or a file cannot be written.
        """
        from evenfall.view.matches import match_view

        (name,) = choose_written_moods(self.recipe, [mood])
        return match_view(
            self.recipe,
            name,
            self.passes,
            Path(reference),
            move=move,
            hold=hold,
            tints=tints,
            within=within,
            rendered=rendered,
            dry_run=dry_run,
            picture=None if picture is None else Path(picture),
            overwrite=overwrite,
            workers=self.workers,
            only_colour=only_colour,
        )
