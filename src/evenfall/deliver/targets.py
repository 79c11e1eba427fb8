"""Which files a run makes, and that none of them is in the way of another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from evenfall.deliver.frame import Frame, frame_of
from evenfall.errors import Fault, OutputError, RecipeError
from evenfall.recipe import Deliverable, Recipe
from evenfall.recipe.formats import FORMATS

__all__ = [
    "Target",
    "plan_targets",
    "refuse_existing",
    "refuse_inputs",
]

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
        return f"deliverables[{self.number}]"


def sheet_path(recipe: Recipe, out: Path, *, draft: bool) -> Path:
    """Where the contact sheet goes."""
    sheet = recipe.model.sheet
    name = sheet.name.format(recipe=recipe.output_stem)
    return out / f"{name}{_DRAFT if draft else ''}{FORMATS[sheet.format].ending}"


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
    for mood in moods:
        for number, deliverable in _deliverables_of(recipe, mood, draft=draft):
            width = _frame(recipe, number, deliverable, size, pixel_aspect).width
            name = _file_name(recipe, mood, deliverable, width=width)
            path = out / (name + (_DRAFT if draft else "") + deliverable.row.ending)
            if path in (target.path for target in targets):  # drafts of two crops
                path = path.with_stem(f"{path.stem}_{number + 1}")
            targets.append(Target(path, mood, deliverable, number))
    return targets


def _deliverables_of(
    recipe: Recipe, mood: str, *, draft: bool
) -> Iterable[tuple[int, Deliverable]]:
    chosen = [
        (number, deliverable)
        for number, deliverable in enumerate(recipe.model.deliverables)
        if not deliverable.moods or mood in deliverable.moods
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
    return deliverable.name.format(
        recipe=recipe.output_stem,
        mood=mood,
        format=deliverable.format.replace(" ", "-"),
        space=deliverable.space.replace(" ", "-"),
        width=width,
        suffix=deliverable.suffix,
    )


def refuse_inputs(recipe: Recipe, side_files: Iterable[Path], paths: Iterable[Path]) -> None:
    """Refuse to write over something that the recipe reads.

    Parameters
    ----------
    recipe : Recipe
        Itself, its passes and its beauty are inputs.
    side_files : iterable of Path
        Plates, masks, LUTs and what else its moods read.
    paths : iterable of Path
        Where files would be written.

    Raises
    ------
    RecipeError
        Naming every such file.
    """
    model = recipe.model
    inputs = {recipe.path.resolve()}
    named = {source.file for light in model.lights.values() for source in light.sources}
    inputs.update(recipe.pass_path(file).resolve() for file in named)
    if model.passes.beauty is not None:
        inputs.add(recipe.pass_path(model.passes.beauty.file).resolve())
    inputs.update(path.resolve() for path in side_files)
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


def refuse_existing(paths: Iterable[Path], *, allowed: bool, option: str = "--out") -> None:
    """Refuse to go on when a file that would be written exists.

    Parameters
    ----------
    paths : iterable of Path
        Where files would be written.
    allowed : bool
        Whether files may be replaced; folders never are.
    option : str
        Option of the command line that chooses another folder.

    Raises
    ------
    OutputError
        Naming every such file.
    """
    faults = []
    for path in paths:
        if path.is_dir():
            faults.append(Fault(str(path), "", "a folder has this name", "a free file name"))
        elif not allowed and path.exists():
            faults.append(
                Fault(
                    str(path),
                    "",
                    "the file exists already",
                    "",
                    f"say --overwrite to replace it, or choose another folder with {option}",
                )
            )
    if faults:
        raise OutputError(faults)
