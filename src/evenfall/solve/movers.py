"""Which lights may move, and how: one by one, groups as one, with their colours if asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from evenfall.change.dials import refuse_exposure_of_another
from evenfall.errors import Fault, UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.words.suggesting import did_you_mean, joined
from evenfall.solve.measured import Standing
from evenfall.solve.problem import Moves, Vector

__all__ = ["EXPOSURE", "Mover", "choose_movers", "moves_of"]

EXPOSURE = "exposure"
"""Name under which the camera moves."""

_CHARGE = 0.02  # what a stop costs, in stops of an aim
_TINT_CHARGE = 0.03
_TINT_STOPS = 1.5
_TINTS = np.array([[0.5, 0.0, -0.5], [-0.25, 0.5, -0.25]])  # warmer; greener


@dataclass(frozen=True)
class Mover:
    """What moves as one.

    Parameters
    ----------
    name : str
        Of a light, a group, or "exposure".
    lights : tuple of str
        Its lights that are on; none for the camera.
    """

    name: str
    lights: tuple[str, ...]


def choose_movers(
    recipe: Recipe,
    mood: str,
    on: Sequence[str],
    move: Sequence[str],
    hold: Sequence[str],
    *,
    camera: bool = True,
) -> tuple[Mover, ...]:
    """Choose what may move.

    Without names, every light that is on moves by itself, but for those that the recipe ties to
    another by a ratio: they follow.

    Parameters
    ----------
    recipe : Recipe
        Its lights and groups.
    mood : str
        The mood.
    on : sequence of str
        Lights that are on in it.
    move : sequence of str
        Names of lights, of groups, which move as one, or "exposure"; empty for every light.
    hold : sequence of str
        Names of lights and groups that stay.
    camera : bool
        Whether the exposure may be moved, too.

    Raises
    ------
    UsageError
        When a name is none, a light is off, or nothing is left that may move.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> choose_movers(example_recipe(), "dusk", ("sky", "lamp"), (), ("sky",))
    (Mover(name='lamp', lights=('lamp',)),)
    """
    if EXPOSURE in move and not camera:
        found = "a match is found under the exposure as it is; the camera stays"
        raise UsageError(Fault("--move", "", found, hint="change the exposure first"))
    faults = [*_unknown(recipe, move, "--move", camera=camera), *_unknown(recipe, hold, "--hold")]
    if faults:
        raise UsageError(faults)
    if EXPOSURE in move:
        refuse_exposure_of_another(recipe, mood)
    held = {light for name in hold for light in recipe.members(name)}
    if not move:
        settings = recipe.moods[mood].lights
        free = [light for light in on if light not in held and settings[light].match is None]
        chosen: dict[str, tuple[str, ...]] = {light: (light,) for light in free}
    else:
        chosen = {
            name: ()
            if name == EXPOSURE
            else tuple(each for each in recipe.members(name) if each in on and each not in held)
            for name in dict.fromkeys(move)
        }
        dark = [name for name, lights in chosen.items() if not lights and name != EXPOSURE]
        if dark:
            raise UsageError([_idle(recipe, mood, name, held) for name in dark])
        _refuse_twice(chosen)
    if not chosen:
        found = f"all lights that are on in {mood} are held, so nothing can move"
        hint = f"hold fewer of {joined(on, 'and', most=8)}"
        hint += ", or let the camera move: --move exposure" if camera else ""
        raise UsageError(Fault("--hold", "", found, hint=hint))
    return tuple(Mover(name, lights) for name, lights in chosen.items())


def _unknown(
    recipe: Recipe, names: Sequence[str], option: str, *, camera: bool = False
) -> list[Fault]:
    known = [*recipe.model.lights, *recipe.model.groups, *([EXPOSURE] if camera else [])]
    return [
        Fault(
            option,
            "",
            f'found no light or group "{name}"',
            f"expected one of {joined(known, most=12)}",
            did_you_mean(name, known),
        )
        for name in names
        if name not in known
    ]


def _idle(recipe: Recipe, mood: str, name: str, held: set[str]) -> Fault:
    if set(recipe.members(name)) <= held:
        return Fault(
            "--move", "", f"{name} is to move and to be held", hint="leave one of them out"
        )
    found = f"{name} is off in {mood}, so it cannot move"
    hint = f'switch it on first: evenfall change {recipe.path.name} {mood} "{name} on"'
    return Fault("--move", "", found, hint=hint)


def _refuse_twice(chosen: Mapping[str, tuple[str, ...]]) -> None:
    seen: dict[str, str] = {}
    for name, lights in chosen.items():
        for light in lights:
            other = seen.setdefault(light, name)
            if other != name:
                found = f"{light} would move with {other} and with {name}"
                hint = "name its group, or the light, but not both"
                raise UsageError(Fault("--move", "", found, hint=hint))


def moves_of(
    recipe: Recipe,
    mood: str,
    lights: Sequence[str],
    standing: Standing,
    movers: Sequence[Mover],
    *,
    within: float,
    tints: bool = False,
) -> Moves:
    """Give the unknowns of movers: a gain each, and with tints two of colour for lights.

    Parameters
    ----------
    recipe, mood : Recipe, str
        Whose ratios tie lights to others.
    lights : sequence of str
        All lights, in the order of the factors.
    standing : Standing
        Where they stand.
    movers : sequence of Mover
        What moves.
    within : float
        Most stops that a gain may go either way.
    tints : bool
        Whether colours move, too.
    """
    coloured = [mover for mover in movers if tints and mover.lights]
    count = len(movers) + 2 * len(coloured)
    ways = np.zeros((len(lights), 3, count))
    exposure = np.zeros(count)
    index = {light: number for number, light in enumerate(lights)}
    for number, mover in enumerate(movers):
        if mover.name == EXPOSURE:
            exposure[number] = 1.0
        for light in mover.lights:
            ways[index[light], :, number] = 1.0
    _let_follow(recipe, mood, lights, standing, ways)
    for number, mover in enumerate(coloured):
        for light in mover.lights:
            first = len(movers) + 2 * number
            ways[index[light], :, first : first + 2] = _TINTS.T
    high = np.full(count, _TINT_STOPS)
    high[: len(movers)] = within
    charge = np.full(count, _TINT_CHARGE)
    charge[: len(movers)] = _CHARGE
    return Moves(standing.factors, ways, -high, high, charge, exposure)


def _let_follow(
    recipe: Recipe, mood: str, lights: Sequence[str], standing: Standing, ways: np.ndarray
) -> None:
    """Let lights that are matched to others follow them, as far as these move together."""
    index = {light: number for number, light in enumerate(lights)}
    for _ in lights:  # a chain of ratios is at most as long
        for light, setting in recipe.moods[mood].lights.items():
            if setting.match is None or not standing.factors[index[light]].any():
                continue
            others = [index[o] for o in recipe.members(setting.match.to) if o in index]
            share = np.array([standing.factors[other].sum() for other in others])
            if share.sum() > 0:
                followed: Vector = np.tensordot(share / share.sum(), ways[others, 0], axes=1)
                own = ways[index[light], 0].copy()
                ways[index[light]] = np.where(own == 1.0, own, 0.0) + followed * (own != 1.0)
