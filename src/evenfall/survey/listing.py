"""Everything that lies in a folder of passes, listed before a pixel is read.

Every picture of every file (layer, part, view) comes with what its names say; channels that make no
picture, and files that cannot be read, are listed beside them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath

from evenfall.errors import PassError, UsageError
from evenfall.passes.contents import Contents, OtherChannels
from evenfall.passes.files import check_inside
from evenfall.passes.header import PassHeader, Selector
from evenfall.passes.reading import list_contents
from evenfall.recipe.file_names import as_written
from evenfall.survey.cameras import Cameras, find_cameras
from evenfall.survey.name_says import (
    KNOWN_WORDS,
    NamePath,
    NameSays,
    name_path,
    says_no_light,
    what_names_say,
)
from evenfall.survey.names import without_frame
from evenfall.survey.sequence import OneFrame, one_frame
from evenfall.survey.words import DATA_WORDS, FILLING_WORDS, UNNAMED_WORDS, first_of, words_of

__all__ = [
    "Found",
    "FoundChannels",
    "Listing",
    "Unreadable",
    "list_folder",
    "listed",
    "named_as",
]

_ENDINGS = frozenset({".exr", ".hdr", ".pic", ".tif", ".tiff", ".pfm"})
_CHANNELS = {
    "depth": ("z", "depth", "zback"),
    "surface coordinates": ("u", "v", "s", "t"),
    "alpha": ("a", "alpha", "ar", "ag", "ab"),
}
_DISPLAY_ENDINGS = frozenset({".png", ".jpg", ".jpeg", ".webp", ".avif", ".gif", ".bmp"})


@dataclass(frozen=True)
class Unreadable:
    """A file that could not be surveyed, and why."""

    file: str
    reason: str


@dataclass(frozen=True)
class Found:
    """A picture inside a file, before it is read.

    Parameters
    ----------
    file : str
        Relative to the folder.
    header : PassHeader
        What the file says.
    path : NamePath
        Words on the way to it.
    says : NameSays
        What they say.
    stem : str
        Name of the file, and of part and layer where it holds several pictures, as written.
    is_alone : bool
        Whether it is the only picture of its file.
    """

    file: str
    header: PassHeader
    path: NamePath
    says: NameSays
    stem: str
    is_alone: bool

    @property
    def selector(self) -> Selector:
        """What finds it in its file."""
        header = self.header
        return Selector(header.layer, header.part, header.view or None)

    @property
    def place(self) -> str:
        """File, part and layer, for tables."""
        return " / ".join(each for each in (self.file, self.header.part, self.header.layer) if each)


@dataclass(frozen=True)
class FoundChannels:
    """Channels that make no picture.

    Parameters
    ----------
    file : str
        Relative to the folder.
    what : str
        What they hold, such as depth.
    channels : OtherChannels
        Their names.
    """

    file: str
    what: str
    channels: OtherChannels

    @property
    def place(self) -> str:
        """File, part and layer, for tables."""
        inner = (self.channels.part, self.channels.layer)
        return " / ".join(each for each in (self.file, *inner) if each)


@dataclass(frozen=True)
class Listing:
    """A folder before its pixels are read.

    Parameters
    ----------
    pictures : tuple of Found
        Whatever could be light, in the order of files.
    channels : tuple of FoundChannels
        The rest of the channels.
    unreadable : tuple of Unreadable
        Files that cannot be used at all.
    notes : tuple of str
        What a person should know.
    frame : int or None
        Frame that was chosen of a sequence.
    camera : str or None
        Camera that was chosen by the names of files.
    file_names : mapping of str to str
        By file, its name as a recipe writes it: with ``#`` for the digits of a frame and ``{view}``
        for a camera, where other files differ from it in these only.
    """

    pictures: tuple[Found, ...]
    channels: tuple[FoundChannels, ...]
    unreadable: tuple[Unreadable, ...]
    notes: tuple[str, ...]
    frame: int | None = None
    camera: str | None = None
    file_names: Mapping[str, str] = field(default_factory=dict)


def list_folder(folder: Path, view: str | None = None) -> Listing:
    """List the pictures of a folder and the folders in it.

    Parameters
    ----------
    folder : Path
        The folder.
    view : str or None
        Camera, where names of files tell several, or files hold several views.

    Raises
    ------
    UsageError
        When the folder does not exist or holds no pass.
    """
    if folder.is_file():
        raise UsageError(f"{folder}: is a file; name the folder in which the passes lie")
    if not folder.is_dir():
        raise UsageError(f"{folder}: no such folder; name the folder in which the passes lie")
    notes: list[str] = []
    unreadable: list[Unreadable] = []
    chosen = one_frame(list(_files(folder, notes, unreadable)))
    if not chosen.files and not unreadable:
        raise UsageError(
            f"{folder}: holds no passes; expected files ending in {', '.join(sorted(_ENDINGS))}"
        )
    notes.extend(chosen.notes)
    cameras = find_cameras(_bare(file) for file in chosen.files if not says_no_light(_bare(file)))
    camera = _camera(cameras, view, notes)
    files = [
        file
        for file in chosen.files
        if cameras is None or cameras.of(_bare(file)) in (camera, None)
    ]
    contents = dict(_contents(folder, files, unreadable))
    pictures, views = _pictures(contents, view)
    if len(views) > 1:
        which = view if view in views else "the first view of each file"
        notes.append(f"views in these files: {', '.join(sorted(views))}; surveyed: {which}")
    return Listing(
        _with_what_names_say(pictures),
        tuple(_channels(contents)),
        tuple(unreadable),
        tuple(notes),
        chosen.frame,
        camera,
        {file: _for_any(file, chosen, cameras, camera) for file in files},
    )


def _for_any(file: str, chosen: OneFrame, cameras: Cameras | None, camera: str | None) -> str:
    """Name of a file as a recipe writes it, for any frame and camera."""
    bare = _bare(file)
    ending = file[len(bare) :]
    tail = chosen.names[file][len(bare) :] if file in chosen.names else as_written(ending)
    span = None if cameras is None or camera is None else cameras.span(bare)
    if span is None or cameras is None:
        return as_written(bare) + tail
    before, after = bare[: span[0]], bare[span[1] :]
    all_bare = {_bare(other) for other in chosen.files}
    if any(f"{before}{name}{after}" not in all_bare for name in cameras.names):
        return as_written(bare) + tail
    return f"{as_written(before)}{{view}}{as_written(after)}{tail}"


def _bare(file: str) -> str:
    """Name of a file without ending and frame number."""
    return without_frame(file.removesuffix(PurePosixPath(file).suffix))


def _files(folder: Path, notes: list[str], unreadable: list[Unreadable]) -> Iterator[str]:
    display = []
    for path in sorted(folder.rglob("*")):
        file = path.relative_to(folder)
        if any(part.startswith(".") for part in file.parts):
            continue
        ending = path.suffix.lower()
        if ending in _DISPLAY_ENDINGS:
            display.append(file.as_posix())
        elif ending in _ENDINGS:
            if path.is_file():
                yield file.as_posix()
            else:
                said = f"{path}: {_why_no_file(path)}"
                unreadable.append(Unreadable(file.as_posix(), said))
    if display:
        notes.append(f"not read, as they are display-encoded: {listed(display)}")


def _why_no_file(path: Path) -> str:
    if path.is_symlink() and not path.exists():
        return f"is a broken link, to {path.readlink()}"
    if path.is_dir():
        return "is a folder that is named like a pass"
    return "is not a regular file"


def listed(names: Sequence[str], most: int = 4) -> str:
    """Name some things, and how many more there are.

    Examples
    --------
    >>> listed(["a", "b", "c"], most=2)
    'a, b and 1 more'
    """
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _camera(cameras: Cameras | None, view: str | None, notes: list[str]) -> str | None:
    if cameras is None:
        return None
    camera = view if view in cameras.names else cameras.usual
    what = "versions" if cameras.are_versions else "views"
    others = [name for name in cameras.names if name != camera]
    notes.append(
        f"{len(cameras.names)} {what} by the names of the files; surveyed: {camera}. Others: "
        f"{listed(others, 8)}; --view NAME takes another"
    )
    return camera


def _contents(
    folder: Path, files: Sequence[str], unreadable: list[Unreadable]
) -> Iterator[tuple[str, Contents]]:
    for file in files:
        path = folder / file
        try:
            check_inside(path, folder)
            yield file, list_contents(path)
        except PassError as error:
            unreadable.append(Unreadable(file, str(error)))


def _pictures(
    contents: Mapping[str, Contents], view: str | None
) -> tuple[list[Found], frozenset[str]]:
    found: list[Found] = []
    views: set[str] = set()
    for file, held in contents.items():
        seen = list(dict.fromkeys(header.view for header in held.pictures))
        wanted = view if view in seen else next(iter(seen), "")
        views.update(seen)
        chosen = [header for header in held.pictures if header.view == wanted]
        for header in chosen:
            found.append(_found(file, header, is_alone=len(chosen) == 1))
    return found, frozenset(views)


def _found(file: str, header: PassHeader, *, is_alone: bool) -> Found:
    bare = _bare(file)
    inner = [part for part in (header.part, header.layer) if part]
    stem = bare if is_alone else "_".join([bare, *inner])
    named = _only_channel(header)
    path = name_path(bare, header.part, header.layer or named, header.view)
    if is_alone and not _tells(path.inner):
        path = NamePath(path.outer)
    return Found(file, header, path, NameSays((), ""), stem, is_alone)


def _only_channel(header: PassHeader) -> str:
    """Name of a grey picture's channel, where it says more than that."""
    if len(header.channels) != 1 or header.kind != "exr":
        return ""
    name = header.channels[0].rpartition(".")[2]
    return name if name.upper() not in ("Y", "R") else ""


