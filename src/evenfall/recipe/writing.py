"""A recipe's text edited: one value changed, everything else as the person wrote it."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import tomlkit
from tomlkit.container import Container, OutOfOrderTableProxy
from tomlkit.items import AoT, Array, InlineTable, Item, Table

from evenfall.errors import Fault, UsageError
from evenfall.recipe.changes import put
from evenfall.recipe.places import Place, dotted, parse_place
from evenfall.recipe.reading import parse_toml
from evenfall.recipe.renaming import with_key_renamed, with_value_replaced
from evenfall.recipe.shorthand import is_light_setting, replaced_by
from evenfall.recipe.toml_values import toml_text

__all__ = ["remove_value", "set_value", "set_values"]


def set_value(text: str, place: str | Place, value: Any) -> str:
    r"""Set a value in the text of a recipe; comments, order and other lines stay as they are.

    Parameters
    ----------
    text : str
        A recipe.
    place : str or Place
        Where, such as ``moods.dusk.lights.sun.stops``. A gain or tint takes the place of the one
        that stood there; a short form such as ``sun = "off"`` becomes a table when it has to.
    value : bool, int, float, str, date, list or dict
        What to put there.

    Raises
    ------
    RecipeError
        When the text is not TOML.
    UsageError
        When the place cannot be reached, or the text is laid out in a way that cannot be edited
        without harm.

    Examples
    --------
    >>> print(set_value('[moods.dusk.lights]\nsun = "off"  # gone\n',
    ...                 "moods.dusk.lights.sun.stops", -1))
    [moods.dusk.lights]
    sun = { stops = -1 }  # gone
    """
    steps = parse_place(place) if isinstance(place, str) else place
    expected = parse_toml(text, "recipe")
    inherits = "based_on" in expected
    try:
        put(expected, steps, copy.deepcopy(value), may_be_inherited=inherits)
    except LookupError as error:
        raise UsageError(Fault("", dotted(steps), *error.args)) from None
    for way in (with_value_replaced, with_key_renamed):
        edited = way(text, steps, value)
        if edited is not None and _says(edited, expected):
            return edited
    ways = [partial(_set, place=steps, expected=expected, headed=way) for way in (True, False)]
    return _edited(text, expected, steps, ways)


def set_values(text: str, values: Sequence[tuple[Place, Any]]) -> str:
    r"""Set several values one after the other; as `set_value`, and quicker.

    Raises
    ------
    RecipeError, UsageError
        As `set_value`.

    Examples
    --------
    >>> print(set_values("quality = 80  # good\n", [(("quality",), 90), (("title",), "a")]))
    quality = 90  # good
    title = "a"
    <BLANKLINE>
    """
    if len(values) == 1:
        return set_value(text, *values[0])
    expected = parse_toml(text, "recipe")
    inherits = "based_on" in expected
    document = tomlkit.parse(text)
    try:
        for place, value in values:
            if with_key_renamed(text, place, value) is not None:
                break
            put(expected, place, copy.deepcopy(value), may_be_inherited=inherits)
            _set(document, place, expected, headed=True)
        else:
            edited = _with_line_ends_of(text, tomlkit.dumps(document))
            if _says(edited, expected):
                return edited
    except Exception:  # whatever it is, one by one it is told, or done another way
        pass
    for place, value in values:
        text = set_value(text, place, value)
    return text


def remove_value(text: str, place: str | Place) -> str:
    r"""Take a value out of the text of a recipe; other lines stay as they are.

    A table in braces that becomes empty goes, too. Nothing happens when nothing is there.

    Raises
    ------
    RecipeError, UsageError
        As `set_value`.

    Examples
    --------
    >>> remove_value("title = 'a'\nquality = 80\n", "quality")
    "title = 'a'\n"
    """
    steps = parse_place(place) if isinstance(place, str) else place
    expected = parse_toml(text, "recipe")
    steps = _removable(expected, steps)
    if not steps:
        return text
    parent = _at(expected, steps[:-1])
    del parent[steps[-1]]
    return _edited(text, expected, steps, [partial(_remove, place=steps, expected=expected)])


def _removable(tree: Any, place: Place) -> Place:
    """Return the place to take out, higher up when a table would be left empty; () for none."""
    try:
        _at(tree, place)
    except (LookupError, TypeError):
        return ()
    while len(place) > 1 and is_light_setting(place[:-1]) and len(_at(tree, place[:-1])) == 1:
        place = place[:-1]
    return place


def _edited(
    text: str,
    expected: dict[str, Any],
    place: Place,
    ways: Sequence[Callable[[Container], None]],
) -> str:
    """Edit a text, the first way after which it says what is expected and nothing else."""
    for edit in ways:
        document = tomlkit.parse(text)
        try:
            edit(document)
            edited = _with_line_ends_of(text, tomlkit.dumps(document))
            if _says(edited, expected):
                return edited
        except Exception:  # whatever a layout does to the library, the text is not touched
            continue
    found = "cannot be changed here without harm to the rest of the recipe"
    raise UsageError(Fault("", dotted(place), found, hint="change it in a text editor"))


def _says(text: str, expected: dict[str, Any]) -> bool:
    return bool(_filled(parse_toml(text, "recipe")) == _filled(expected))


def _filled(value: Any) -> Any:
    """Leave out empty tables, which a layout with dotted keys cannot hold."""
    if isinstance(value, dict):
        inner = {key: _filled(item) for key, item in value.items()}
        return {key: item for key, item in inner.items() if item != {}}
    return [_filled(item) for item in value] if isinstance(value, list) else value


def _with_line_ends_of(text: str, edited: str) -> str:
    if "\r\n" in text and not re.search(r"(?<!\r)\n", text):
        return re.sub(r"(?<!\r)\n", "\r\n", edited)
    return edited


def _set(document: Container, place: Place, expected: dict[str, Any], headed: bool) -> None:
    parent, depth = _lowest_open(document, place)
    step = place[depth]
    value = _at(expected, place[: depth + 1])
    if depth == len(place) - 1:
        for key in replaced_by(place):
            if key in parent:
                parent.remove(key)
    parent[step] = _item(value, place[: depth + 1], headed=headed and not _holds(parent, step))


def _remove(document: Container, place: Place, expected: dict[str, Any]) -> None:
    parent, depth = _lowest_open(document, place)
    if isinstance(parent, InlineTable):  # written anew, or the key would leave its space behind
        depth -= 1
        parent = _at(document, place[:depth])
    step = place[depth]
    if depth == len(place) - 1:
        del parent[step]
    else:
        parent[step] = _item(_at(expected, place[: depth + 1]), place[: depth + 1], headed=False)


def _lowest_open(document: Container, place: Place) -> tuple[Any, int]:
    """Return the lowest table or list on the way that is edited entry by entry, and its depth."""
    parent: Any = document
    for depth, step in enumerate(place[:-1]):
        if not _holds(parent, step):
            return parent, depth
        child = parent[step]
        if isinstance(child, InlineTable):
            return _in_line(parent, child, place, depth)
        if not isinstance(child, Table | AoT | Array | OutOfOrderTableProxy):
            return parent, depth
        parent = child
    return parent, len(place) - 1


def _in_line(above: Any, table: InlineTable, place: Place, depth: int) -> tuple[Any, int]:
    """Go on into a table in braces only where one of its values is replaced by another.

    Its spacing then stays; what adds or removes a key writes the whole table anew.
    """
    parent: Any = table
    inner = depth + 1
    while inner < len(place) - 1 and isinstance(parent.get(place[inner]), InlineTable):
        parent, inner = parent[place[inner]], inner + 1
    step = place[inner]
    replaced = step in parent and not any(key in parent for key in replaced_by(place))
    return (parent, inner) if replaced and inner == len(place) - 1 else (above, depth)


def _holds(parent: Any, step: str | int) -> bool:
    return step < len(parent) if isinstance(step, int) else step in parent


def _at(tree: Any, place: Place) -> Any:
    for step in place:
        tree = tree[step]
    return tree


def _item(value: Any, place: Place, *, headed: bool) -> Item:
    """Make the item for a value; a table with a heading if asked, but for a light's setting."""
    in_a_list = any(isinstance(step, int) for step in place)
    if headed and isinstance(value, dict) and not is_light_setting(place) and not in_a_list:
        table = tomlkit.table()
        for key, inner in value.items():
            table[key] = _item(inner, (*place, key), headed=False)
        return table
    item: Item = tomlkit.parse(f"value = {toml_text(value)}\n")["value"]
    return item
