"""Views whose exposure a recipe takes over, mood by mood: `camera.as_in`.

The exposure is taken whole, from the mood of the same name. So what is said of a meter, of settings
or of stops counts in the view that is named, and a word of it that is only said here is told.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from evenfall.errors import Fault, RecipeError
from evenfall.recipe.changes import Change
from evenfall.recipe.inheriting import Base, Gathered, base_files, gather, is_same_file, plain
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import Place, dotted
from evenfall.recipe.reading import missing_recipe, parse_toml, read_text
from evenfall.recipe.resolve import ResolvedMood, chain
from evenfall.recipe.words.suggesting import did_you_mean

if TYPE_CHECKING:
    from evenfall.recipe.recipe import Recipe

__all__ = ["ExposedAs", "Views", "names_of_views", "views_of", "without_itself"]

_AS_IN = "as_in"
_EXPOSED_BY = ("meter", "settings", "exposure_stops")
_MOST_VIEWS = 16


def names_of_views(tree: Mapping[str, Any]) -> dict[Place, str]:
    """Give the views that a tree of values names, by place.

    Examples
    --------
    >>> names_of_views({"camera": {"as_in": "living.toml"}, "moods": {"dusk": "none"}})
    {('camera', 'as_in'): 'living.toml'}
    """
    moods = tree.get("moods")
    tables: dict[Place, Any] = {("camera",): tree.get("camera")}
    for name, mood in moods.items() if isinstance(moods, dict) else ():
        tables["moods", name, "camera"] = mood.get("camera") if isinstance(mood, dict) else None
    found = {
        (*place, _AS_IN): table.get(_AS_IN)
        for place, table in tables.items()
        if isinstance(table, dict)
    }
    return {
        place: said
        for place, said in found.items()
        if isinstance(said, str) and said.strip() and "\0" not in said and said != "none"
    }


def without_itself(gathered: Gathered, path: Path) -> None:
    """Take out where a shared file names this very view, or is read itself.

    Both then are exposed by what they say.
    """
    for place, said in names_of_views(gathered.tree).items():
        other = plain(path.parent / said)
        is_inherited = place not in gathered.origins.lines.lines
        is_itself = is_inherited and is_same_file(other, path)
        if is_itself or any(is_same_file(base, path) for base in base_files(other)):
            table: Any = gathered.tree
            for step in place[:-1]:
                table = table[step]
            del table[_AS_IN]


def views_of(
    gathered: Gathered, path: Path, known: Mapping[str, str] | None = None
) -> tuple[Base, ...]:
    """Give the views that a recipe is exposed as in, and what they build on, as they stand.

    Those that are not there or cannot be read are left out, as `Views` tells them.

    Parameters
    ----------
    gathered : Gathered
        The recipe's values.
    path : Path
        Its file.
    known : mapping of str to str, optional
        Texts of these files, by their path from the recipe's folder.
    """
    found: dict[str, Base] = {}
    waiting = [(gathered, PurePath(), path)]
    while waiting and len(found) < _MOST_VIEWS:
        values, folder, file = waiting.pop(0)
        for said in dict.fromkeys(names_of_views(values.tree).values()):
            other, name = plain(file.parent / said), _name(folder, said)
            if name in found or is_same_file(other, path):
                continue
            try:
                text = _text(other, name, known)
                inner = gather(parse_toml(text, str(other)), text, other, known=_below(known, name))
            except RecipeError:
                continue
            without_itself(inner, other)
            within = (folder / said).parent
            found[name] = Base(other, name, text)
            for base in inner.bases:
                below = _name(within, base.name)
                found.setdefault(below, Base(base.path, below, base.text))
            waiting.append((inner, within, other))
    own = {base.name for base in gathered.bases}
    return tuple(base for name, base in found.items() if name not in own)


def _name(folder: PurePath, said: str) -> str:
    return PurePath(os.path.normpath(folder / said)).as_posix()


def _text(file: Path, name: str, known: Mapping[str, str] | None) -> str:
    if known is not None and name in known:
        return known[name]
    return read_text(file)


def _below(known: Mapping[str, str] | None, name: str) -> dict[str, str] | None:
    """Give texts by their path as another recipe sees them."""
    if known is None or name not in known:
        return None
    folder = PurePath(name).parent
    return {PurePath(os.path.relpath(one, folder)).as_posix(): text for one, text in known.items()}


@dataclass(frozen=True)
class ExposedAs:
    """The exposure of a mood, as another view has it.

    Parameters
    ----------
    view : Recipe
        The other view, whose mood of the same name counts.
    name : str
        What the recipe calls it.
    """

    view: Recipe
    name: str


class Views:
    """The views that one recipe is exposed as in, each read once.

    Parameters
    ----------
    gathered : Gathered
        The recipe's values.
    path : Path
        Its file.
    changes : sequence of Change
        One-off changes.
    load : callable
        Gives the recipe of a file, from its text, path, known texts and the views above it.
    known : mapping of str to str, optional
        As for `views_of`.
    above : tuple of Path
        Views that take their exposure from this one.
    """

    def __init__(
        self,
        gathered: Gathered,
        path: Path,
        changes: Sequence[Change],
        load: Callable[..., Recipe],
        *,
        known: Mapping[str, str] | None,
        above: tuple[Path, ...],
    ) -> None:
        self.gathered, self.path, self.changes, self._load = gathered, path, changes, load
        self.known, self.above = known, (*above, path)
        self._read: dict[str, Recipe | None] = {}
        self.faults: list[Fault] = []

    def of(self, model: RecipeModel, moods: Mapping[str, ResolvedMood]) -> dict[str, ExposedAs]:
        """Give the exposures that moods take; faults are gathered."""
        found = {}
        for name, mood in moods.items():
            said = mood.camera.as_in
            if said is None or mood.between is not None:
                continue
            links = [each for each, _ in chain(model, name)]
            place = self._place(links)
            if said not in self._read:
                self._read[said] = self._view(said, place)
            view = self._read[said]
            if view is None:
                continue
            if name not in view.moods:
                hint = did_you_mean(name, list(view.moods))
                known = f"known are {', '.join(view.moods)}" if not hint else ""
                self._fault(place, f"{said} has no mood called {name!r}", known, hint or _OR_NONE)
                continue
            self._refuse_idle(links, name, said, view)
            found[name] = view.exposed_as.get(name, ExposedAs(view, said))
        self.faults = list(dict.fromkeys(self.faults))
        return found

    def _place(self, links: Sequence[str]) -> Place:
        """Where it is said that a mood is exposed as in another view."""
        named = names_of_views(self.gathered.tree)
        places = [("moods", each, "camera", _AS_IN) for each in reversed(links)]
        return next((place for place in places if place in named), ("camera", _AS_IN))

    def _view(self, said: str, place: Place) -> Recipe | None:
        file, name = plain(self.path.parent / said), _name(PurePath(), said)
        for number, other in enumerate(self.above):
            if is_same_file(file, other):
                way = " -> ".join(one.name for one in (*self.above[number:], file))
                hint = "let one of them have a meter of its own, without camera.as_in"
                self._fault(place, f"the exposure is taken in a circle: {way}", "", hint)
                return None
        if (self.known is None or name not in self.known) and not file.is_file():
            state = f"{file} is a folder" if file.is_dir() else f"there is no file {file}"
            self._fault(place, state, "", missing_recipe(file))
            return None
        try:
            text = _text(file, name, self.known)
            return self._load(text, file, known=_below(self.known, name), above=self.above)
        except RecipeError as error:
            found = f"{said} is not sound, and the exposure is taken from it"
            self._fault(place, found, "", "its faults are told, too")
            self.faults += error.faults
            return None

    def _refuse_idle(self, links: Sequence[str], mood: str, said: str, view: Recipe) -> None:
        """Tell of words about exposure that count neither here nor in the other view."""
        files = {os.path.realpath(one) for one in (view.path, *(base.path for base in view.bases))}
        tables: list[Place] = [("camera",), *(("moods", each, "camera") for each in links)]
        for place in ((*table, key) for table in tables for key in _EXPOSED_BY):
            if self._is_said_here(place, files):
                self._fault(
                    place,
                    f"has no effect: {mood} is exposed as in {said}",
                    "",
                    f"say it in {said}, or in a file that both build on; or {_OR_NONE}",
                )

    def _is_said_here(self, place: Place, files: set[str]) -> bool:
        if any(change.place[: len(place)] == place for change in self.changes):
            return True
        origins = self.gathered.origins
        if place in origins.lines.lines:
            return os.path.realpath(self.path) not in files
        spot = origins.inherited.get(place)
        return spot is not None and os.path.realpath(spot[0]) not in files

    def _fault(self, place: Place, found: str, allowed: str = "", hint: str = "") -> None:
        change = next((each for each in self.changes if each.place == place), None)
        file, line = (change.source, None) if change else self.gathered.origins.spot(place)
        self.faults.append(Fault(file, dotted(place), found, allowed, hint, line))


_OR_NONE = 'as_in = "none" gives the mood its own exposure'
