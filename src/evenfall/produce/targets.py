"""Which files a run makes, and that none of them is in the way of another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from evenfall.deliver.frame import Frame, frame_of
from evenfall.errors import Fault, OutputError, RecipeError
from evenfall.passes.source import PassSource
from evenfall.produce.object_numbers import check_object_numbers
from evenfall.recipe import Deliverable, Recipe
from evenfall.recipe.files import named_files
from evenfall.recipe.formats import FORMATS
from evenfall.recipe.places import dotted
from evenfall.record.naming import name_ending

__all__ = [
    "FRAME_ENDING",
    "RunFiles",
    "Target",
    "plan_files",
    "plan_targets",
    "refuse_inputs",
    "sheet_path",
]

FRAME_ENDING = ".frame"
"""Of what waits to be put into a film, behind the film's own ending."""

_INCOMPLETE = "_incomplete"
_DRAFT = "_draft"


@dataclass(frozen=True)
class Target:
    """One file that a run makes of one mood.

    Parameters
    ----------
    path : Path
        Its final name.
    mood : str
        The mood it shows.
    deliverable : Deliverable
        What it is to be.
    number : int
        Which deliverable of the recipe it comes from, counted from 0.
    """

    path: Path
    mood: str
    deliverable: Deliverable
    number: int

    @property
    def place(self) -> str:
        """Dotted place of the deliverable in the recipe."""
        return dotted(("deliverables", self.number))


@dataclass(frozen=True)
class RunFiles:
    """All files that a run may write, but for its report.

    Parameters
    ----------
    targets : tuple of Target
        Of the moods.
    sheet : Path or None
        The contact sheet, if one is made.
    """

    targets: tuple[Target, ...]
    sheet: Path | None

    @property
    def paths(self) -> list[Path]:
        """Their names."""
        sheet = [] if self.sheet is None else [self.sheet]
        return [*(target.path for target in self.targets), *sheet]


def plan_files(
    recipe: Recipe,
    moods: Sequence[str],
    out: Path,
    source: PassSource,
    looks: Mapping[str, Iterable[Path]],
    *,
    draft: bool,
) -> RunFiles:
    """Name the files of a run, and refuse names that its inputs have.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    moods : sequence of str
        Chosen moods; the contact sheet is made when all are.
    out : Path
        Folder of the files.
    source : PassSource
        Its size counts.
    looks : mapping of str to iterable of Path
        By mood: files that its look is made of.
    draft : bool
        Whether drafts are made.

    Raises
    ------
    OutputError
        When a deliverable would be larger than files hold or memory does.
    PixelSourceError
        When object numbers of a deliverable cannot be used.
    RecipeError
        When a file would be written over an input.
    """
    aspect = source.pixel_aspect
    targets = plan_targets(recipe, moods, out, size=source.size, pixel_aspect=aspect, draft=draft)
    check_object_numbers(recipe, ((one.number, one.deliverable) for one in targets), source.size)
    makes_sheet = recipe.model.sheet.make and tuple(moods) == tuple(recipe.moods)
    makes_sheet = makes_sheet and recipe.number is None
    files = RunFiles(tuple(targets), sheet_path(recipe, out, draft=draft) if makes_sheet else None)
    refuse_inputs(recipe, [path for some in looks.values() for path in some], files.paths)
    return files


def sheet_path(
    recipe: Recipe, out: Path, *, draft: bool, of: str = "", is_whole: bool = True
) -> Path:
    """Where the contact sheet goes: of the recipe, or of several under another name."""
    sheet = recipe.model.sheet
    name = sheet.name.format(recipe=of or recipe.output_stem) + ("" if is_whole else _INCOMPLETE)
    ending = _DRAFT if draft else name_ending(recipe)
    return out / f"{name}{ending}{FORMATS[sheet.format].ending}"


