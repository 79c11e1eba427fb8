"""A mood made like a picture: the same view graded by hand, or another recipe's picture of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.change.metering import metering_notes
from evenfall.change.revision import Revision
from evenfall.compare.moods import mood_differences
from evenfall.develop.asked import Asked
from evenfall.develop.engine import develop_moods
from evenfall.errors import Fault, UsageError
from evenfall.light.primaries import luminance_weights
from evenfall.passes.source import PassSource
from evenfall.recipe import Recipe
from evenfall.recipe.saving import replace_text
from evenfall.recipe.words.suggesting import joined
from evenfall.recipe.words.wording import stops_words
from evenfall.solve.aimed import Moved
from evenfall.solve.explaining import wont_be_told_apart
from evenfall.solve.fitting import Fit, Fitter, stops_between
from evenfall.solve.leftover import (
    explained_by,
    far_off,
    is_another_view,
    same_view,
    unmatched_places,
)
from evenfall.solve.matched import Matched
from evenfall.solve.measured import Measured, Standing, measure
from evenfall.solve.movers import Mover, choose_movers, moves_of
from evenfall.solve.problem import Moves, Vector
from evenfall.solve.reasons import MATCHED
from evenfall.solve.reference import Reference, read_reference
from evenfall.solve.screen import LinearScreen, Screen
from evenfall.solve.writing import instead_of_reasons, notes_on_text, turn_camera, write_moves

__all__ = ["check_written_recipe", "match_mood"]

Floats = npt.NDArray[np.float32]

_LEARNING_STEPS = 6
_FLOOR = 1e-3  # of the mean light
_LEAST = 0.005  # stops: half a hundredth, as is written; lossless pictures leave no more
_SAME_EXPOSURE = 0.003
_CODES, _STOPS = 255.0, 10.0  # by which residuals of displayed and linear pictures count


def match_mood(
    recipe: Recipe,
    mood: str,
    source: PassSource,
    reference: Path,
    *,
    move: Sequence[str] = (),
    hold: Sequence[str] = (),
    tints: bool = False,
    within: float = 6.0,
    rendered: bool = False,
    dry_run: bool = False,
    workers: int | None = None,
) -> Matched:
    """Find gains, and colours if asked, that make a mood look like a picture, and write them.

    Exposure and look stay as they are; what is compared has been through them.

    Parameters
    ----------
    recipe : Recipe
        As its file has it, without one-off changes.
    mood : str
        Name of the mood.
    source : PassSource
        Its passes, at any size.
    reference : Path
        PNG, JPEG, TIFF, WebP or AVIF by its profile; EXR, HDR or PFM as scene-linear light behind
        the camera.
    move, hold : sequence of str
        As for `aim_mood`: groups move as one, and keep the ratios of their lights.
    tints : bool
        Whether the colours of what moves may change, too.
    within : float
        Most stops that a gain may go either way.
    rendered : bool
        Whether a scene-linear reference holds light as the passes do, before the camera.
    dry_run : bool
        Only say what would be.
    workers : int, optional
        Threads.

    Raises
    ------
    UsageError
        When the reference is of another shape or another view, names are unknown, or nothing may
        move.
    RecipeError, PassError, PixelSourceError, OutputError
        When the recipe, its passes or the reference cannot be used, or the file not be written.
    """
    check_written_recipe(recipe, within)
    picture = read_reference(
        reference, source.size, source.space, rendered=rendered, workers=workers
    )
    measured = measure(recipe, mood, source, {None: ()}, workers=workers, small_size=picture.size)
    standing = measured.standing(recipe, mood)
    movers = choose_movers(recipe, mood, standing.balance.on, move, hold, camera=False)
    moves = moves_of(recipe, mood, measured.lights, standing, movers, within=within, tints=tints)
    work = _Match(recipe, mood, reference, picture, measured, standing, movers, moves, workers)
    work.run()
    return work.told(dry_run=dry_run)


def check_written_recipe(recipe: Recipe, within: float) -> None:
    """Check what every solution that is written into a recipe needs.

    Raises
    ------
    UsageError
        When the recipe has one-off changes, or the bounds are none.
    """
    if recipe.changes:
        found = "gains are written into the recipe, so no one-off changes can be taken along"
        raise UsageError(Fault(recipe.changes[0], "", found, hint="write the change first"))
    if not 0 < within <= 15:
        raise UsageError(Fault("--within", "", f"found {within:g}", "stops above 0, up to 15"))


@dataclass
class _Match:
    """A match in the making."""

    recipe: Recipe
    mood: str
    path: Path
    picture: Reference
    measured: Measured
    first: Standing
    movers: Sequence[Mover]
    moves: Moves
    workers: int | None

    def run(self) -> None:
        """Fit; look at the real picture; fit again; write."""
        planes = self._reference()
        fitter = Fitter(self.screen, self.moves, planes, self.picture.known, self.picture.trust)
        self.fitter, self.planes = fitter, planes
        self.before = fitter.residuals_at(np.zeros(self.moves.charge.size))
        fit = fitter.run(fitter.start())
        if isinstance(self.screen, Screen):
            total = fitter.total_at(fit.unknowns)
            self._write(fit.unknowns)
            source = self.measured.source
            (developed,) = develop_moods(source, Asked(self.after), [self.mood])
            self.screen.learn(developed, total)
            fit = fitter.run(fit.unknowns, _LEARNING_STEPS)
        self._check_view(fit)
        self.fit = fit
        self._write(fit.unknowns)

    def _reference(self) -> Floats:
        """Make the screen; give the reference in its values."""
        picture, measured = self.picture, self.measured
        self.screen: Screen | LinearScreen
        if picture.holds == "display":
            self.screen = Screen(
                self.recipe,
                self.mood,
                measured.small,
                self.first,
                measured.lights,
                picture.space,
                self.workers,
            )
            return picture.planes
        light = picture.planes
        if picture.holds == "exposed":
            back = np.linalg.inv(self.first.camera.matrix).astype(np.float32)
            light = np.tensordot(back, light, axes=1)
        floor = _FLOOR * float(np.maximum(light, 0).mean())
        self.screen = LinearScreen(measured.small, self.first, measured.lights, floor)
        return self.screen.show(light)

    def _check_view(self, fit: Fit) -> None:
        agreement = same_view(fit, self.planes)
        if is_another_view(agreement):
            found = (
                "does not look like this view: its fine detail lies elsewhere (correlation "
                f"{agreement:.2f})"
            )
            hint = "of a picture of another place, take the mood of colour: --only colour"
            raise UsageError(Fault(str(self.path), "", found, "a picture of the same view", hint))

    def _write(self, unknowns: Vector) -> None:
        """Write the moves; the camera makes up for what the meter reads otherwise."""
        self.revision = Revision(self.recipe.text, self.recipe.path)
        write_moves(self.revision, self.mood, self.movers, unknowns, self.measured.space)
        now = self.measured.standing(self.revision.recipe, self.mood)
        went = np.log2(now.camera.exposure_factor / self.first.camera.exposure_factor)
        if abs(went) > _SAME_EXPOSURE:
            turn_camera(self.revision, self.mood, -float(went), digits=3)
        self.after = replace(self.revision.recipe, passes_folder=self.recipe.passes_folder)

    def told(self, *, dry_run: bool) -> Matched:
        """Tell what came of it, and write the recipe."""
        fit = self.fit
        found = {one: mood_differences(self.recipe, self.after, one) for one in self.after.moods}
        changes = {one: some for one, some in found.items() if some}
        text = instead_of_reasons(self.revision, MATCHED)
        writes = bool(changes) and not dry_run
        if writes:
            replace_text(self.recipe.path, self.recipe.text, text)
        off = far_off(fit)
        counts = self.picture.known & ~off
        is_shown = self.picture.holds == "display"
        return Matched(
            path=self.recipe.path,
            mood=self.mood,
            reference=self.path,
            moved=tuple(self._moved(fit)),
            off_by=_mean_off(fit.residuals, counts) * (_CODES if is_shown else _STOPS),
            unit="codes of 255" if is_shown else "stops",
            was_off_by=_mean_off(self.before, counts) * (_CODES if is_shown else _STOPS),
            matched_share=1 - float(off.mean()),
            places=unmatched_places(fit),
            missing=tuple(self._missing(fit)),
            alike=tuple(wont_be_told_apart(self.measured, self.first.factors, self.movers)),
            changes=changes,
            notes=(*self._notes(fit), *notes_on_text(self.revision, text)),
            text=text,
            written=writes,
            maps=self._maps(fit),
        )

    def _moved(self, fit: Fit) -> list[Moved]:
        near = np.minimum(fit.unknowns - self.moves.low, self.moves.high - fit.unknowns)
        return [
            Moved(
                mover.name,
                float(fit.unknowns[number]),
                float(np.hypot(fit.play[number], _LEAST)),
                bool(near[number] < 1e-3),
            )
            for number, mover in enumerate(self.movers)
        ]

    def _missing(self, fit: Fit) -> list[str]:
        """Name lights that do not move and would explain what is left."""
        screen, measured = self.screen, self.measured
        moving = {light for mover in self.movers for light in mover.lights}
        if moving.issuperset(measured.lights):
            return []
        total = self.fitter.total_at(fit.unknowns)
        stops = stops_between(screen.show, total, self.planes)
        wanted = total.sum(axis=0) * np.exp2(stops)
        weights = luminance_weights(measured.space) @ self.first.camera.matrix
        scale = float(total.sum(axis=0).mean()) / max(
            float(np.abs((measured.means[None] * self.first.factors) @ weights).sum()), 1e-12
        )
        idle = {
            light: _luminance(measured, light, scale * weights)
            for light in measured.lights
            if light not in moving
        }
        known = self.picture.known & (np.abs(stops) < 6)
        named = explained_by(wanted - total.sum(axis=0), wanted, known, idle)
        return [self._missing_words(*each) for each in named[:2]]

    def _missing_words(self, light: str, stops: float, share: float) -> str:
        is_off = light not in self.first.balance.on
        state = f"off in {self.mood}" if is_off else "held"
        if is_off:
            return (
                f"{light}, {state}, would explain {share:.0%} of what is left, at about "
                f"{stops_words(round(3 * stops) / 3)} stops"
            )
        return f"{light}, {state}, would explain {share:.0%} of what is left if it gave more"

    def _notes(self, fit: Fit) -> list[str]:
        notes = metering_notes(self.recipe, self.after)
        exposures = [
            one.moods[self.mood].camera.exposure_stops for one in (self.recipe, self.after)
        ]
        if exposures[0] != exposures[1]:
            notes.append("the exposure is written so that the picture keeps it")
        low = [
            mover.name
            for number, mover in enumerate(self.movers)
            if fit.unknowns[number] < self.moves.low[number] + 1e-3
        ]
        if low:
            went = f"{joined(low, 'and')} went down as far as may be"
            notes.append(f"{went}: {self._why_low(is_one=len(low) == 1)}")
        return notes

    def _why_low(self, *, is_one: bool) -> str:
        they_are, their = ("it is", "its") if is_one else ("they are", "their")
        unseen = f"{they_are} hardly seen in the reference, and off may do"
        if self.moves.charge.size > len(self.movers):  # colours move, too
            return unseen
        return f"either {unseen}, or {their} light has another colour there, which --tints finds"

    def _maps(self, fit: Fit) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8], Floats]:
        reference, shown = self.planes, fit.shown
        if self.picture.holds != "display":
            low, high = np.quantile(reference, (0.01, 0.99))
            reference, shown = (
                (each - low) / max(float(high - low), 1e-6) for each in (reference, shown)
            )
        codes = [
            np.moveaxis(np.round(255 * np.clip(each, 0, 1)), 0, -1).astype(np.uint8)
            for each in (reference, shown)
        ]
        return codes[0], codes[1], -fit.residuals.mean(axis=0)


def _mean_off(residuals: Floats, where: npt.NDArray[np.bool_]) -> float:
    return float(np.abs(residuals)[:, where].mean()) if where.any() else 0.0


def _luminance(measured: Measured, light: str, weights: npt.NDArray[np.float64]) -> Floats:
    planes = np.stack(measured.small.read((light,))[light].planes).astype(np.float32)
    luminance: Floats = np.tensordot(weights.astype(np.float32), planes, axes=1)
    return luminance
