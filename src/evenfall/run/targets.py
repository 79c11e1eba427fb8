"""Which files a run makes, and that none of them is in the way of another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from evenfall.errors import Fault, OutputError, RecipeError
from evenfall.recipe import Deliverable, Recipe

__all__ = [
    "Target",
    "default_out",
    "file_name",
    "plan_targets",
    "refuse_existing",
    "refuse_inputs",
    "report_path",
]

_ENDINGS = {
    "png": ".png",
    "jpeg": ".jpg",
    "tiff": ".tif",
    "exr": ".exr",
    "avif": ".avif",
    "gain-map jpeg": ".jpg",
}
_PROOF = "_proof"


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


def default_out(recipe: Recipe) -> Path:
    """Folder `pictures` beside the recipe."""
    return recipe.path.absolute().parent / "pictures"


def report_path(recipe: Recipe, out: Path, *, proof: bool) -> Path:
    """Where the report of a run goes."""
    return out / f"{recipe.path.stem}{_PROOF if proof else ''}_report.json"


def sheet_path(recipe: Recipe, out: Path, *, proof: bool) -> Path:
    """Where the contact sheet goes."""
    sheet = recipe.model.sheet
    name = _filled(sheet.name, {"recipe": recipe.path.stem}, recipe, "sheet.name")
    return out / f"{name}{_PROOF if proof else ''}{_ENDINGS[sheet.format]}"


def plan_targets(
    recipe: Recipe, moods: Sequence[str], out: Path, *, width: int, proof: bool
) -> list[Target]:
    """Name the files of the chosen moods, mood by mood.

    Parameters
    ----------
    recipe : Recipe
        Its deliverables count; for proofs only their crops do, each as an 8-bit sRGB PNG.
    moods : sequence of str
        Chosen moods.
    out : Path
        Folder of the pictures.
    width : int
        Width of the passes, for {width} in names.
    proof : bool
        Whether proofs are made.

    Raises
    ------
    RecipeError
        When two files would have the same name, or a name leaves the folder.
    """
    targets = []
    for mood in moods:
        for number, deliverable in _deliverables_of(recipe, mood, proof=proof):
            name = file_name(recipe, mood, deliverable, number, width=width)
            ending = (_PROOF if proof else "") + _ENDINGS[deliverable.format]
            targets.append(Target(out / (name + ending), mood, deliverable, number))
    _refuse_doubles(recipe, targets)
    return targets


def _deliverables_of(
    recipe: Recipe, mood: str, *, proof: bool
) -> Iterable[tuple[int, Deliverable]]:
    chosen = [
        (number, deliverable)
        for number, deliverable in enumerate(recipe.model.deliverables)
        if not deliverable.moods or mood in deliverable.moods
    ]
    if not proof:
        return chosen
    crops: dict[object, tuple[int, Deliverable]] = {}
    for number, deliverable in chosen:
        frame = deliverable.crop and (deliverable.crop, deliverable.crop_position)
        crops.setdefault(frame, (number, _proof_of(deliverable)))
    return crops.values()


def _proof_of(deliverable: Deliverable) -> Deliverable:
    return Deliverable(
        name=deliverable.name,
        suffix=deliverable.suffix,
        crop=deliverable.crop,
        crop_position=deliverable.crop_position,
    )


def file_name(
    recipe: Recipe, mood: str, deliverable: Deliverable, number: int, *, width: int
) -> str:
    """Fill in a deliverable's name; without the file ending."""
    words = {
        "recipe": recipe.path.stem,
        "mood": mood,
        "format": deliverable.format.replace(" ", "-"),
        "space": deliverable.space.replace(" ", "-"),
        "width": str(deliverable.width or width),
        "suffix": deliverable.suffix,
    }
    return _filled(deliverable.name, words, recipe, f"deliverables[{number}].name")


def _filled(pattern: str, words: dict[str, str], recipe: Recipe, place: str) -> str:
    allowed = ", ".join(f"{{{word}}}" for word in words)
    try:
        name = pattern.format(**words)
    except (KeyError, IndexError, ValueError, AttributeError):
        fault = Fault(
            str(recipe.path), place, f'found "{pattern}"', f"expected a name of {allowed}"
        )
        raise RecipeError(fault) from None
    parts = PurePosixPath(name.replace("\\", "/"))
    if not parts.name or parts.is_absolute() or ".." in parts.parts or "\0" in name:
        fault = Fault(
            str(recipe.path), place, f'found "{pattern}"', "expected a name inside the --out folder"
        )
        raise RecipeError(fault)
    return name


def _refuse_doubles(recipe: Recipe, targets: Iterable[Target]) -> None:
    first: dict[str, Target] = {}
    faults = []
    for target in targets:
        key = str(target.path).casefold()  # file systems that ignore case would mix them up
        if key in first:
            faults.append(
                Fault(
                    str(recipe.path),
                    target.place,
                    f"mood {target.mood} makes {target.path.name}, as does {first[key].place} for "
                    f"mood {first[key].mood}",
                    "expected a name of its own for every file",
                    "add a suffix, or {mood} to the name",
                )
            )
        first.setdefault(key, target)
    if faults:
        raise RecipeError(faults)


def refuse_inputs(recipe: Recipe, paths: Iterable[Path]) -> None:
    """Refuse to write over something that the recipe reads.

    Raises
    ------
    RecipeError
        Naming every such file.
    """
    model = recipe.model
    inputs = {recipe.path.resolve()}
    inputs.update(recipe.pass_path(light.file).resolve() for light in model.lights.values())
    if model.passes.beauty is not None:
        inputs.add(recipe.pass_path(model.passes.beauty.file).resolve())
    for mood in recipe.moods.values():
        inputs.update(recipe.beside(overlay.file).resolve() for overlay in mood.overlays)
        if mood.plate is not None:
            inputs.add(recipe.beside(mood.plate.file).resolve())
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


def refuse_existing(paths: Iterable[Path], *, allowed: bool) -> None:
    """Refuse to go on when a file that would be written exists.

    Parameters
    ----------
    paths : iterable of Path
        Where files would be written.
    allowed : bool
        Whether files may be replaced; folders never are.

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
                    "say --overwrite to replace it, or choose another folder with --out",
                )
            )
    if faults:
        raise OutputError(faults)
