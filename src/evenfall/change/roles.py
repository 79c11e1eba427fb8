"""Roles as names: "fixtures" are all lights of that role, where nothing else has the name."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from evenfall.recipe import Recipe
from evenfall.recipe.lights import Role

__all__ = ["OfRole", "role_names"]

_WORDS: Mapping[Role, tuple[str, str]] = {
    "key": ("key", "keys"),
    "fill": ("fill", "fills"),
    "sky": ("sky", "skies"),
    "fixture": ("fixture", "fixtures"),
    "outdoor fixture": ("outdoor fixture", "outdoor fixtures"),
    "glow": ("glow", "glows"),
}


@dataclass(frozen=True)
class OfRole:
    """Several lights of a role that no group holds.

    Parameters
    ----------
    name : str
        The role, as several lights of it are called.
    parts : mapping of str to tuple of str
        The lights by the groups that they fill, and by themselves.
    """

    name: str
    parts: Mapping[str, tuple[str, ...]]

    @property
    def lights(self) -> tuple[str, ...]:
        """All of them."""
        return tuple(light for some in self.parts.values() for light in some)


def role_names(recipe: Recipe) -> dict[str, str | OfRole]:
    """Give what words for roles mean: a light, the group that holds just these lights, or several.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> role_names(example_recipe())["fixtures"]
    'lamp'
    """
    found: dict[str, str | OfRole] = {}
    for role, words in _WORDS.items():
        lights = [name for name, one in recipe.model.lights.items() if one.role == role]
        parts = _parts(lights, recipe.model.groups)
        if parts:
            whole = next(iter(parts)) if len(parts) == 1 else OfRole(words[1], parts)
            found |= dict.fromkeys(words, whole)
    return found


def _parts(
    lights: Collection[str], groups: Mapping[str, tuple[str, ...]]
) -> dict[str, tuple[str, ...]]:
    """Part lights into groups, the largest first, and single ones."""
    left, parts = dict.fromkeys(lights), {}
    for name, members in sorted(groups.items(), key=lambda one: -len(one[1])):
        if members and set(members) <= left.keys():
            parts[name] = members
            left = {light: None for light in left if light not in members}
    return parts | {light: (light,) for light in left}
