"""From a tree of values to the model, with everything that is wrong with the tree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from evenfall.recipe.model import FORMAT_VERSION, RecipeModel
from evenfall.recipe.places import Place
from evenfall.recipe.words.findings import Finding, finding_of
from evenfall.recipe.words.hints import is_fixed_list

__all__ = ["Checked", "check_tree"]

_ECHOES = ("missing", "too_short", "value_error", "union_tag_not_found")
"""Complaints that removing a faulty value can cause."""

_STAND_IN = "?"
_STAND_INS: dict[str, Any] = {
    "format": FORMAT_VERSION,
    "lights": {_STAND_IN: {"file": _STAND_IN}},
    "moods": {_STAND_IN: {}},
}
"""What takes the place of a required table that has to be removed."""


class _Kept(list[Any]):
    """A list from which faulty entries were removed, and where the others stood."""

    def __init__(self, items: list[Any]) -> None:
        super().__init__(items)
        self.indices = list(range(len(items)))


@dataclass(frozen=True)
class Checked:
    """A tree after checking.

    Parameters
    ----------
    model : RecipeModel or None
        The model of what is sound in the tree; of all of it when there are no findings.
    findings : list of Finding
        What is wrong, by place in the tree as given.
    tree : dict
        The tree that the model was made from.
    """

    model: RecipeModel | None
    findings: list[Finding]
    tree: dict[str, Any]

    def original(self, place: Place) -> Place:
        """Place in the tree as given of a place in the model."""
        return _walk(self.tree, place)[0]

    def is_doubtful(self, place: Place) -> bool:
        """Whether something was taken out of a table of the model."""
        original = self.original(place)
        return any(finding.place[: len(original)] == original for finding in self.findings)

    def is_stand_in(self, place: Place) -> bool:
        """Whether a place is in a table that only stands for one that had to be removed."""
        top = str(place[0])
        return top in self.tree and self.tree[top] is _STAND_INS.get(top)


def check_tree(tree: dict[str, Any]) -> Checked:
    """Validate a tree of plain values, and what is left of it after removing what is faulty.

    The model stops at the first rule that a table breaks; so faulty values are taken out and the
    rest is validated again, until the rest is sound and everything has been found.
    """
    pruned: dict[str, Any] = _copied(tree)
    findings: dict[Place, Finding] = {}
    while True:
        try:
            model = RecipeModel.model_validate(_frozen(pruned))
        except ValidationError as failure:
            faulty = _collect(failure.errors(include_url=False), pruned, findings)
            if _unknown_format(findings):
                return Checked(None, [findings[("format",)]], pruned)
            if not _prune(pruned, faulty):
                return Checked(None, list(findings.values()), pruned)
        else:
            return Checked(model, list(findings.values()), pruned)


def _unknown_format(findings: dict[Place, Finding]) -> bool:
    finding = findings.get(("format",))
    return finding is not None and finding.hint.startswith("update")


def _collect(
    errors: Sequence[ErrorDetails], tree: dict[str, Any], findings: dict[Place, Finding]
) -> list[Place]:
    """Word the errors that are news; return the places to take out, as they now stand."""
    located = [(error, *_placed(tree, error)) for error in errors]
    faulty = []
    lights = {name for key in ("lights", "groups") for name in _table(tree.get(key))}
    earlier = list(findings)
    for error, original, current in _deepest(located):
        faulty.append(current[:-1] if _is_absent(error) else current)
        echo = error["type"] in _ECHOES and any(
            place[: len(original)] == original for place in earlier
        )
        if not echo and original not in findings:
            findings[original] = finding_of(
                error, original, None if _is_absent(error) else _value_at(tree, current), lights
            )
    for place in _misspelt(findings):
        findings.pop(place, None)
    return faulty


def _table(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _placed(tree: Any, error: ErrorDetails) -> tuple[Place, Place]:
    """Place of an error, as `_walk`.

    An entry of a list of fixed length is a fault of the list; of a table of several kinds, it is
    the key that says which kind it is.
    """
    original, current = _walk(tree, error["loc"], _is_absent(error))
    if error["type"] == "union_tag_invalid" and isinstance(_value_at(tree, current), dict):
        key = error["ctx"]["discriminator"].strip("'")
        return (*original, key), (*current, key)
    if original and isinstance(original[-1], int) and is_fixed_list(original[:-1]):
        return original[:-1], current[:-1]
    return original, current


def _value_at(tree: Any, place: Place) -> Any:
    """Return the value at a place; LookupError when there is none."""
    for step in place:
        tree = tree[step]
    return tree


def _misspelt(findings: dict[Place, Finding]) -> list[Place]:
    """Places of missing keys that stand there under a misspelt name, which is reported."""
    return [(*place[:-1], finding.meant) for place, finding in findings.items() if finding.meant]


def _is_absent(error: ErrorDetails) -> bool:
    """Whether a key is missing; an entry missing from a list is a fault of the list."""
    return error["type"] == "missing" and isinstance(error["loc"][-1], str)


def _deepest(
    located: list[tuple[ErrorDetails, Place, Place]],
) -> list[tuple[ErrorDetails, Place, Place]]:
    """Of the complaints of a union's alternatives about one value, keep the one that got in."""
    kept = []
    for error, original, current in located:
        steps = len(error["loc"]) - len(original)
        shadowed = steps > 0 and any(
            len(other) > len(original) and other[: len(original)] == original
            for _, other, _ in located
        )
        if not shadowed:
            kept.append((error, original, current))
    return kept


