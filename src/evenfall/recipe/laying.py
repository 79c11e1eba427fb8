"""Values of one file laid over those of the file that it builds on."""

from __future__ import annotations

import copy
from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Any

from evenfall.recipe.areas import Area
from evenfall.recipe.base import NamesFile
from evenfall.recipe.files import lies_in_passes
from evenfall.recipe.gains import Match
from evenfall.recipe.look import Cdl
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import Place
from evenfall.recipe.shorthand import is_light_setting, opened, replaced_by
from evenfall.recipe.words.describing import parts_at, slots_at

__all__ = ["Laid", "is_whole", "laid_over", "moved_to"]

_WHOLE = (Area, Cdl, Match)
_NAMED = ("lights", "groups", "moods")
_FOLDER: Place = ("passes", "folder")


@dataclass
class Laid:
    """What came of laying values over others.

    Parameters
    ----------
    tree : dict
        The values.
    replaced : set of Place
        Places of what lay below that is gone, with everything inside.
    unknown : list of Place
        Places that were to be dropped, where nothing lay.
    """

    tree: dict[str, Any]
    replaced: set[Place] = field(default_factory=set)
    unknown: list[Place] = field(default_factory=list)


def laid_over(below: dict[str, Any], above: dict[str, Any]) -> Laid:
    """Lay values over others, which are filled in place.

    Tables are merged; lists, areas, CDLs, ratios and other tone curves are replaced as a whole.
    ``"none"`` drops a light, a group or a mood, with what lies below speaking of it.

    Examples
    --------
    >>> house = {"moods": {"dusk": {"lights": {"sun": "off", "lamp": {"kelvin": 2700}}}}}
    >>> laid_over(house, {"moods": {"dusk": {"lights": {"lamp": -1}}}}).tree["moods"]["dusk"]
    {'lights': {'sun': 'off', 'lamp': {'kelvin': 2700, 'stops': -1}}}
    """
    laid = Laid(below)
    for table in _NAMED:
        said = _table(above, table)
        for name in [key for key, value in said.items() if value == "none"]:
            del said[name]
            _drop(laid, table, name)
    _lay(laid, below, above, ())
    return laid


def is_whole(place: Place) -> bool:
    """Whether the table at a place is taken over or replaced as a whole."""
    return any(issubclass(part, _WHOLE) for part in parts_at(place, RecipeModel))


def _lay(laid: Laid, below: dict[str, Any], above: dict[str, Any], place: Place) -> None:
    for key in above:
        for other in replaced_by((*place, key)) if below else ():
            if other in below:
                del below[other]
                laid.replaced.add((*place, other))
    for key, said in above.items():
        where, old = (*place, key), below.get(key)
        value = _as_table(where, said, old) if is_light_setting(where) else said
        old = _as_table(where, old, value)
        if is_light_setting(where):
            below.pop(key, None)  # of groups that overlap, what is said last counts
        if isinstance(value, dict) and isinstance(old, dict) and _goes_on(where, old, value):
            below[key] = old
            _lay(laid, old, value, where)
        else:
            if old is not None:
                laid.replaced.add(where)
            below[key] = value


def _as_table(place: Place, value: Any, other: Any) -> Any:
    """Write a short form out where the other of two values is a table."""
    if isinstance(other, dict) and isinstance(value, str | int | float):
        return opened(place, value) or value
    return value


def _goes_on(place: Place, old: dict[str, Any], new: dict[str, Any]) -> bool:
    """Whether a table is merged with what lies below, key by key."""
    if place[-2:] == ("look", "tone") and "curve" in new:
        return bool(new["curve"] == old.get("curve"))
    return not is_whole(place)


