"""A survey of a folder, with what can be written of it: a starter recipe, and maps of flaws."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from pathlib import Path

from evenfall.deliver.png import encode_png
from evenfall.develop.reduced import keep_for_drafts
from evenfall.develop.samples import keep_sample
from evenfall.errors import PassError
from evenfall.passes.fingerprint import noted_fingerprint
from evenfall.passes.image import PassImage
from evenfall.passes.mending.clean import Flaws
from evenfall.solve.first_recipe import first_recipe
from evenfall.survey import survey as surveying
from evenfall.survey.listing import Found
from evenfall.survey.looking import PassFacts
from evenfall.survey.names import light_names
from evenfall.survey.surveyed import Survey
from evenfall.system.arguments import given_path
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import refuse_existing

__all__ = ["survey_folder"]


def survey_folder(
    folder: str | Path,
    *,
    patterns: Sequence[str] = (),
    view: str | None = None,
    write: str | Path | None = None,
    maps: str | Path | None = None,
    overwrite: bool = False,
    on_file: Callable[[str], None] | None = None,
    on_map: Callable[[Path], None] | None = None,
) -> Survey:
    """Look at all passes of a folder and the folders in it.

    Parameters
    ----------
    folder : str or Path
        The folder.
    patterns : sequence of str
        Name patterns that replace the documented ones.
    view : str or None
        Camera, for files of several views, or folders of several cameras; the first otherwise.
    write : str or Path, optional
        Write a commented starter recipe here; what its first draft needs is kept.
    maps : str or Path, optional
        Folder for a map of the broken pixels of each pass that has some.
    overwrite : bool
        Whether a recipe or maps that exist may be replaced.
    on_file : callable, optional
        Told the name of each file, in their order.
    on_map : callable, optional
        Told of every map that was written.

    Raises
    ------
    UsageError
        When the folder does not exist or holds no pass, or a pattern does not read.
    PassError
        When none of its files can be read.
    OutputError
        When a file exists and may not be replaced, or cannot be written.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> survey = survey_folder(example_recipe().path.parent)
    >>> sorted(light.name for light in survey.lights)
    ['lamp', 'sky', 'sun']
    """
    target = None if write is None else Path(write)
    if target is not None:
        refuse_existing([target], allowed=overwrite, option="--write")
    draw_maps = None if maps is None else _MapWriter(Path(maps), overwrite, on_map)

    def hear(found: Found, facts: PassFacts, image: PassImage, flaws: Flaws) -> None:
        if draw_maps is not None:
            draw_maps.write(found, image, flaws)
        if target is not None:
            _keep(facts, image)

    survey = surveying.survey_folder(
        given_path(folder, "a folder to survey"),
        patterns=patterns,
        view=view,
        on_file=on_file,
        on_image=hear,
    )
    if target is not None:
        text = first_recipe(survey, target)
        write_atomically(target, text.encode(), overwrite=overwrite)
    return survey


def _keep(facts: PassFacts, image: PassImage) -> None:
    """Keep what the first draft would have to read again."""
    with contextlib.suppress(PassError, OSError):  # a file that goes: the run will say so
        keep_for_drafts(image, facts.stamp)
        keep_sample(image.header, image.planes)
        noted_fingerprint(image.header.path)


class _MapWriter:
    """Writes maps of flaws as pictures go by."""

    def __init__(
        self, folder: Path, overwrite: bool, on_map: Callable[[Path], None] | None
    ) -> None:
        self._folder, self._overwrite, self._on_map = folder, overwrite, on_map
        self._written: list[str] = []

    def write(self, found: Found, image: PassImage, flaws: Flaws) -> None:
        from evenfall.drawings.flaw_map import draw_flaw_map

        masks = {kind: mask for kind, mask in flaws.masks.items() if mask.any()}
        if not masks:
            return
        self._written.append(found.stem)
        name = light_names(self._written, [r"(?P<light>.+)"])[-1]
        assert name is not None  # the pattern takes anything
        path = self._folder / f"{name.key}_flaws.png"
        codes = draw_flaw_map(image.planes, masks, title=name.title or name.key)
        write_atomically(path, encode_png(codes), overwrite=self._overwrite)
        if self._on_map is not None:
            self._on_map(path)
