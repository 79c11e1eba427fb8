"""A survey of a folder, with what can be written of it: a starter recipe, and maps of flaws."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Sequence
from pathlib import Path

from evenfall.deliver.png import encode_png
from evenfall.deliver.targets import refuse_existing
from evenfall.develop.reduced import keep_for_drafts
from evenfall.errors import PassError, UsageError
from evenfall.passes.fingerprint import noted_fingerprint
from evenfall.passes.image import PassImage
from evenfall.passes.mending.clean import Flaws
from evenfall.recipe.model import Beauty
from evenfall.recipe.starter import StarterLight, starter_recipe
from evenfall.survey import survey as surveying
from evenfall.survey.looking import PassFacts
from evenfall.survey.survey import Survey
from evenfall.system.atomic import write_atomically

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
        Camera, for files of several views; the first otherwise.
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
    >>> sorted(facts.name for facts in survey.lights)
    ['lamp', 'sky', 'sun']
    """
    target = None if write is None else Path(write)
    if target is not None:
        refuse_existing([target], allowed=overwrite, option="--write")
    draw_maps = None if maps is None else _MapWriter(Path(maps), overwrite, on_map)

    def hear(facts: PassFacts, image: PassImage, flaws: Flaws) -> None:
        if draw_maps is not None:
            draw_maps.write(facts, image, flaws)
        if target is not None and facts.kind == "light":
            _keep(facts, image)

    survey = surveying.survey_folder(
        Path(folder), patterns=patterns, view=view, on_file=on_file, on_image=hear
    )
    if target is not None:
        write_atomically(target, _starter(survey, target).encode(), overwrite=overwrite)
    return survey


def _keep(facts: PassFacts, image: PassImage) -> None:
    """Keep what the first draft would have to read again."""
    with contextlib.suppress(PassError, OSError):  # a file that goes: the run will say so
        keep_for_drafts(image, facts.stamp)
        noted_fingerprint(image.header.path)


class _MapWriter:
    """Writes maps of flaws as pictures go by."""

    def __init__(
        self, folder: Path, overwrite: bool, on_map: Callable[[Path], None] | None
    ) -> None:
        self._folder, self._overwrite, self._on_map = folder, overwrite, on_map

    def write(self, facts: PassFacts, image: PassImage, flaws: Flaws) -> None:
        from evenfall.drawings.flaw_map import draw_flaw_map

        found = {kind: mask for kind, mask in flaws.masks.items() if mask.any()}
        if not found:
            return
        path = self._folder / f"{facts.name}_flaws.png"
        codes = draw_flaw_map(image.planes, found, title=facts.name)
        write_atomically(path, encode_png(codes), overwrite=self._overwrite)
        if self._on_map is not None:
            self._on_map(path)


def _starter(survey: Survey, path: Path) -> str:
    lights = [
        StarterLight(
            facts.name,
            survey.frame_names.get(facts.file, facts.file),
            facts.header.layer or None,
            facts.header.part or None,
            facts.role.role,
            facts.role.reason,
            mean_luminance=facts.mean_luminance,
        )
        for facts in survey.lights
        if facts.role is not None
    ]
    if not lights:
        raise UsageError(
            f"{survey.folder}: no lights found, so there is no recipe to write; a survey without "
            "one shows what is there"
        )
    folder = os.path.relpath(survey.folder.resolve(), path.resolve().parent)
    return starter_recipe(
        lights,
        title=path.stem.replace("_", " ").capitalize(),
        passes_folder=Path(folder).as_posix(),
        beauty=_beauty(survey),
        frame=survey.frame,
    )


def _beauty(survey: Survey) -> Beauty | None:
    facts = survey.beauty
    if facts is None:
        return None
    file = survey.frame_names.get(facts.file, facts.file)
    return Beauty(file=file, layer=facts.header.layer or None, part=facts.header.part or None)
