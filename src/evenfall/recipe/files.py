"""Files that a recipe names: where they should lie, and whether they are there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Literal

from evenfall.recipe.areas import Area
from evenfall.recipe.camera import Camera, MoodCamera
from evenfall.recipe.file_names import asks_for, filled_in
from evenfall.recipe.look import Look
from evenfall.recipe.model import Passes, RecipeModel
from evenfall.recipe.moods import Mood
from evenfall.recipe.places import Place
from evenfall.recipe.words.findings import Finding
from evenfall.recipe.words.hints import shown

__all__ = ["NamedFile", "Use", "check_files", "named_files", "pass_file_name"]

_BUILT_IN_CONFIG = "ocio://"


Use = Literal["pass", "guide", "picture", "weights", "numbers", "look"]
"""What a file is for: weights are masks, numbers those of objects."""


@dataclass(frozen=True)
class NamedFile:
    """A file that the recipe names.

    Parameters
    ----------
    place : Place
        Where the recipe names it.
    name : str
        As the recipe says it.
    use : str
        What it is for.
    channel : str or None
        Which of its channels is meant, if the recipe says.
    """

    place: Place
    name: str
    use: Use
    channel: str | None = None

    @property
    def in_passes(self) -> bool:
        """Whether it lies in the passes' folder, and not beside the recipe."""
        return self.use in ("pass", "guide", "numbers")


def pass_file_name(name: str, passes: Passes) -> str:
    """Fill frame number and camera into the name of a pass's file.

    Examples
    --------
    >>> pass_file_name("sun.####.exr", Passes(frame=12))
    'sun.0012.exr'
    >>> pass_file_name("{view}/sun.exr", Passes(view="kitchen"))
    'kitchen/sun.exr'
    """
    return filled_in(name, frame=passes.frame, view=passes.view)


def check_files(
    model: RecipeModel, recipe_folder: Path, passes_folder: Path, folder_is_chosen: bool
) -> list[Finding]:
    """Return every file that is not there.

    When the passes' folder is missing, that is the only thing said of the passes; nothing, when
    the folder is not the recipe's own but was chosen for this once.
    """
    findings = []
    folder_missing = not passes_folder.is_dir()
    if folder_missing and not folder_is_chosen:
        findings.append(Finding(("passes", "folder"), *_no_folder(passes_folder)))
    for named in named_files(model):
        if named.in_passes:
            finding = _unfilled(named, model.passes)
            name = pass_file_name(named.name, model.passes)
            if finding is None and not folder_missing:
                finding = _missing(named.place, name, passes_folder)
        else:
            finding = _missing(named.place, named.name, recipe_folder)
        if finding is not None:
            findings.append(finding)
    return findings


def _no_folder(folder: Path) -> tuple[str, str, str]:
    state = "is no folder" if folder.exists() else "does not exist"
    hint = "put the folder right, or name another with --passes"
    return f"the passes' folder {folder} {state}", "", hint


def _unfilled(named: NamedFile, passes: Passes) -> Finding | None:
    if asks_for(named.name, "view") and passes.view is None:
        hint = "say passes.view, or write [{] for a brace that is part of the name"
        return Finding(named.place, f"found {shown(named.name)}", "{view} needs passes.view", hint)
    if asks_for(named.name, "frame") and passes.frame is None:
        hint = "say passes.frame, or write [#] for a # that is part of the name"
        return Finding(named.place, f"found {shown(named.name)}", "#### needs passes.frame", hint)
    return None


def _missing(place: Place, name: str, folder: Path) -> Finding | None:
    if not name or "\0" in name:
        return Finding(place, f"found {shown(name)}", "expected the name of a file")
    path = folder / name
    try:
        if path.is_file():
            return None
        if path.exists():
            kind = "a folder" if path.is_dir() else "no ordinary file"
            return Finding(place, f"{path} is {kind}", "expected a file")
        if path.is_symlink():
            return Finding(place, f"{path} is a link that leads nowhere", "expected a file")
    except OSError as error:
        return Finding(place, f"{shown(name)} cannot be looked at: {error.strerror}")
    return Finding(place, f"there is no file {path}", hint=_nearby(name, path))


def _nearby(name: str, path: Path) -> str:
    if "\\" in name:
        return "write folders with '/', on every system"
    if name.startswith("~"):
        return "'~' is not opened out; write the whole path"
    try:
        present = {entry.stem.casefold(): entry.name for entry in path.parent.iterdir()}
    except OSError:
        return f"there is no folder {path.parent}"
    close = get_close_matches(path.stem.casefold(), present, n=1, cutoff=0.65)
    return f'did you mean "{Path(name).with_name(present[close[0]]).as_posix()}"?' if close else ""


def named_files(model: RecipeModel) -> Iterator[NamedFile]:
    """Every file that a recipe names, as often as it does.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> [file.name for file in named_files(example_recipe().model)]
    ['sun.exr', 'sky.exr', 'lamp.exr']
    """
    for name, light in model.lights.items():
        place: Place = ("lights", name, "file")
        if isinstance(light.file, str):
            yield NamedFile(place, light.file, "pass")
        else:
            for index, file in enumerate(light.file):
                yield NamedFile((*place, index), file, "pass")
    if model.passes.beauty is not None:
        yield NamedFile(("passes", "beauty", "file"), model.passes.beauty.file, "pass")
    for key in ("albedo", "normal"):
        guide = getattr(model.passes.repair, key)
        if guide is not None:
            yield NamedFile(("passes", "repair", key), guide, "guide")
    yield from _of_camera(("camera",), model.camera)
    yield from _of_look(("look",), model.look)
    for name, mood in model.moods.items():
        yield from _of_mood(("moods", name), mood)


def _of_mood(place: Place, mood: Mood) -> Iterator[NamedFile]:
    if mood.plate is not None:
        yield NamedFile((*place, "plate", "file"), mood.plate.file, "picture")
    for index, overlay in enumerate(mood.overlays or ()):
        yield NamedFile((*place, "overlays", index, "file"), overlay.file, "picture")
    for index, region in enumerate(mood.regions or ()):
        yield from _of_area((*place, "regions", index, "area"), region.area)
    for name, setting in mood.lights.items():
        if setting.match is not None:
            yield from _of_area((*place, "lights", name, "match", "area"), setting.match.area)
    yield from _of_camera((*place, "camera"), mood.camera)
    yield from _of_look((*place, "look"), mood.look)


def _of_camera(place: Place, camera: Camera | MoodCamera | None) -> Iterator[NamedFile]:
    if camera is not None and camera.meter != "off":
        yield from _of_area((*place, "meter", "area"), camera.meter.area)


def _of_area(place: Place, area: Area | None) -> Iterator[NamedFile]:
    if area is not None and area.mask is not None:
        yield NamedFile((*place, "mask"), area.mask, "weights", area.channel)
    if area is not None and area.ids is not None:
        yield NamedFile((*place, "ids"), area.ids, "numbers", area.channel)


def _of_look(place: Place, look: Look | None) -> Iterator[NamedFile]:
    if look is None:
        return
    if look.grade.cdl is not None and look.grade.cdl.file is not None:
        yield NamedFile((*place, "grade", "cdl", "file"), look.grade.cdl.file, "look")
    for index, lut in enumerate(look.grade.luts):
        yield NamedFile((*place, "grade", "luts", index, "file"), lut.file, "look")
    if look.view is not None and not look.view.config.startswith(_BUILT_IN_CONFIG):
        yield NamedFile((*place, "view", "config"), look.view.config, "look")