def named_as(found: Found, *, together: bool, alone: bool) -> str:
    """Name that a light is called by, before what all names share is taken off.

    Parameters
    ----------
    found : Found
        Its first picture.
    together : bool
        Whether it is put together of parts, whose words are left out.
    alone : bool
        Whether it is the only light: then what other pictures share is taken off already.
    """
    says = found.says
    if together and says.title:
        return says.title
    pieces = says.own if alone else found.path.all
    kept = [piece for piece in pieces if not set(words_of(piece)) <= UNNAMED_WORDS]
    says_something = any(not set(words_of(piece)) <= FILLING_WORDS for piece in kept)
    return "_".join(kept if says_something else found.path.all)


def _tells(pieces: Sequence[str]) -> bool:
    return any(word in KNOWN_WORDS for piece in pieces for word in words_of(piece))


def _with_what_names_say(pictures: Sequence[Found]) -> tuple[Found, ...]:
    said = what_names_say([each.path for each in pictures])
    return tuple(replace(each, says=says) for each, says in zip(pictures, said, strict=True))


def _channels(contents: Mapping[str, Contents]) -> Iterator[FoundChannels]:
    for file, held in contents.items():
        for channels in held.others:
            alone = not held.pictures and len(held.others) == 1
            words = words_of(" ".join([_bare(file) if alone else "", channels.layer]))
            yield FoundChannels(file, _what(words, channels), channels)


def _what(words: Sequence[str], channels: OtherChannels) -> str:
    """Tell what channels hold that make no picture."""
    if channels.deep:
        return "deep samples"
    for what, known in DATA_WORDS.items():
        if first_of(words, known):
            return what
    last = {name.rpartition(".")[2].lower() for name in channels.channels}
    if {"x", "y", "z"} <= last:
        return "normals" if words and words[-1] in ("n", "normal") else "vectors"
    if channels.pixel_type == "uint" or "id" in last:
        return "ids and mattes"
    return next((what for what, some in _CHANNELS.items() if last <= set(some)), "other channels")