def plan_targets(
    recipe: Recipe,
    moods: Sequence[str],
    out: Path,
    *,
    size: tuple[int, int],
    pixel_aspect: float = 1.0,
    draft: bool,
) -> list[Target]:
    """Name the files of the chosen moods, mood by mood.

    Parameters
    ----------
    recipe : Recipe
        Its deliverables count; for drafts only their crops do, each as an 8-bit sRGB PNG.
    moods : sequence of str
        Chosen moods.
    out : Path
        Folder of the pictures.
    size : tuple of int
        Width and height of what is mixed.
    pixel_aspect : float
        Width over height of a pixel of it.
    draft : bool
        Whether drafts are made.

    Raises
    ------
    OutputError
        When a deliverable would be larger than files hold or memory does.
    """
    targets: list[Target] = []
    ending = _DRAFT if draft else name_ending(recipe)
    for mood in moods:
        for number, deliverable in _deliverables_of(recipe, mood, draft=draft):
            width = _frame(recipe, number, deliverable, size, pixel_aspect).width
            name = _file_name(recipe, mood, deliverable, width=width)
            suffix = FRAME_ENDING if deliverable.row.moves else ""
            path = out / (name + ending + deliverable.row.ending + suffix)
            if path in (target.path for target in targets):  # drafts of two crops
                path = path.with_stem(f"{path.stem}_{number + 1}")
            targets.append(Target(path, mood, deliverable, number))
    return targets


def _deliverables_of(
    recipe: Recipe, mood: str, *, draft: bool
) -> Iterable[tuple[int, Deliverable]]:
    chosen = [
        (number, recipe.model.deliverables[number])
        for number in recipe.model.deliverables_of(
            recipe.called or mood, of_many=recipe.number is not None
        )
    ]
    if not draft:
        return chosen
    crops: dict[object, tuple[int, Deliverable]] = {}
    for number, deliverable in chosen:
        draft_of_it = _draft_of(deliverable)
        frame = draft_of_it.crop and (draft_of_it.crop, draft_of_it.crop_position)
        crops.setdefault(frame, (number, draft_of_it))
    return crops.values()


def _draft_of(deliverable: Deliverable) -> Deliverable:
    crop = deliverable.crop
    if crop is None and deliverable.width and deliverable.height:
        crop = f"{deliverable.width}:{deliverable.height}"
    draft = Deliverable(name=deliverable.name, suffix=deliverable.suffix)
    return draft.model_copy(update={"crop": crop, "crop_position": deliverable.crop_position})


def _frame(
    recipe: Recipe,
    number: int,
    deliverable: Deliverable,
    size: tuple[int, int],
    pixel_aspect: float,
) -> Frame:
    try:
        return frame_of(deliverable, *size, pixel_aspect)
    except OutputError as error:
        raise OutputError(recipe.fault(("deliverables", number), str(error))) from None


def _file_name(recipe: Recipe, mood: str, deliverable: Deliverable, *, width: int) -> str:
    """Fill in a deliverable's name, which the recipe's check has found sound; no file ending."""
    frame, is_of_many = recipe.frame, recipe.number is not None
    name = deliverable.name
    if is_of_many and "{frame}" not in name:
        name += "_{frame}"
    return name.format(
        recipe=recipe.path.stem if is_of_many else recipe.output_stem,
        mood=recipe.called or mood,
        frame="" if frame is None else f"{frame:04d}",
        format=deliverable.format.replace(" ", "-"),
        space=deliverable.space.replace(" ", "-"),
        width=width,
        suffix=deliverable.suffix,
    )


def refuse_inputs(recipe: Recipe, further: Iterable[Path], paths: Iterable[Path]) -> None:
    """Refuse to write over something that the recipe reads.

    Parameters
    ----------
    recipe : Recipe
        Itself, and everything that it names is an input.
    further : iterable of Path
        What a named file refers to in its turn.
    paths : iterable of Path
        Where files would be written.

    Raises
    ------
    RecipeError
        Naming every such file.
    """
    named = (
        recipe.pass_path(file.name) if file.in_passes else recipe.beside(file.name)
        for file in named_files(recipe.model)
    )
    bases = (base.path for base in recipe.bases)
    inputs = {path.resolve() for path in (recipe.path, *bases, *named, *further)}
    faults = [
        Fault(
            str(path),
            "",
            "the run would write over a file that it reads",
            "",
            "choose another folder with --out, or another name for the deliverable",
        )
        for path in paths
        if path.resolve() in inputs
    ]
    if faults:
        raise RecipeError(faults)
