"""What can be found wrong with the moods of a run before any pixel is read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.camera.state import camera_state
from evenfall.develop.asked import Asked
from evenfall.develop.opening import open_passes
from evenfall.develop.side_pictures import check_side_pictures
from evenfall.errors import Fault, PassError, PixelSourceError, RecipeError
from evenfall.look.checking import check_looks
from evenfall.recipe import ResolvedMood

if TYPE_CHECKING:
    from evenfall.light.primaries import RgbSpace

__all__ = ["MoodsChecked", "check_balances", "check_moods"]


@dataclass(frozen=True)
class MoodsChecked:
    """What came of checking moods.

    Parameters
    ----------
    unusable : mapping of str to PixelSourceError
        By mood: files beside the passes that cannot be used; empty unless told to keep going.
    looks : mapping of str to tuple of Path
        By mood: files that its look is made of.
    """

    unusable: Mapping[str, PixelSourceError]
    looks: Mapping[str, tuple[Path, ...]]


def check_moods(asked: Asked, moods: Sequence[str], *, keep_going: bool = False) -> MoodsChecked:
    """Check the meters, ratios, looks and side pictures of moods; the passes need not be there.

    Parameters
    ----------
    asked : Asked
        What the recipe says.
    moods : sequence of str
        Names of moods.
    keep_going : bool
        True: files beside the passes that cannot be used are told, by mood, instead of raised.

    Raises
    ------
    RecipeError
        When there is nothing to meter, a light is matched to one that is off, or a look asks for
        what is not there; with every fault of every mood, those of files included.
    PixelSourceError
        When only files are at fault.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> check_moods(Asked(example_recipe()), ["day", "dusk"]).looks
    {'day': (), 'dusk': ()}
    """
    faults: list[Fault] = []
    concerned = dict.fromkeys(moods)
    for mood in moods:
        try:
            concerned |= dict.fromkeys(asked.behind(mood))
        except RecipeError as error:
            faults += error.faults
    for mood in concerned:
        try:
            asked.means(mood)
        except RecipeError as error:
            faults += error.faults
    looks = check_looks(asked.recipe, moods)
    faults += looks.wrong
    pictures = check_side_pictures(asked.recipe, moods)
    of_moods = {
        mood: (*looks.unusable.get(mood, ()), *pictures.get(mood, ()))
        for mood in moods
        if mood in looks.unusable or mood in pictures
    }
    unusable = dict.fromkeys(fault for some in of_moods.values() for fault in some)
    if faults:
        raise RecipeError(_in_order((*faults, *unusable)))
    if unusable and not keep_going:
        raise PixelSourceError(unusable)
    errors = {mood: PixelSourceError(some) for mood, some in of_moods.items()}
    return MoodsChecked(errors, looks.files)


def check_balances(
    asked: Asked,
    moods: Sequence[str],
    space: RgbSpace,
    luminance_scale: float | None,
    *,
    keep_going: bool = False,
) -> None:
    """Check gains, tints, exposure and white balance of moods, as far as pixels do not decide.

    Parameters
    ----------
    asked : Asked
        What the recipe says.
    moods : sequence of str
        Names of moods.
    space : RgbSpace
        The passes' primaries.
    luminance_scale : float or None
        cd/m2 of a pixel of luminance 1, when known.
    keep_going : bool
        True: passes of other views that exposure is taken from, and that cannot be opened, are an
        error only where they are read.

    Raises
    ------
    RecipeError
        With every fault of every mood.
    PassError
        When only passes of other views, which exposure is taken from, are at fault.

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> from evenfall.develop.example import example_recipe
    >>> check_balances(Asked(example_recipe()), ["day", "dusk"], BT709, None)
    """
    faults: list[Fault] = []
    unread: list[Fault] = []
    concerned = dict.fromkeys(moods)
    for name in moods:
        try:
            _check_taken(asked, name)
        except RecipeError as error:
            faults += error.faults
        except PassError as error:
            unread += error.faults
        try:
            concerned |= dict.fromkeys(asked.behind(name))
            mood = _without_neutral_spot(asked.mood(name))
            camera_state(asked.recipe, mood, space, luminance_scale=luminance_scale)
        except RecipeError as error:
            faults += error.faults
    for name in concerned:
        try:
            asked.balance(name, space)
        except RecipeError as error:
            faults += error.faults
    if faults:
        raise RecipeError(_in_order(faults))
    if unread and not keep_going:
        raise PassError(_in_order(unread))


def _check_taken(asked: Asked, mood: str) -> None:
    """Check that the views can be metered from which a mood takes its exposure."""
    for key, elsewhere in asked.taken(mood).items():
        if elsewhere.meter(key) is None:
            continue
        space = open_passes(elsewhere.recipe).space
        for other in elsewhere.behind(key):
            elsewhere.balance(other, space)


def _in_order(faults: Iterable[Fault]) -> list[Fault]:
    return sorted(dict.fromkeys(faults), key=lambda fault: fault.line or 0)


def _without_neutral_spot(mood: ResolvedMood) -> ResolvedMood:
    """Leave out a white balance that hangs on pixels."""
    balance = mood.camera.white_balance
    if balance is None or balance.neutral is None:
        return mood
    return replace(mood, camera=mood.camera.model_copy(update={"white_balance": None}))
