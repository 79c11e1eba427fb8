"""Aims of a mood met by gains: solved, written, and metered back from what was written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenfall.change.metering import metering_notes
from evenfall.change.revision import Revision
from evenfall.compare.moods import mood_differences
from evenfall.develop.areas import Areas
from evenfall.develop.asked import Asked
from evenfall.develop.engine import develop_moods
from evenfall.errors import UsageError
from evenfall.light.primaries import luminance_weights
from evenfall.passes.source import PassSource
from evenfall.recipe import Recipe
from evenfall.recipe.aims import Aim
from evenfall.recipe.saving import replace_text
from evenfall.recipe.words.suggesting import joined
from evenfall.solve.aimed import Aimed, AimResult, Moved
from evenfall.solve.explaining import Case, why_missed, wont_be_told_apart
from evenfall.solve.likeness import check_written_recipe
from evenfall.solve.limits import Shown, clipped_share, shadow_lightness
from evenfall.solve.measured import Measured, Standing, measure
from evenfall.solve.movers import Mover, choose_movers, moves_of
from evenfall.solve.problem import Matrix, Moves, Vector
from evenfall.solve.reasons import AIMED
from evenfall.solve.solving import Solution, solve
from evenfall.solve.wishes import TOLERANCE, Wish, areas_of, wishes_of
from evenfall.solve.writing import instead_of_reasons, notes_on_text, write_moves

__all__ = ["aim_mood"]

_ROUNDS = 4
_SETTLED = 0.015  # stops: what rounding costs, and a little
_SHARE_SLACK, _LIGHTNESS_SLACK = 0.002, 0.5


def aim_mood(
    recipe: Recipe,
    mood: str,
    source: PassSource,
    *,
    move: Sequence[str] = (),
    hold: Sequence[str] = (),
    tints: bool = False,
    within: float = 4.0,
    dry_run: bool = False,
    workers: int | None = None,
) -> Aimed:
    r"""Solve the gains by which a mood meets its aims, and write them into the recipe.

    Parameters
    ----------
    recipe : Recipe
        As its file has it, without one-off changes.
    mood : str
        Name of the mood.
    source : PassSource
        Its passes, at any size.
    move : sequence of str
        Lights, groups (which move as one) or "exposure" that may move; every light otherwise.
    hold : sequence of str
        Lights and groups that stay.
    tints : bool
        Whether the colours of what moves may change, too.
    within : float
        Most stops that a gain may go either way.
    dry_run : bool
        Only say what would be; nothing is written.
    workers : int, optional
        Threads.

    Raises
    ------
    UsageError
        When there are no aims, an area is empty, names are unknown, or nothing may move.
    RecipeError, PassError, PixelSourceError, OutputError
        When the recipe or its passes cannot be used, or the file not be written.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> from evenfall.develop.opening import open_passes
    >>> from evenfall.recipe.recipe import load_text
    >>> recipe = example_recipe()
    >>> text = recipe.text + '[moods.dusk.aims]\nwall = { stops = -1 }\n'
    >>> recipe = load_text(text, recipe.path)
    >>> aimed = aim_mood(recipe, "dusk", open_passes(recipe), hold=["sky"], dry_run=True)
    >>> [(result.aim, result.comes_to, result.is_met) for result in aimed.aims]
    [('wall', '-1.00 stops', True)]
    """
    aims = recipe.moods[mood].aims
    _check(recipe, mood, aims, within)
    measured = measure(recipe, mood, source, areas_of(mood, aims), workers=workers)
    standing = measured.standing(recipe, mood)
    on = standing.balance.on
    movers = choose_movers(recipe, mood, on, move, hold)
    moves = moves_of(recipe, mood, measured.lights, standing, movers, within=within, tints=tints)
    moves = replace(moves, metered=_metered(recipe, mood, measured, standing))
    search = _Search(recipe, mood, aims, measured, movers, moves, standing)
    search.run()
    return search.told(on, dry_run=dry_run)


def _check(recipe: Recipe, mood: str, aims: Mapping[str, Aim], within: float) -> None:
    check_written_recipe(recipe, within)
    if not aims:
        found = f"{mood} has no aims, so there is nothing to solve"
        hint = (
            f"say what it should show, such as [moods.{mood}.aims] and under it "
            'table = { area = { rectangle = [0.3, 0.5, 0.5, 0.7] }, brighter = "1/2" }'
        )
        raise UsageError(recipe.fault(("moods", mood), found, hint=hint))


def _metered(recipe: Recipe, mood: str, measured: Measured, standing: Standing) -> Vector | None:
    """Share of each light in what the meter reads for a mood; None where it reads another."""
    plan = Asked(recipe).meter(mood)
    if plan is None or plan.mood != mood:
        return None
    weights = luminance_weights(measured.space)
    light = (measured.means[None] * standing.factors) @ weights
    read = np.where([light in plan.lights for light in measured.lights], light, 0.0)
    return read / read.sum() if read.sum() > 0 else None


@dataclass
class _Search:
    """Rounds of solving, writing, and looking at what it really comes to."""

    recipe: Recipe
    mood: str
    aims: Mapping[str, Aim]
    measured: Measured
    movers: Sequence[Mover]
    moves: Moves
    first: Standing

    def run(self) -> None:
        """Solve until what was written comes to what was expected."""
        self.has_limits = any(
            aim.clipped_at_most is not None or aim.shadows_at_least is not None
            for aim in self.aims.values()
        )
        self.tightened: dict[tuple[str, str], float] = {}
        self.after, self.now = self.recipe, self.first
        self.wishes = self._wishes()
        self.limits = self._real_limits()
        self.stood = {
            (wish.aim, wish.key): self._said(wish, self.first.factors) for wish in self.wishes
        }
        unknowns = np.zeros(self.moves.charge.size)
        for _ in range(_ROUNDS):
            self.solution = solve([wish.demand for wish in self.wishes], self.moves, unknowns)
            unknowns = self.solution.unknowns
            self._write(unknowns)
            drift = self._take_over(unknowns)
            self.limits = self._real_limits()
            is_loose = self._tighten()
            if drift <= _SETTLED and not is_loose:
                break
            self.wishes = self._wishes()

    def _wishes(self) -> list[Wish]:
        shown = None
        if self.has_limits:
            shown = Shown(self.after, self.mood, self.measured, self.now)
        return wishes_of(
            self.aims, self.measured, self._matrix(), self.first.factors, shown, self.tightened
        )

    def _matrix(self) -> Matrix:
        """White balance as it is now, at the exposure from which the camera's moves count."""
        matrix: Matrix = self.now.camera.matrix / self._exposure()
        return matrix

    def _exposure(self) -> float:
        return self.now.camera.exposure_factor / self.first.camera.exposure_factor

    def _real(self) -> Matrix:
        """Factors as they are now, the camera's moves included."""
        factors: Matrix = self.now.factors * self._exposure()
        return factors

    def _write(self, unknowns: Vector) -> None:
        self.revision = Revision(self.recipe.text, self.recipe.path)
        write_moves(self.revision, self.mood, self.movers, unknowns, self.measured.space)
        self.after = replace(self.revision.recipe, passes_folder=self.recipe.passes_folder)
        self.now = self.measured.standing(self.after, self.mood)

    def _take_over(self, unknowns: Vector) -> float:
        """Count on from what is real; say by how many stops it was expected elsewhere."""
        expected, real = self.moves.factors_at(unknowns), self._real()
        lit = (expected > 0) & (real > 0)
        off = np.zeros(expected.shape)
        off[lit] = np.log2(real[lit] / expected[lit])
        self.moves = replace(self.moves, factors=self.moves.factors * np.exp2(off))
        return float(np.abs(off).max())

    def _real_limits(self) -> dict[tuple[str, str], float]:
        """Look at what the picture really shows of limits, at the size of the passes."""
        limited = [wish for wish in self.wishes if wish.key in ("clipped", "shadows")]
        if not limited:
            return {}
        source = self.measured.source
        (developed,) = develop_moods(source, Asked(self.after), [self.mood])
        areas = Areas(self.after, source.size, self.measured.shelf)
        found: dict[tuple[str, str], float] = {}
        for wish in limited:
            weights = None if wish.area is None else areas.weights(wish.area)
            look = clipped_share if wish.key == "clipped" else shadow_lightness
            found[wish.aim, wish.key] = look(developed, weights)
        return found

    def _tighten(self) -> bool:
        """Ask the small picture for more where the real one misses a limit; whether it does."""
        tightened = dict(self.tightened)
        for wish in self.wishes:
            key = wish.aim, wish.key
            if key not in self.limits or _limit_miss(wish, self.limits[key]) == 0:
                continue
            asked = tightened.get(key, wish.goal)
            if wish.key == "clipped":
                tightened[key] = asked * wish.goal / max(self.limits[key], 1e-9)
            else:
                tightened[key] = min(99.0, asked + wish.goal - self.limits[key])
        changed = tightened != self.tightened
        self.tightened = tightened
        return changed

    def _said(self, wish: Wish, factors: Matrix) -> str:
        return wish.said(factors, self.limits.get((wish.aim, wish.key)))

    def told(self, on: Sequence[str], *, dry_run: bool) -> Aimed:
        """Tell what came of it, and write the recipe."""
        real = self._real()
        case = Case(self.mood, self.wishes, self.moves, self.movers, self.measured, on)
        results = [self._result(case, wish, real) for wish in self.wishes]
        found = {one: mood_differences(self.recipe, self.after, one) for one in self.after.moods}
        changes = {one: some for one, some in found.items() if some}
        lost = [result.aim for result in results if result.must and not result.is_met]
        text = instead_of_reasons(self.revision, AIMED)
        notes = metering_notes(self.recipe, self.after)
        notes += notes_on_text(self.revision, text)
        if lost:
            notes.append(f"{joined(dict.fromkeys(lost), 'and')} must be met and cannot be")
        writes = bool(changes) and not dry_run and not lost
        if writes:
            replace_text(self.recipe.path, self.recipe.text, text)
        return Aimed(
            path=self.recipe.path,
            mood=self.mood,
            aims=tuple(results),
            moved=tuple(_moved(self.movers, self.solution)),
            alike=tuple(wont_be_told_apart(self.measured, self.first.factors, self.movers)),
            changes=changes,
            notes=tuple(notes),
            text=text,
            written=writes,
        )

    def _result(self, case: Case, wish: Wish, real: Matrix) -> AimResult:
        limit = self.limits.get((wish.aim, wish.key))
        miss = wish.miss(real) if limit is None else _limit_miss(wish, limit)
        is_met = miss <= (TOLERANCE if limit is None else 0.0)
        return AimResult(
            aim=wish.aim,
            asks=wish.asks,
            stood=self.stood[wish.aim, wish.key],
            comes_to=self._said(wish, real),
            missed_by=wish.miss(real),
            missed="" if is_met else wish.missed(real, limit),
            is_met=is_met,
            must=wish.must,
            why="" if is_met else why_missed(case, wish),
        )


def _limit_miss(wish: Wish, shown: float) -> float:
    """By how much a limit is missed in its own unit; 0 where it is met."""
    if wish.key == "clipped":
        return max(0.0, shown - wish.goal - _SHARE_SLACK)
    return max(0.0, wish.goal - shown - _LIGHTNESS_SLACK)


def _moved(movers: Sequence[Mover], solution: Solution) -> Iterator[Moved]:
    play = solution.play(TOLERANCE)
    for number, mover in enumerate(movers):
        stops = float(solution.unknowns[number])
        yield Moved(mover.name, stops, float(play[number]), bool(solution.at_bound[number]))
