"""Single moods as arrays, for programs that use the library."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenfall.develop.checking import check_moods
from evenfall.develop.mixing import mix_alone, mix_and_expose, open_view
from evenfall.light.output_spaces import output_space
from evenfall.look.chain import build_chain
from evenfall.recipe import Recipe
from evenfall.recipe.choosing import choose_moods

__all__ = ["develop", "mix"]

Floats = npt.NDArray[np.float32]


def mix(recipe: Recipe, mood: str) -> Floats:
    """Mix one mood: the exact scene-linear sum of its passes, before the camera.

    Parameters
    ----------
    recipe : Recipe
        From `evenfall.load`.
    mood : str
        Name of the mood.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        R, G, B in the passes' primaries and units. Nothing is clipped: negative values and values
        over 65,504 are kept. NaN and infinite pixels of passes count as the recipe's
        `passes.repair.non_finite` says.

    Raises
    ------
    UsageError
        When there is no such mood.
    RecipeError, PassError
        When gains cannot be worked out, or passes cannot be used.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> day = mix(example_recipe(), "day")
    >>> day.shape, day.dtype
    ((32, 48, 3), dtype('float32'))
    """
    (name,) = choose_moods(recipe, [mood])
    return mix_alone(open_view(recipe), name).rgb()


def develop(recipe: Recipe, mood: str, *, space: str = "sRGB", draft: bool = False) -> Floats:
    """Develop one mood: what a run encodes, before it is made whole codes.

    Parameters
    ----------
    recipe : Recipe
        From `evenfall.load`.
    mood : str
        Name of the mood.
    space : str
        Output space: "sRGB", "Display P3", "Adobe RGB (1998) compatible" or "BT.709".
    draft : bool
        At the reduced size of drafts.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        Display-encoded values, 0 to 1, of the whole frame.

    Raises
    ------
    UsageError
        When there is no such mood or space.
    RecipeError, PassError, PixelSourceError
        When gains cannot be worked out, or passes or other pictures cannot be used.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> dusk = develop(example_recipe(), "dusk")
    >>> dusk.shape, bool(0 <= dusk.min() and dusk.max() <= 1)
    ((32, 48, 3), True)
    """
    (name,) = choose_moods(recipe, [mood])
    output = output_space(space)
    check_moods(recipe, [name])
    view = open_view(recipe, draft=draft)
    exposed = mix_and_expose(view, [name])
    chain = build_chain(
        recipe.moods[name].look,
        source=view.space,
        camera_matrix=exposed.cameras[name].matrix,
        output=output,
        size=view.size,
        recipe_folder=recipe.path.parent,
    )
    planes, additions = exposed.mixes[name].planes, exposed.additions(view, name)
    whole = chain.needs_whole or additions.any
    if whole:
        planes = chain.whole(planes, exposed.mixes[name].alpha, additions)
    encoded = chain.encode_rows(planes, 0, exposed=whole)
    return np.ascontiguousarray(np.moveaxis(encoded, 0, -1))
