"""Exposure that is taken from another view, measured there."""

from __future__ import annotations

from contextvars import Context
from dataclasses import replace

from evenfall.camera.state import Taken
from evenfall.develop.asked import Asked
from evenfall.develop.engine import measure_elsewhere
from evenfall.develop.shelf import Shelf
from evenfall.system.opened import Openings, listening, note_opened

__all__ = ["exposure_taken"]

_BYTES_OF_A_NUMBER = 64


def exposure_taken(elsewhere: Asked, mood: str, shelf: Shelf) -> Taken:
    """Give the exposure of a mood of another view.

    Whoever listens hears of the files that it was measured from, which are nobody's passes here.

    Parameters
    ----------
    elsewhere : Asked
        What the other view's recipe says.
    mood : str
        Name of the mood there.
    shelf : Shelf
        Where it is kept for a later call.

    Raises
    ------
    RecipeError, PassError, PixelSourceError
        When it cannot be measured there.
    """
    recipe = elsewhere.recipe
    texts = recipe.text, tuple(sorted(recipe.other_texts.items()))
    key = "exposure taken", str(recipe.path), texts, recipe.changes, mood
    return shelf.get(key, lambda: _measured(elsewhere, mood), lambda _: _BYTES_OF_A_NUMBER)


def _measured(elsewhere: Asked, mood: str) -> Taken:
    taken, openings = Context().run(_heard, elsewhere, mood)
    note_opened(*(replace(opened, light="") for opened in openings))
    return taken


def _heard(elsewhere: Asked, mood: str) -> tuple[Taken, Openings]:
    with listening() as openings:
        measuring = measure_elsewhere(elsewhere.metered or elsewhere, [mood])
        camera = measuring.camera(mood)
    return Taken(camera.exposure_factor, measuring.luminance_scale, camera.notes), openings