def _walk(
    tree: Any, location: Sequence[str | int], last_is_missing: bool = False
) -> tuple[Place, Place]:
    """Follow a location of the model through the tree.

    Returns the place in the tree as given and in the tree as it is now; what the model adds for
    alternatives of a union is left out.
    """
    original: list[str | int] = []
    current: list[str | int] = []
    here = tree
    for depth, step in enumerate(location):
        missing = last_is_missing and depth == len(location) - 1
        if isinstance(here, dict) and isinstance(step, str):
            if step in here or missing:
                original.append(step)
                current.append(step)
                here = here.get(step)
        elif isinstance(here, list) and isinstance(step, int) and step < len(here):
            indices = here.indices if isinstance(here, _Kept) else range(len(here))
            original.append(indices[step])
            current.append(step)
            here = here[step]
    return tuple(original), tuple(current)


def _prune(tree: dict[str, Any], places: list[Place]) -> bool:
    """Take faulty values out, the deepest first; False when nothing could be taken out."""
    done = False
    for place in sorted(set(places), key=lambda place: (len(place), place), reverse=True):
        done |= _remove(tree, place)
    return done


def _remove(tree: dict[str, Any], place: Place) -> bool:
    if not place:
        missing = [key for key in _STAND_INS if key not in tree]
        tree.update({key: _STAND_INS[key] for key in missing})
        return bool(missing)
    try:
        parent: Any = _value_at(tree, place[:-1])
    except LookupError:  # gone already, with the list that held it
        return False
    last = place[-1]
    if isinstance(parent, list) and isinstance(last, int):
        if not isinstance(parent[last], dict):
            return _remove(tree, place[:-1])
        del parent[last]
        if isinstance(parent, _Kept):
            del parent.indices[last]
        return True
    if len(place) == 1 and last in _STAND_INS:
        tree[str(last)] = _STAND_INS[str(last)]
        return True
    return isinstance(parent, dict) and parent.pop(last, None) is not None


def _copied(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _copied(item) for key, item in value.items()}
    if isinstance(value, list):
        return _Kept([_copied(item) for item in value])
    return value


def _frozen(value: Any) -> Any:
    """Turn lists into tuples, which the model's strict fields take."""
    if isinstance(value, dict):
        return {key: _frozen(item) for key, item in value.items()}
    if isinstance(value, list):
        return tuple(_frozen(item) for item in value)
    return value
