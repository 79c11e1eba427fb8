"""The plan of a run: its files, which of them stand already, and what has to be made."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.deliver.frame import Frame, square_size
from evenfall.develop.asked import Asked
from evenfall.develop.checking import MoodsChecked
from evenfall.drawings.logo import Logo
from evenfall.errors import Fault
from evenfall.passes.fingerprint import joint_fingerprint
from evenfall.passes.notes import notes_on
from evenfall.passes.source import PassSource
from evenfall.produce.targets import RunFiles, Target
from evenfall.recipe import Deliverable, Recipe
from evenfall.recipe.places import dotted
from evenfall.record.digest import Origins
from evenfall.record.earlier import Earlier
from evenfall.record.hashes import Hashes
from evenfall.record.rounds import has_rounds
from evenfall.record.thumbnails import load_thumbnail
from evenfall.record.values import FileReport, MoodReport
from evenfall.record.versions import versions
from evenfall.system.opened import Opened

__all__ = ["KeepSmall", "Picture", "RunPlan", "SheetPlan", "plan_run", "was_not_made"]

Codes = npt.NDArray[np.uint8]
KeepSmall = Callable[[str, Codes], None]
"""Is given a small picture of a mood: a digest of what it was made of, and its codes."""


@dataclass(frozen=True)
class Picture:
    """A file of a mood that is to be made, and a digest of the facts that it follows from."""

    target: Target
    facts: str


@dataclass(frozen=True, eq=False)
class SheetPlan:
    """The contact sheet that is to be made.

    Parameters
    ----------
    path : Path
        Its final name.
    facts : str
        Digest of the facts that it follows from.
    size : tuple of int
        Width and height of its pictures.
    pictures : mapping of str to ndarray
        Those of moods that need not be mixed for it.
    logo : Logo or None
        The studio's, as it was read.
    """

    path: Path
    facts: str
    size: tuple[int, int]
    pictures: Mapping[str, Codes]
    logo: Logo | None


@dataclass(frozen=True, eq=False)
class RunPlan:
    """What a run makes, and what it keeps.

    Parameters
    ----------
    asked : Asked
        What the recipe says.
    source : PassSource
        Opened passes.
    origins : Origins
        Facts and records of the pictures.
    hashes : Hashes
        Of files.
    out : Path
        Folder of the files; absolute.
    draft : bool
        Whether drafts are made.
    moods : tuple of str
        All that were chosen.
    to_mix : tuple of str
        Those of them that have to be mixed.
    pictures : tuple of Picture
        Files that have to be made.
    sheet : SheetPlan or None
        The contact sheet, if it has to be made.
    order : tuple of Path
        All files of the run, kept or to be made; the contact sheet last.
    kept : tuple of FileReport
        Files of an earlier run that are what this one would make.
    kept_moods : mapping of str to MoodReport
        Moods that come out as they did, and are not mixed.
    faults : tuple of Fault
        Why moods cannot be made, as far as that is known.
    notes : tuple of str
        What a person should know.
    small_size : tuple of int or None
        Width and height of pictures for the contact sheet; None where none are wanted.
    """

    asked: Asked
    source: PassSource
    origins: Origins
    hashes: Hashes
    out: Path
    draft: bool
    moods: tuple[str, ...]
    to_mix: tuple[str, ...]
    pictures: tuple[Picture, ...]
    sheet: SheetPlan | None
    order: tuple[Path, ...]
    kept: tuple[FileReport, ...]
    kept_moods: Mapping[str, MoodReport]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]
    small_size: tuple[int, int] | None = None

    @property
    def guides(self) -> tuple[str, ...]:
        """Composition guides to draw."""
        return self.asked.recipe.model.draft.guides if self.draft else ()

    def leaves_picture(self, deliverable: Deliverable, frame: Frame) -> bool:
        """Whether a small picture of a file is left behind for the round that may be kept of it.

        Of files that hold the whole picture without loss, and would have to be decoded for it.
        """
        is_whole = not frame.is_resized and (frame.width, frame.height) == self.source.size
        lossless = deliverable.format == "png" and deliverable.space in ("sRGB", "Display P3")
        return is_whole and lossless and not self.draft and has_rounds(self.asked.recipe.path)

    @property
    def to_make(self) -> tuple[Path, ...]:
        """Files that have to be made, in order."""
        kept = {file.path for file in self.kept}
        return tuple(path for path in self.order if path not in kept)

    @property
    def lights_to_read(self) -> tuple[str, ...]:
        """Lights whose passes will be read, as far as that is known before."""
        space = self.source.space
        needed = {light for mood in self.to_mix for light in self.asked.lights(mood, space)}
        return tuple(light for light in self.source.headers if light in needed)

    def pictures_of(self, mood: str) -> tuple[Picture, ...]:
        """Files of a mood that have to be made."""
        return tuple(picture for picture in self.pictures if picture.target.mood == mood)

    def mood_facts(self, mood: str) -> str:
        """Digest of the facts that all pictures of a mood follow from."""
        return self.origins.mood_facts(mood)

    def fingerprints(self, opened: Iterable[Opened]) -> dict[str, str]:
        """Fingerprints of the passes among what was opened, by light in the recipe's order."""
        by_light: dict[str, dict[Path, str | None]] = {}
        for each in opened:
            if each.light:
                by_light.setdefault(each.light, {})[each.path] = self.hashes.of(each)
        found = {}
        for light, headers in self.source.sources.items():
            hashed = by_light.get(light, {})
            in_order = [hashed.get(path) for path in dict.fromkeys(one.path for one in headers)]
            known = [f"sha256:{sha256}" for sha256 in in_order if sha256 is not None]
            if known and len(known) == len(in_order):
                found[light] = joint_fingerprint(known)
        return found


