"""What a recipe says together with the files that it builds on, and which file says what.

`based_on` at the top of a recipe names another, whose values it takes over; what it says itself is
laid over them. Tables are merged key by key, lists are replaced as a whole, and of keys that say
one thing between them, such as the ways to give a gain, those nearer to the recipe win. Names of
files stay relative to the file that says them.
"""

from __future__ import annotations

import copy
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from typing import Any

from evenfall.errors import Fault, RecipeError
from evenfall.recipe.laying import laid_over, moved_to
from evenfall.recipe.lines import LineMap, map_lines
from evenfall.recipe.places import Place, dotted
from evenfall.recipe.reading import missing_recipe, parse_toml, read_text
from evenfall.recipe.words.hints import shown

__all__ = ["Base", "Gathered", "Origins", "base_files", "gather", "is_same_file", "plain"]

_BASED_ON = "based_on"

_MOST_BASES = 16


@dataclass(frozen=True)
class Base:
    """A file that a recipe builds on.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Its path from the recipe's folder, by which rounds know it.
    text : str
        What stands in it.
    """

    path: Path
    name: str
    text: str


@dataclass
class Origins:
    """Which file says what, and on which line.

    Parameters
    ----------
    file : str
        The recipe itself, as messages name it.
    lines : LineMap
        Of the recipe's own text.
    inherited : mapping of Place to (str, int)
        File and line of places that files say which the recipe builds on.
    """

    file: str
    lines: LineMap
    inherited: dict[Place, tuple[str, int]] = field(default_factory=dict)

    def spot(self, place: Place) -> tuple[str, int | None]:
        """File and line of a place, or of the nearest table above it."""
        while place:
            if place in self.lines.lines:
                return self.file, self.lines.lines[place]
            if place in self.inherited:
                return self.inherited[place]
            place = place[:-1]
        return self.file, None

    def inherited_spot(self, place: Place) -> tuple[str, int] | None:
        """File and line of what a place inherits; None where the recipe says it, or nobody does."""
        return None if place in self.lines.lines else self.inherited.get(place)


@dataclass(frozen=True)
class Gathered:
    """A recipe's values with those of all files that it builds on.

    Parameters
    ----------
    tree : dict
        The values; `based_on` stays.
    origins : Origins
        Which file says what.
    bases : tuple of Base
        The files that it builds on, the nearest first.
    faults : tuple of Fault
        What the recipe drops that nobody says.
    """

    tree: dict[str, Any]
    origins: Origins
    bases: tuple[Base, ...] = ()
    faults: tuple[Fault, ...] = ()


def gather(
    tree: dict[str, Any],
    text: str,
    path: Path,
    *,
    known: Mapping[str, str] | None = None,
) -> Gathered:
    """Gather what a recipe says with what it builds on.

    Parameters
    ----------
    tree : dict
        The recipe's own values; left as they are where there is something to inherit.
    text : str
        What they were read from.
    path : Path
        Its file.
    known : mapping of str to str, optional
        Texts of the files that it builds on, by their path from the recipe's folder, as a kept
        round holds them; read from the disk otherwise.

    Raises
    ------
    RecipeError
        When a file that it builds on is missing, cannot be read, is no TOML, or builds on itself.
    """
    origins = Origins(str(path), map_lines(text))
    if _BASED_ON not in tree:
        return Gathered(tree, origins)
    return _Gathering(path, known).of(tree, origins, PurePath(), (path,))


def base_files(path: Path) -> list[Path]:
    """Files that a recipe builds on, as far as they can be read; for who waits for changes.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> base_files(example_recipe().path)
    []
    """
    found: list[Path] = []
    current = path
    while len(found) < _MOST_BASES:
        try:
            said = parse_toml(read_text(current), str(current)).get(_BASED_ON)
        except RecipeError:
            break
        if not isinstance(said, str) or not said or "\0" in said:
            break
        current = plain(current.parent / said)
        if any(is_same_file(current, other) for other in (path, *found)):
            break
        found.append(current)
    return found


