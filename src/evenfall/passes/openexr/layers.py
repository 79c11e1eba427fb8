"""Which channels of a part make a picture, whatever the renderer called them.

A picture is a layer with red, green and blue, with luminance and chroma, or with one channel of
grey. The names that are understood: the part of a channel's name behind the last dot (or, where
all three colours are there, behind the last underscore, space, slash or colon) is R, G, B, A, red,
green, blue, alpha, Y, RY or BY in upper or lower case; what stands before it names the layer. A
channel that is alone in its part is grey whatever its name, unless the name says depth or such.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from evenfall.passes.openexr.parts import ExrPart

__all__ = ["Layer", "group_channels", "layers_of_part", "missing_colours"]

_ROLES = {
    "r": "R",
    "red": "R",
    "g": "G",
    "green": "G",
    "b": "B",
    "blue": "B",
    "a": "A",
    "alpha": "A",
    "y": "Y",
    "ry": "RY",
    "by": "BY",
}
_NOT_LIGHT = {"z", "zback", "depth", "id", "x", "u", "v", "n", "p"}
_LOOSE = re.compile(r"^(?P<layer>.+)[_ /:](?P<role>[^_ /:]+)$")


@dataclass(frozen=True)
class Layer:
    """One picture of a part: its names and its channels by role.

    Parameters
    ----------
    name, view : str
    roles : mapping of str to str
        Channel names by role: R, G, B or Y, RY, BY or Y alone; and A if there is alpha.
    """

    name: str
    view: str
    roles: Mapping[str, str]

    @property
    def channels(self) -> tuple[str, ...]:
        """Channel names, colour first, then alpha."""
        order = ("R", "G", "B", "Y", "RY", "BY", "A")
        return tuple(self.roles[role] for role in order if role in self.roles)


def group_channels(names: Iterable[str]) -> dict[str, dict[str, str]]:
    """Group channel names into layers; values are channel names by role.

    Examples
    --------
    >>> group_channels(["sun.R", "sun.G", "sun.B", "lamp.red", "lamp.green", "lamp.blue", "Z"])
    {'lamp': {'B': 'lamp.blue', 'G': 'lamp.green', 'R': 'lamp.red'}, 'sun': {'B': 'sun.B', ...}}
    """
    names = sorted(names)
    layers: dict[str, dict[str, str]] = {}
    loose: dict[str, dict[str, str]] = {}
    siblings: dict[str, set[str]] = {}
    for name in names:
        layer, _, last = name.rpartition(".")
        siblings.setdefault(layer, set()).add(last.lower())
        role = _ROLES.get(last.lower())
        if role is not None:
            _put(layers, layer, role, name)
        elif (match := _LOOSE.match(name)) and match["role"].lower() in _ROLES:
            _put(loose, match["layer"], _ROLES[match["role"].lower()], name)
    for layer, roles in loose.items():
        if {"R", "G", "B"} <= set(roles):
            layers.setdefault(layer, roles)
    found = {}
    for layer, roles in sorted(layers.items()):
        picture = _picture(roles, siblings.get(layer, set()))
        if picture:
            found[layer] = picture
    if not found and len(names) == 1:
        layer, _, last = names[0].rpartition(".")
        if last.lower() not in _NOT_LIGHT:
            found[layer] = {"Y": names[0]}
    return found


def missing_colours(names: Iterable[str]) -> str:
    """Name what a layer lacks that has some of R, G, B; empty if there is no such layer.

    Examples
    --------
    >>> missing_colours(["sun.R", "sun.G", "Z"])
    'sun.B'
    """
    layers: dict[str, set[str]] = {}
    for name in names:
        layer, dot, last = name.rpartition(".")
        layers.setdefault(layer + dot, set()).add(_ROLES.get(last.lower(), ""))
    lacking = [
        f"{layer}{colour}"
        for layer, roles in layers.items()
        if roles & set("RGB")
        for colour in "RGB"
        if colour not in roles
    ]
    return " and ".join(lacking) if len(lacking) < 3 else ""


def _put(layers: dict[str, dict[str, str]], layer: str, role: str, name: str) -> None:
    """Note a channel; the short upper-case spelling, which sorts first, wins a clash."""
    layers.setdefault(layer, {}).setdefault(role, name)


def _picture(roles: dict[str, str], siblings: set[str]) -> dict[str, str]:
    for wanted in (("R", "G", "B"), ("Y", "RY", "BY"), ("Y",)):
        if all(role in roles for role in wanted):
            if wanted == ("Y",) and "x" in siblings:  # a vector: position, normal, motion
                return {}
            keep = (*wanted, "A")
            return {role: name for role, name in roles.items() if role in keep}
    return {}


def layers_of_part(part: ExrPart) -> list[Layer]:
    """Pictures of a part, the unnamed layer and the first view first."""
    views = _views(part)
    found = []
    for layer, roles in group_channels(channel.name for channel in part.channels).items():
        name, view = layer, part.view
        if views:
            name, view = _split_view(layer, views)
        found.append(Layer(name, view, roles))
    return sorted(found, key=lambda layer: (views.index(layer.view) if views else 0, layer.name))


def _split_view(layer: str, views: list[str]) -> tuple[str, str]:
    """Names of layer and view, after "Storing Multi-View Images", openexr.com.

    The component before the channel's own name is the view; without one it is the first view.
    """
    head, _, last = layer.rpartition(".")
    if last in views:
        return head, last
    return layer, views[0]


def _views(part: ExrPart) -> list[str]:
    kind, value = part.attributes.get("multiView", ("", b""))
    if kind != "stringvector":
        return []
    views, place = [], 0
    while place + 4 <= len(value):
        (length,) = struct.unpack_from("<i", value, place)
        if length < 0 or place + 4 + length > len(value):
            return []
        views.append(value[place + 4 : place + 4 + length].decode("utf-8", "backslashreplace"))
        place += 4 + length
    return views