def plan_run(
    asked: Asked,
    source: PassSource,
    checked: MoodsChecked,
    moods: Sequence[str],
    files: RunFiles,
    earlier: Earlier,
    hashes: Hashes,
    *,
    out: Path,
    draft: bool,
    is_part: bool = False,
) -> RunPlan:
    """Plan a run; no pixel is read, and nothing is written but what is taken over.

    Parameters
    ----------
    asked : Asked
        What the recipe says.
    source : PassSource
        Opened passes.
    checked : MoodsChecked
        What came of checking the moods.
    moods : sequence of str
        Chosen moods.
    files : RunFiles
        Files of the moods, and the contact sheet.
    earlier : Earlier
        What an earlier run left in the folder.
    hashes : Hashes
        Of files.
    out : Path
        Folder of the files.
    draft : bool
        Whether drafts are made.
    is_part : bool
        Whether small pictures are wanted for a contact sheet that somebody else makes.
    """
    origins = Origins(asked, source, versions(), checked.looks, draft=draft)
    kept: list[FileReport] = []
    pictures: list[Picture] = []
    order: list[Path] = []
    for target in files.targets:
        facts = origins.file_facts(target.mood, target.number, target.deliverable)
        noted = earlier.file(target.path, facts, hashes)
        if noted is not None:
            kept.append(noted)
        elif target.mood not in checked.unusable:
            pictures.append(Picture(target, facts))
        else:
            continue
        order.append(target.path if noted is None else noted.path)
    small_size = (
        sheet_picture_size(asked.recipe, source)
        if is_part and asked.recipe.model.sheet.make
        else None
    )
    sheet_plan = None
    if files.sheet is not None:
        logo = _logo(asked)
        facts = origins.sheet_facts(moods, "" if logo is None else logo.sha256)
        noted = earlier.file(files.sheet, facts, hashes)
        order.append(files.sheet if noted is None else noted.path)
        if noted is not None:
            kept.append(noted)
        else:
            busy = {picture.target.mood for picture in pictures}
            small_size = sheet_picture_size(asked.recipe, source)
            known = _small_pictures(moods, busy, origins, earlier, hashes, small_size)
            sheet_plan = SheetPlan(files.sheet, facts, small_size, known, logo)
    to_mix = {picture.target.mood for picture in pictures}
    if sheet_plan is not None:
        to_mix.update(mood for mood in moods if mood not in sheet_plan.pictures)
    to_mix -= checked.unusable.keys()
    standing = {mood: earlier.noted(mood, origins.mood_facts(mood)) for mood in moods}
    asked_of = {target.mood for target in files.targets}
    return RunPlan(
        asked,
        source,
        origins,
        hashes,
        out,
        draft,
        tuple(moods),
        tuple(mood for mood in moods if mood in to_mix),
        tuple(pictures),
        sheet_plan,
        tuple(order),
        tuple(kept),
        {mood: one for mood, one in standing.items() if one is not None and mood not in to_mix},
        tuple(dict.fromkeys(f for error in checked.unusable.values() for f in error.faults)),
        (
            *notes_on(source.sources),
            *(
                f"{dotted(('moods', mood))}: no deliverable is asked of it, so nothing is made"
                for mood in moods
                if files.sheet is None and mood not in asked_of
            ),
            *(was_not_made(mood) for mood in checked.unusable),
        ),
        small_size,
    )


def was_not_made(mood: str) -> str:
    """Say that a mood was not made."""
    return f"{dotted(('moods', mood))}: not made; the faults say why"


def sheet_picture_size(recipe: Recipe, source: PassSource) -> tuple[int, int]:
    """Give width and height of a mood's picture on the contact sheet; nothing is enlarged."""
    from evenfall.drawings.sheet import picture_size

    square = square_size(*source.size, source.pixel_aspect)
    width = min(recipe.model.sheet.picture_width, max(square))
    return picture_size(*square, width)


def _logo(asked: Asked) -> Logo | None:
    """Read the studio's logo, once, so that the sheet shows what its digest speaks of."""
    named = asked.recipe.model.project.logo
    if named is None:
        return None
    from evenfall.drawings.logo import read_logo

    return read_logo(asked.recipe.beside(named))


def _small_pictures(
    moods: Sequence[str],
    busy: set[str],
    origins: Origins,
    earlier: Earlier,
    hashes: Hashes,
    size: tuple[int, int],
) -> dict[str, Codes]:
    """Pictures for the contact sheet of moods that are not made for anything else."""
    found = {}
    for mood in moods:
        if mood in busy:
            continue
        for digest in earlier.small_pictures(mood, origins.mood_facts(mood), hashes):
            codes = load_thumbnail(digest, size)
            if codes is not None:
                found[mood] = codes
    return found