def is_same_file(one: Path, other: Path) -> bool:
    """Whether two paths lead to one file, whether it is there or not."""
    return os.path.realpath(one) == os.path.realpath(other)


class _Gathering:
    """One recipe, and the files that it builds on, one after the other."""

    def __init__(self, recipe: Path, known: Mapping[str, str] | None) -> None:
        self.recipe, self.known = recipe, known

    def of(
        self, tree: dict[str, Any], origins: Origins, folder: PurePath, above: tuple[Path, ...]
    ) -> Gathered:
        """Gather a file's values with those of what it builds on.

        `folder` is the file's own as the recipe names it, `above` the files from the recipe down
        to it.
        """
        said = self._named(tree[_BASED_ON], origins)
        file = plain(above[-1].parent / said)
        self._refuse_cycle(file, origins, above)
        name = PurePath(os.path.normpath(folder / said)).as_posix()
        base = Base(file, name, self._text(file, name, origins))
        below = Gathered(parse_toml(base.text, str(file)), Origins(str(file), map_lines(base.text)))
        if _BASED_ON in below.tree:
            inner = (folder / said).parent
            below = self.of(below.tree, below.origins, inner, (*above, file))
        inherited = moved_to(below.tree, PurePath(said).parent)
        inherited.pop(_BASED_ON, None)
        laid = laid_over(inherited, copy.deepcopy(tree))
        return Gathered(
            laid.tree,
            Origins(origins.file, origins.lines, _left(below.origins, laid.replaced)),
            (base, *below.bases),
            (*below.faults, *(_nothing_to_drop(origins, place, file) for place in laid.unknown)),
        )

    def _named(self, said: Any, origins: Origins) -> str:
        if isinstance(said, str) and said.strip() and "\0" not in said:
            return said
        allowed = "expected the name of a recipe, relative to this one"
        raise RecipeError(_fault(origins, f"found {shown(said)}", allowed))

    def _refuse_cycle(self, file: Path, origins: Origins, above: tuple[Path, ...]) -> None:
        if len(above) > _MOST_BASES:
            raise RecipeError(_fault(origins, f"more than {_MOST_BASES} files build on each other"))
        for number, other in enumerate(above):
            if is_same_file(file, other):
                way = " -> ".join(one.name for one in (*above[number:], file))
                hint = "let one of them stand on its own, without based_on"
                raise RecipeError(_fault(origins, f"the recipe builds on itself: {way}", "", hint))

    def _text(self, file: Path, name: str, origins: Origins) -> str:
        if self.known is not None:
            if name not in self.known:
                raise RecipeError(_fault(origins, f"{name} was not kept with it"))
            return self.known[name]
        if not file.exists():
            missing = missing_recipe(file)
            raise RecipeError(_fault(origins, f"there is no file {file}", "", missing))
        return read_text(file)


def plain(file: Path) -> Path:
    """Give a path without '..' on the way, unless a link makes that another file."""
    plain = Path(os.path.normpath(file))
    return plain if is_same_file(plain, file) else file


def _left(below: Origins, replaced: set[Place]) -> dict[Place, tuple[str, int]]:
    """Give the spots of what is inherited and was not replaced."""
    spots = below.inherited | {
        place: (below.file, line) for place, line in below.lines.lines.items()
    }
    return {
        place: spot
        for place, spot in spots.items()
        if not any(place[:depth] in replaced for depth in range(1, len(place) + 1))
    }


def _fault(origins: Origins, found: str, allowed: str = "", hint: str = "") -> Fault:
    file, line = origins.spot((_BASED_ON,))
    return Fault(file, _BASED_ON, found, allowed, hint, line)


def _nothing_to_drop(origins: Origins, place: Place, base: Path) -> Fault:
    file, line = origins.spot(place)
    found = f'found "none", but {base.name} has none of this name that could be dropped'
    return Fault(file, dotted(place), found, hint="take the line out", line=line)
