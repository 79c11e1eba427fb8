"""What lies in a folder of passes: facts of each, how they stand to each other, likely roles."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from evenfall.errors import PassError, UsageError
from evenfall.passes.files import check_inside
from evenfall.passes.image import PassImage
from evenfall.passes.mending.clean import Flaws
from evenfall.passes.notes import notes_on
from evenfall.passes.reading import inspect
from evenfall.survey.looking import Found, Kind, PassFacts, look_into
from evenfall.survey.names import (
    is_beauty_name,
    is_guide_name,
    light_names,
    without_frame,
)
from evenfall.survey.roles import LightTraits, propose_roles
from evenfall.survey.sequence import one_frame

__all__ = ["OnImage", "PassFacts", "Survey", "Unreadable", "survey_folder"]

_ENDINGS = frozenset({".exr", ".hdr", ".pic", ".tif", ".tiff", ".pfm"})
_DISPLAY_ENDINGS = frozenset({".png", ".jpg", ".jpeg", ".webp", ".avif", ".gif", ".bmp"})


@dataclass(frozen=True)
class Unreadable:
    """A file that could not be surveyed, and why."""

    file: str
    reason: str


@dataclass(frozen=True)
class Survey:
    """A folder of passes.

    Parameters
    ----------
    folder : Path
        Where they lie.
    passes : tuple of PassFacts
        Lights in the order of their files, then beauty, then guides.
    unreadable : tuple of Unreadable
        Files that could not be read.
    notes : tuple of str
        What a person should know: other frames and views, sizes and spaces that differ.
    frame : int or None
        Frame that was surveyed of a sequence; None if no pass has several frames.
    frame_names : mapping of str to str
        By file of a sequence: its name with ``#`` for the digits of the frame.
    """

    folder: Path
    passes: tuple[PassFacts, ...]
    unreadable: tuple[Unreadable, ...]
    notes: tuple[str, ...]
    frame: int | None = None
    frame_names: Mapping[str, str] = field(default_factory=dict)

    @property
    def lights(self) -> tuple[PassFacts, ...]:
        """The passes of single lights."""
        return tuple(facts for facts in self.passes if facts.kind == "light")

    @property
    def beauty(self) -> PassFacts | None:
        """The picture of all lights at once, if there is one."""
        return next((facts for facts in self.passes if facts.kind == "beauty"), None)


OnImage = Callable[[PassFacts, PassImage, Flaws], None]
"""Told of each light or beauty; role and share are not known yet."""


def survey_folder(
    folder: Path,
    *,
    patterns: Sequence[str] = (),
    view: str | None = None,
    on_file: Callable[[str], None] | None = None,
    on_image: OnImage | None = None,
) -> Survey:
    """Look at all passes of a folder and the folders in it.

    Parameters
    ----------
    folder : Path
        The folder.
    patterns : sequence of str
        Name patterns that replace the documented ones.
    view : str or None
        Camera, for files of several views; the first otherwise.
    on_file : callable, optional
        Told the name of each file, in their order.
    on_image : callable, optional
        Told facts, pixels and flaws of each light or beauty, one at a time.

    Raises
    ------
    UsageError
        When the folder does not exist or holds no pass, or a pattern does not read.
    PassError
        When none of its files can be read.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder}: no such folder; name the folder in which the passes lie")
    notes: list[str] = []
    unreadable: list[Unreadable] = []
    chosen = one_frame([path.relative_to(folder).as_posix() for path in _files(folder, notes)])
    files = [folder / file for file in chosen.files]
    notes.extend(chosen.notes)
    if not files:
        raise UsageError(
            f"{folder}: holds no passes; expected files ending in {', '.join(sorted(_ENDINGS))}"
        )
    found = _name(list(_pictures(folder, files, view, notes, unreadable)), patterns, notes)
    if not found and unreadable:
        raise PassError("\n".join(f"{each.reason}" for each in unreadable))
    facts, traits = _read_all(folder, found, unreadable, on_file, on_image)
    notes.extend(_differences(facts))
    notes.extend(notes_on({each.name: (each.header,) for each in facts}))
    return Survey(
        folder,
        _set_against_each_other(facts, traits),
        tuple(unreadable),
        tuple(notes),
        chosen.frame,
        chosen.names,
    )


def _files(folder: Path, notes: list[str]) -> Iterator[Path]:
    display = []
    for path in sorted(folder.rglob("*")):
        if any(part.startswith(".") for part in path.relative_to(folder).parts):
            continue
        if path.suffix.lower() in _ENDINGS and path.is_file():
            yield path
        elif path.suffix.lower() in _DISPLAY_ENDINGS:
            display.append(path.relative_to(folder).as_posix())
    if display:
        notes.append(f"not read, as they are display-encoded: {_listed(display)}")


