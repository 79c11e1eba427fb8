"""Gains and tints that were solved, written into a recipe as plain figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from typing import Any

import numpy as np

from evenfall.change.dials import dials, turn
from evenfall.change.figures import number_value
from evenfall.change.gains import move_gains
from evenfall.change.revision import Revision
from evenfall.change.tints import Tint, set_tints
from evenfall.compare.standing import Stand, stand
from evenfall.light.colour import xy_to_kelvin_duv
from evenfall.light.primaries import RgbSpace, luminance_weights
from evenfall.light.tint import light_rgb, rendered_xy, rgb_to_xy, tint_factors
from evenfall.recipe import Recipe
from evenfall.recipe.words.suggesting import joined
from evenfall.solve.movers import EXPOSURE, Mover
from evenfall.solve.problem import Vector
from evenfall.solve.reasons import may_no_longer_hold, with_reasons

__all__ = ["instead_of_reasons", "notes_on_text", "turn_camera", "write_moves"]

_STILL = 0.005  # stops: half of the last digit that is written
_STILL_TINT = 0.004
_GREATEST_DUV = 0.03
_NEAR_LOCUS = 0.0005


def write_moves(
    revision: Revision,
    mood: str,
    movers: Sequence[Mover],
    unknowns: Vector,
    space: RgbSpace,
) -> None:
    """Write moves into a recipe: stops in hundredths, colours as kelvin where they have one.

    Parameters
    ----------
    revision : Revision
        Its edits are added to.
    mood : str
        The mood.
    movers : sequence of Mover
        What moved.
    unknowns : ndarray
        Stops of each; behind them, where colours moved, stops warmer and greener of each mover
        that has lights.
    space : RgbSpace
        The passes' primaries.
    """
    before = revision.recipe
    coloured = [mover for mover in movers if mover.lights and unknowns.size > len(movers)]
    tints = {
        mover.name: unknowns[len(movers) + 2 * number :][:2]
        for number, mover in enumerate(coloured)
    }
    extra = {
        mover.name: _write_tints(revision, before, mood, mover, tints[mover.name], space)
        for mover in coloured
        if np.abs(tints[mover.name]).max() >= _STILL_TINT
    }
    stops = dict(zip((mover.name for mover in movers), map(float, unknowns), strict=False))
    is_single = all(mover.lights in ((), (mover.name,)) for mover in movers)
    with revision.at_once() if is_single else nullcontext():
        for mover in movers:
            _move(revision, mood, mover, stops[mover.name], extra.get(mover.name, {}))
    if EXPOSURE in stops:
        turn_camera(revision, mood, stops[EXPOSURE])


def turn_camera(revision: Revision, mood: str, stops: float, *, digits: int = 2) -> None:
    """Turn the exposure of a mood by some stops.

    Parameters
    ----------
    revision : Revision
        Its edits are added to.
    mood : str
        The mood.
    stops : float
        From where it stands.
    digits : int
        Of the figure that is written.
    """
    if abs(stops) >= _STILL * 10.0 ** (2 - digits):
        (dial,) = dials(revision.recipe)[EXPOSURE]
        now = revision.recipe.moods[mood].camera.exposure_stops
        turn(revision, [mood], dial, {mood: round(now + stops, digits)}, counted=True)


def instead_of_reasons(revision: Revision, reason: str) -> str:
    """Give the text of a revision; reasons of former figures are replaced by this one."""
    reasons = dict.fromkeys(revision.places, reason)
    return with_reasons(revision.written(), reasons, only_instead=True)


def notes_on_text(revision: Revision, text: str) -> list[str]:
    """Say what a person should know of a text that was edited: comments, and shared files."""
    notes = may_no_longer_hold(revision.text, text, revision.places)
    if revision.bases and revision.places:
        shared = joined(revision.bases, "and")
        notes.append(
            f"the figures stand in {revision.path.name} alone; {shared}, for every view, stays as "
            "it is"
        )
    return notes


def _move(
    revision: Revision, mood: str, mover: Mover, stops: float, extra: Mapping[str, float]
) -> None:
    wanted = {}
    for light in mover.lights:
        way = stops + extra.get(light, 0.0)
        if abs(way) >= _STILL:
            stood = stand(revision.recipe, mood, light)
            wanted[light] = Stand(round(stood.stops + way, 2), stood.anchor)
    if wanted:
        move_gains(revision, mood, mover.name, wanted)


def _write_tints(
    revision: Revision, before: Recipe, mood: str, mover: Mover, turned: Vector, space: RgbSpace
) -> dict[str, float]:
    """Write colours; give the stops of gain by which each light makes up for its new tint."""
    warmer, greener = turned
    factors = np.exp2(
        [0.5 * warmer - 0.25 * greener, 0.5 * greener, -0.5 * warmer - 0.25 * greener]
    )
    weights = luminance_weights(space)
    wanted: dict[str, Tint] = {}
    goals: dict[str, Vector] = {}
    rendered_rgb: dict[str, Vector] = {}
    for light in mover.lights:
        rendered = before.model.lights[light].rendered
        xy = rendered_xy(rendered)
        start = light_rgb(xy or space.white, space)[0]
        own = np.array(tint_factors(before.moods[mood].lights[light], rendered, space).factors)
        goals[light], rendered_rgb[light] = own * factors, start
        wanted[light] = _tint(goals[light], start, space, known=xy is not None)
    set_tints(revision, mood, mover.name, wanted)
    extra = {}
    for light in mover.lights:
        setting = revision.recipe.moods[mood].lights[light]
        came = tint_factors(setting, before.model.lights[light].rendered, space).factors
        start = rendered_rgb[light]
        extra[light] = float(
            np.log2((weights @ (goals[light] * start)) / (weights @ (np.array(came) * start)))
        )
    return extra


def _tint(goal: Vector, start: Vector, space: RgbSpace, *, known: bool) -> dict[str, Any]:
    """Say a colour: kelvin, with Duv where it is off the locus; factors where nothing is known."""
    xy = rgb_to_xy(goal * start, space)
    found = None if xy is None else xy_to_kelvin_duv(xy)
    if not known or xy is None:
        top = goal / float(luminance_weights(space) @ goal)
        return {"rgb": tuple(float(number_value(float(value), 1.0)) for value in top)}
    if found is None or abs(found[1]) > _GREATEST_DUV or not 1000 <= found[0] <= 25000:
        return {"xy": (round(xy[0], 4), round(xy[1], 4))}
    kelvin, duv = found
    said: dict[str, Any] = {"kelvin": float(round(kelvin))}
    return said if abs(duv) < _NEAR_LOCUS else said | {"duv": round(duv, 4)}