def _drop(laid: Laid, table: str, name: str) -> None:
    known = laid.tree.get(table)
    if not isinstance(known, dict) or name not in known:
        laid.unknown.append((table, name))
        return
    del known[name]
    laid.replaced.add((table, name))
    if table == "moods":
        _drop_mood(laid, name)
        return
    gone = {name}
    for group, lights in list(_table(laid.tree, "groups").items()) if table == "lights" else ():
        if isinstance(lights, list) and name in lights:
            lights[:] = [light for light in lights if light != name]
            if not lights:
                del laid.tree["groups"][group]
                gone.add(group)
    for mood in _table(laid.tree, "moods").values():
        if isinstance(mood, dict):
            _drop_from_mood(mood, gone)
    for camera in [laid.tree.get("camera"), *_cameras(laid.tree)]:
        _drop_from_list(_table(camera, "meter"), "of", gone)


def _drop_mood(laid: Laid, name: str) -> None:
    deliverables = laid.tree.get("deliverables")
    if not isinstance(deliverables, list):
        return
    laid.tree["deliverables"] = [
        each
        for each in deliverables
        if not (isinstance(each, dict) and each.get("moods") == [name])  # it was for this alone
    ]
    for each in laid.tree["deliverables"]:
        _drop_from_list(each, "moods", {name})


def _drop_from_list(table: Any, key: str, gone: Collection[str]) -> None:
    said = table.get(key) if isinstance(table, dict) else None
    if isinstance(said, list):
        left = [one for one in said if one not in gone]
        table[key] = left or said  # with nothing left, it is for a person to say what instead


def _cameras(tree: dict[str, Any]) -> list[Any]:
    return [_table(mood, "camera") for mood in _table(tree, "moods").values()]


def _drop_from_mood(mood: dict[str, Any], gone: Collection[str]) -> None:
    daylight, regions = mood.get("daylight"), mood.get("regions")
    for table in (mood, *(regions if isinstance(regions, list) else ())):
        lights = _table(table, "lights")
        for name in gone:
            lights.pop(name, None)
    if isinstance(daylight, dict):
        for key in ("sun", "sky"):
            if daylight.get(key) in gone:
                del daylight[key]
        if not daylight.keys() & {"sun", "sky"}:
            del mood["daylight"]


def _table(tree: Any, key: str) -> dict[str, Any]:
    found = tree.get(key) if isinstance(tree, dict) else None
    return found if isinstance(found, dict) else {}


def moved_to(tree: dict[str, Any], folder: PurePath) -> dict[str, Any]:
    """Give values as they are said from another folder; names of passes stay as they are.

    Parameters
    ----------
    tree : dict
        Values of a file.
    folder : PurePath
        Where that file lies, as seen from there.

    Examples
    --------
    >>> moved_to({"passes": {"folder": "passes"}}, PurePath("..", "house"))
    {'passes': {'folder': '../house/passes'}}
    """
    if folder == PurePath():
        return copy.deepcopy(tree)
    moved: dict[str, Any] = _moved(tree, (), folder)
    return moved


def _moved(value: Any, place: Place, folder: PurePath) -> Any:
    if isinstance(value, dict):
        return {key: _moved(inner, (*place, key), folder) for key, inner in value.items()}
    if isinstance(value, list):
        mark = _mark(place)
        if mark is not None:
            return [_renamed(inner, mark, folder) for inner in value]
        return [_moved(inner, (*place, index), folder) for index, inner in enumerate(value)]
    mark = _mark(place) if isinstance(value, str) else None
    return value if mark is None else _renamed(value, mark, folder)


def _mark(place: Place) -> NamesFile | None:
    """Give the mark of a key that names files beside the recipe, or the passes' folder."""
    if place == _FOLDER:
        return NamesFile("picture")
    marks = (each for slot in slots_at(place, RecipeModel) for each in slot.metadata)
    mark = next((each for each in marks if isinstance(each, NamesFile)), None)
    return None if mark is None or lies_in_passes(mark.use) else mark


def _renamed(name: Any, mark: NamesFile, folder: PurePath) -> Any:
    if not isinstance(name, str) or not name or (mark.unless and name.startswith(mark.unless)):
        return name
    if mark.use == "view" and name == "none":
        return name
    return (folder / name).as_posix()