def _listed(names: Sequence[str], most: int = 4) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _pictures(
    folder: Path,
    files: Sequence[Path],
    view: str | None,
    notes: list[str],
    unreadable: list[Unreadable],
) -> Iterator[Found]:
    views: set[str] = set()
    for path in files:
        file = path.relative_to(folder).as_posix()
        try:
            check_inside(path, folder)
            headers = inspect(path)
        except PassError as error:
            if is_guide_name(path.stem):
                notes.append(f"{file}: left out, by its name it holds no light")
            else:
                unreadable.append(Unreadable(file, str(error)))
            continue
        seen = list(dict.fromkeys(header.view for header in headers))
        wanted = view if view in seen else seen[0]
        views.update(seen)
        several = sum(header.view == wanted for header in headers) > 1
        for header in headers:
            if header.view == wanted:
                inner = [part for part in (header.part, header.layer) if part]
                whole = file.rsplit(".", 1)[0]
                outer = [] if len(files) == 1 else [without_frame(whole)]
                stem = "_".join([*outer, *inner]) if several else whole
                yield Found(file, header, stem.replace("/", "_"))
    if len(views) > 1:
        chosen = view or "the first view of each file"
        notes.append(f"views in these files: {', '.join(sorted(views))}; surveyed: {chosen}")


def _name(found: list[Found], patterns: Sequence[str], notes: list[str]) -> list[Found]:
    """Tell lights, beauty and guides apart by name, and name the lights."""
    kinds: list[Kind] = []
    for each in found:
        if is_guide_name(each.stem):
            kinds.append("guide")
        elif is_beauty_name(each.stem) and "beauty" not in kinds:
            kinds.append("beauty")
        else:
            kinds.append("light")
    names = light_names([each.stem for each in found], patterns)
    named = []
    for each, kind, name in zip(found, kinds, names, strict=True):
        if kind == "light" and name is None:
            notes.append(f"{each.header.label}: fits no name pattern, taken for no light")
            continue
        named.append(replace(each, kind=kind, name=name or kind))
    return named


def _read_all(
    folder: Path,
    found: Sequence[Found],
    unreadable: list[Unreadable],
    on_file: Callable[[str], None] | None,
    on_image: OnImage | None,
) -> tuple[list[PassFacts], dict[str, LightTraits]]:
    """Look into the files; what is told of them keeps their order."""
    facts: list[PassFacts] = []
    traits: dict[str, LightTraits] = {}
    files = list(dict.fromkeys(each.file for each in found))
    together = [[each for each in found if each.file == file] for file in files]
    for file, looked_at in look_into(folder, together):
        if on_file is not None:
            on_file(file)
        if isinstance(looked_at, PassError):
            unreadable.append(Unreadable(file, str(looked_at)))
            continue
        for fact, image, flaws, own in looked_at:
            facts.append(fact)
            if flaws is not None and on_image is not None:
                on_image(fact, image, flaws)
            if own is not None:
                traits[fact.name] = own
    return facts, traits


def _set_against_each_other(
    facts: Sequence[PassFacts], traits: dict[str, LightTraits]
) -> tuple[PassFacts, ...]:
    lights = [each for each in facts if each.kind == "light"]
    roles = propose_roles(traits)
    total = sum(each.mean_luminance for each in lights)
    keys = [each.mean_luminance for each in lights if roles[each.name].role == "key"]
    key = max(keys or [each.mean_luminance for each in lights], default=0.0)
    done = [
        replace(
            each,
            share=each.mean_luminance / total if total > 0 else 0.0,
            stops_to_key=_stops(each.mean_luminance, key),
            role=roles[each.name],
        )
        for each in lights
    ]
    rest = [
        replace(each, stops_to_key=_stops(each.mean_luminance, key))
        for kind in ("beauty", "guide")
        for each in facts
        if each.kind == kind
    ]
    return (*done, *rest)


def _stops(luminance: float, key: float) -> float | None:
    return float(np.log2(luminance / key)) if luminance > 0 and key > 0 else None


def _differences(facts: Sequence[PassFacts]) -> Iterator[str]:
    lit = [each for each in facts if each.kind != "guide"]
    sizes = {(each.header.width, each.header.height): each.file for each in lit}
    if len(sizes) > 1:
        said = "; ".join(f"{w} x {h} ({file})" for (w, h), file in sizes.items())
        yield f"sizes differ: {said}"
    spaces = {each.colour_space: each.file for each in lit}
    if len(spaces) > 1:
        said = "; ".join(f"{space} ({file})" for space, file in spaces.items())
        yield f"colour spaces differ: {said}"
