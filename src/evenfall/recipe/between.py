"""Values of a recipe between two keys: what a frame has of both.

Numbers go at an even pace, colour temperatures in mired (10^6/K), as steps of mired look about
equal. What has no values between (a curve of another kind, a LUT of another file) stays as in the
first key until the second is reached.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, TypeVar

from evenfall.recipe.base import Part
from evenfall.recipe.look import Cdl, Look, Lut
from evenfall.recipe.moods import Overlay, Plate, Region

__all__ = [
    "jumps_between",
    "kelvin_between",
    "look_between",
    "overlays_between",
    "plates_between",
    "regions_between",
]

PartT = TypeVar("PartT", bound=Part)


def kelvin_between(first: float, second: float, share: float) -> float:
    """Colour temperature between two: half way in mired.

    Examples
    --------
    >>> round(kelvin_between(2500, 10000, 0.5))  # 400 and 100 mired: 250
    4000
    """
    return 1.0 / ((1 - share) / first + share / second)


def look_between(first: Look, second: Look, share: float) -> Look:
    """Look between two.

    Examples
    --------
    >>> day, night = Look(grain={"strength": 0.1}), Look(grain={"strength": 0.3})
    >>> round(look_between(day, night, 0.25).grain.strength, 6)
    0.15
    """
    return _parts_between(first, second, share)


def plates_between(
    first: Plate | None, second: Plate | None, share: float
) -> tuple[tuple[Plate, float], ...]:
    """Plates of a frame with their weights; two pictures dissolve in linear light.

    Examples
    --------
    >>> day, dusk = Plate(file="day.jpg"), Plate(file="dusk.jpg", stops=-1)
    >>> [(plate.file, weight) for plate, weight in plates_between(day, dusk, 0.25)]
    [('day.jpg', 0.75), ('dusk.jpg', 0.25)]
    >>> plates_between(day, Plate(file="day.jpg", stops=-2), 0.5)[0][0].stops
    -1.0
    """
    if first is None or share == 0:
        return ((first, 1.0),) if first is not None and share == 0 else _with(second, share)
    if second is None:
        return _with(first, 1 - share)
    if _same_but(first, second, ("stops", "rgb", "light_wrap")):
        return ((_parts_between(first, second, share), 1.0),)
    return (*_with(first, 1 - share), *_with(second, share))


def overlays_between(
    first: tuple[Overlay, ...], second: tuple[Overlay, ...], share: float
) -> tuple[Overlay, ...]:
    """Cut-outs between two keys; those that only one of them has fade.

    Examples
    --------
    >>> person = Overlay(file="person.png")
    >>> [each.opacity for each in overlays_between((person,), (), 0.25)]
    [0.75]
    """
    if [each.file for each in first] == [each.file for each in second]:
        return tuple(_parts_between(*pair, share) for pair in zip(first, second, strict=True))
    return (
        *(one.model_copy(update={"opacity": one.opacity * (1 - share)}) for one in first),
        *(one.model_copy(update={"opacity": one.opacity * share}) for one in second),
    )


def regions_between(
    first: tuple[Region, ...], second: tuple[Region, ...], share: float
) -> tuple[Region, ...]:
    """Regions between two keys; those that only one of them has fade.

    Examples
    --------
    >>> left = Region(area={"rectangle": (0, 0, 0.5, 1)}, exposure_stops=1)
    >>> [each.exposure_stops for each in regions_between((left,), (), 0.25)]
    [0.75]
    """
    if [each.area for each in first] == [each.area for each in second]:
        return tuple(_region(one, two, share) for one, two in zip(first, second, strict=True))
    return (
        *(_region(one, Region(area=one.area), share) for one in first),
        *(_region(Region(area=two.area), two, share) for two in second),
    )


def _region(first: Region, second: Region, share: float) -> Region:
    names = dict.fromkeys((*first.lights, *second.lights))
    lights = {
        name: _number(first.lights.get(name, 0.0), second.lights.get(name, 0.0), share)
        for name in names
    }
    return _parts_between(
        first.model_copy(update={"lights": {}}), second.model_copy(update={"lights": {}}), share
    ).model_copy(update={"lights": lights})


def _with(plate: Plate | None, share: float) -> tuple[tuple[Plate, float], ...]:
    return () if plate is None or share == 0 else ((plate, share),)


def _same_but(first: Part, second: Part, keys: Iterable[str]) -> bool:
    return first.model_copy(update={key: getattr(second, key) for key in keys}) == second


def _parts_between(first: PartT, second: PartT, share: float) -> PartT:
    if share == 0 or first == second:
        return first
    values = {
        key: _between(key, getattr(first, key), getattr(second, key), share)
        for key in type(first).model_fields
    }
    return first.model_copy(update=values)


def _between(key: str, first: Any, second: Any, share: float) -> Any:
    if first == second or key == "seed":
        return first
    if key == "luts":
        return _luts_between(first, second, share)
    if first is None or second is None:
        return _fading(first, second, share)
    if isinstance(first, Part) and type(first) is type(second):
        return first if _has_other_file(first, second) else _parts_between(first, second, share)
    if key == "kelvin":
        return kelvin_between(first, second, share)
    if _is_number(first) and _is_number(second):
        return _number(first, second, share)
    if isinstance(first, tuple) and isinstance(second, tuple) and len(first) == len(second):
        if all(map(_is_number, (*first, *second))):
            return tuple(_number(one, two, share) for one, two in zip(first, second, strict=True))
        return first
    if isinstance(first, str) and first.startswith("#") and str(second).startswith("#"):
        return _hex_between(first, second, share)
    return first


def _fading(first: Any, second: Any, share: float) -> Any:
    """Something that only one key has: as strong as the frame is near to that key."""
    there = second if first is None else first
    weight = share if first is None else 1 - share
    if isinstance(there, Cdl):
        if there.file is not None:
            return first
        return _parts_between(Cdl(input=there.input, clamp=there.clamp), there, weight)
    if isinstance(there, Part) and "strength" in type(there).model_fields:
        strength = getattr(there, "strength") * weight  # noqa: B009  # of whatever part it is
        return there.model_copy(update={"strength": strength})
    return first


def _luts_between(first: tuple[Lut, ...], second: tuple[Lut, ...], share: float) -> tuple[Lut, ...]:
    if [_place_of(each) for each in first] == [_place_of(each) for each in second]:
        return tuple(_parts_between(*pair, share) for pair in zip(first, second, strict=True))
    return (
        *(one.model_copy(update={"strength": one.strength * (1 - share)}) for one in first),
        *(one.model_copy(update={"strength": one.strength * share}) for one in second),
    )


def _place_of(lut: Lut) -> tuple[str, str, str]:
    return lut.file, lut.place, lut.input


def _has_other_file(first: Part, second: Part) -> bool:
    return any(
        getattr(first, key, None) != getattr(second, key, None) for key in ("file", "config")
    )


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _number(first: float, second: float, share: float) -> float:
    return first * (1 - share) + second * share


def _hex_between(first: str, second: str, share: float) -> str:
    pairs = [(int(first[at : at + 2], 16), int(second[at : at + 2], 16)) for at in (1, 3, 5)]
    return "#" + "".join(f"{round(_number(one, two, share)):02x}" for one, two in pairs)


def jumps_between(first: Part, second: Part, place: str = "") -> list[str]:
    """Name what has no values between two keys, and so changes at once.

    Examples
    --------
    >>> jumps_between(Look(), Look(tone="clip"))
    ['tone']
    """
    found = []
    for key in type(first).model_fields:
        one, two = getattr(first, key), getattr(second, key)
        if one == two or key == "seed":
            continue
        half = _between(key, one, two, 0.5)
        where = f"{place}{key}"
        if isinstance(half, Part) and half != one and isinstance(one, Part):
            found += jumps_between(one, two, f"{where}.")
        elif half == one:
            found.append(where)
    return found
