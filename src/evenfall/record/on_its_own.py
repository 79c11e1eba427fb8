"""One-off changes under which a recipe's text makes its pictures without other views."""

from __future__ import annotations

from collections.abc import Iterable

from evenfall.recipe import Recipe
from evenfall.recipe.places import Place, dotted

__all__ = ["on_their_own", "pinned"]


def on_their_own(recipe: Recipe, moods: Iterable[str]) -> tuple[str, ...]:
    """Give the changes under which moods need no other view, which an embedded text does not hold.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    moods : iterable of str
        Moods that the text holds.
    """
    if not recipe.exposed_as:
        return ()
    said_of = recipe.model.moods
    cameras = {("moods", name): said_of[name].camera for name in moods if name in said_of}
    said = [place for place, camera in cameras.items() if camera is not None and camera.as_in]
    places: list[Place] = [*(((),) if recipe.model.camera.as_in else ()), *said]
    return tuple(f"{dotted((*place, 'camera', 'as_in'))}=none" for place in places)


def pinned(mood: str, exposure_stops: float) -> tuple[str, str]:
    """Give the changes that expose a mood by so many stops, whatever is metered.

    Examples
    --------
    >>> pinned("dusk", 1.5)
    ('moods.dusk.camera.meter=off', 'moods.dusk.camera.exposure_stops=1.5')
    """
    place = dotted(("moods", mood, "camera"))
    return f"{place}.meter=off", f"{place}.exposure_stops={exposure_stops!r}"
