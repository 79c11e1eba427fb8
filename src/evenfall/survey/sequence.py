"""Frames of a sequence in a folder of passes: which belong together, and which one is surveyed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from evenfall.recipe.words.suggesting import joined
from evenfall.survey.name_says import says_no_light
from evenfall.survey.names import frame_digits, without_frame

__all__ = ["OneFrame", "one_frame"]


@dataclass(frozen=True)
class OneFrame:
    """One file of every pass.

    Parameters
    ----------
    files : tuple of str
        In the order of the folder.
    frame : int or None
        Number of the frame; None if no pass has several.
    names : mapping of str to str
        By file of a sequence: its name with ``#`` for the digits of the frame.
    notes : tuple of str
        What a person should know of frames.
    """

    files: tuple[str, ...]
    frame: int | None = None
    names: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


@dataclass
class _Pass:
    """Files that differ only by frame number, and its names by frame."""

    files: list[str]

    def __post_init__(self) -> None:
        numbered = [file for file in self.files if _digits(file)]
        width = min((len(_digits(file)) for file in numbered), default=0)
        patterns = [_pattern(file, width) for file in numbered]
        self.pattern = patterns[0] if patterns else ""
        self.frames = {
            int(_digits(file)): file
            for file, pattern in zip(numbered, patterns, strict=True)
            if pattern == self.pattern and _digits(file) == str(int(_digits(file))).zfill(width)
        }

    @property
    def is_sequence(self) -> bool:
        return len(self.frames) > 1


def one_frame(files: Sequence[str]) -> OneFrame:
    """Choose one file of every pass, all of the same frame where there are several.

    The frame is the one that most of the passes with several frames have, the lowest of those. A
    pass without it, or with one frame only, keeps its name: it is taken for the same in all frames.

    Parameters
    ----------
    files : sequence of str
        Names relative to the folder, sorted.

    Examples
    --------
    >>> chosen = one_frame(["sky.0001.exr", "sky.0002.exr", "sun.0002.exr", "sun.0003.exr"])
    >>> chosen.files, chosen.frame, chosen.names["sun.0002.exr"]
    (('sky.0002.exr', 'sun.0002.exr'), 2, 'sun.####.exr')
    """
    gathered: dict[str, list[str]] = {}
    for file in files:
        gathered.setdefault(_base(file), []).append(file)
    passes = [_Pass(some) for some in gathered.values()]
    counts = Counter(frame for each in passes if each.is_sequence for frame in each.frames)
    frame = min(counts, key=lambda number: (-counts[number], number), default=None)
    chosen: list[str] = []
    names: dict[str, str] = {}
    for each in passes:
        file = each.files[0]
        if frame is not None and each.is_sequence and frame in each.frames:
            file = each.frames[frame]
            names[file] = each.pattern
        chosen.append(file)
    return OneFrame(tuple(chosen), frame, names, tuple(_notes(passes, chosen, frame, names)))


def _notes(
    passes: Sequence[_Pass], chosen: Sequence[str], frame: int | None, names: Mapping[str, str]
) -> Iterator[str]:
    others = sum(len(each.files) for each in passes) - len(chosen)
    if others == 0:
        return
    files = "1 file is another frame" if others == 1 else f"{others} files are other frames"
    if frame is None:
        yield f"{files} of the same passes"
        return
    yield (
        f"{files} of the same passes; frame {frame} was surveyed. --write names them like "
        f'"{next(iter(names.values()))}" with passes.frame = {frame}; another frame is chosen by '
        "--set passes.frame=N"
    )
    without = [
        file
        for each, file in zip(passes, chosen, strict=True)
        if each.is_sequence and file not in names
    ]
    if without:
        yield (
            f"there is no frame {frame} of {joined(without, 'and')}: surveyed and written by "
            "the name of another frame"
        )
    alone = [
        file
        for each, file in zip(passes, chosen, strict=True)
        if each.frames and not each.is_sequence and not says_no_light(_base(file))
    ]
    if alone:
        yield (
            f"there is one frame only of {joined(alone, 'and')}: --write takes it for the same "
            "in all frames; write # for its digits when the others are rendered"
        )


def _base(file: str) -> str:
    path = PurePosixPath(file)
    return without_frame(file.removesuffix(path.suffix)) + path.suffix


def _digits(file: str) -> str:
    return frame_digits(file.removesuffix(PurePosixPath(file).suffix))


def _pattern(file: str, width: int) -> str:
    suffix = PurePosixPath(file).suffix
    return file.removesuffix(suffix).removesuffix(_digits(file)) + "#" * width + suffix
