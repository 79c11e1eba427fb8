"""Which parts of a light make all of it: the ways that their names allow.

Renderers split light in two ways, and in both at once: by how it came (direct, indirect) and by
what a surface did to it (diffuse, specular, and so on). The parts of one way add up; those of both
do not. Raw light, before the colour of surfaces, and shadows add up to nothing.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import TypeVar

from evenfall.survey.words import Component

__all__ = ["in_words", "ways_to_add_up"]

Key = TypeVar("Key", bound=Hashable)
Parts = frozenset[Component]

_HOW_IT_CAME: Parts = frozenset(("direct", "indirect"))
_NOT_ADDED: Parts = frozenset(("raw", "shadow"))
_ORDER: tuple[Component, ...] = (
    *("raw", "direct", "indirect", "lighting", "diffuse", "specular", "reflection", "refraction"),
    *("transmission", "subsurface", "coat", "sheen", "emission", "volume", "background", "shadow"),
)


def in_words(components: Parts) -> str:
    """Say in words which part of the light it is.

    Examples
    --------
    >>> in_words(frozenset(("diffuse", "indirect"))), in_words(frozenset(("shadow",)))
    ('indirect diffuse light', 'shadow')
    """
    words = [word for word in _ORDER if word in components]
    said = " ".join("light" if word == "lighting" else word for word in words)
    return (
        said
        if components <= {"shadow", "background"}
        else f"{said} light".replace("light light", "light")
    )


def ways_to_add_up(parts: Mapping[Key, Parts]) -> list[tuple[Key, ...]]:
    """Give the sets of parts that may make all of a light, the likeliest first.

    Examples
    --------
    >>> named = {"a": {"direct"}, "b": {"indirect"}, "c": {"diffuse"}, "d": {"specular"}}
    >>> ways_to_add_up({key: frozenset(words) for key, words in named.items()})
    [('a', 'b'), ('c', 'd'), ('a', 'b', 'c', 'd')]
    """
    added = {key: words for key, words in parts.items() if not words & _NOT_ADDED}
    ways: list[tuple[Key, ...]] = []
    came = {key: words for key, words in added.items() if words <= _HOW_IT_CAME}
    if set().union(*came.values()) == _HOW_IT_CAME and len(came) == len(_HOW_IT_CAME):
        ways.append(tuple(came))
    lobes = _by_surface({key: words for key, words in added.items() if key not in came})
    if lobes:
        ways.append(tuple(key for key in added if key in lobes))
        with_indirect = [key for key in added if key in lobes or "indirect" in added[key]]
        if any("lighting" in words for words in added.values()):
            ways.insert(0, tuple(with_indirect))
        elif not any("direct" in words for words in came.values()):
            ways.append(tuple(with_indirect))
    ways.append(tuple(added))
    return [way for way in dict.fromkeys(ways) if way]


def _by_surface(parts: Mapping[Key, Parts]) -> Sequence[Key]:
    """One picture of what each kind of surface did, or its direct and its indirect half."""
    chosen: list[Key] = []
    by_lobe: dict[Parts, dict[Parts, Key]] = {}
    for key, words in parts.items():
        by_lobe.setdefault(words - _HOW_IT_CAME, {})[words & _HOW_IT_CAME] = key
    for ways in by_lobe.values():
        whole = ways.get(frozenset())
        chosen += [whole] if whole is not None else list(ways.values())
    return chosen
