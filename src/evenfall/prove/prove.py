"""Do the passes add up to the beauty, and if not, why not.

The beauty is fitted as a non-negative combination of the passes and what remains is held against
its own noise, so that a noisy set is not blamed for being noisy. Pictures are read one at a time
and reduced to some 16,000 blocks each; memory does not grow with their number.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from evenfall.light.primaries import BT709, RgbSpace, luminance_weights
from evenfall.prove.blocks import BlockGrid, BlockPicture, Float, reduce_picture
from evenfall.prove.diagnosis import Diagnosis
from evenfall.prove.duplicates import SameLight, same_lights
from evenfall.prove.evidence import Evidence
from evenfall.prove.explanation import Explanation, SecondLook, explain
from evenfall.prove.findings import find
from evenfall.prove.fit import BlockSet
from evenfall.prove.measure import Measured, Pixels, measure
from evenfall.prove.noise import GrainReport, grain_report
from evenfall.prove.proof import (
    UNPROVABLE_WITHOUT_BEAUTY,
    LightProof,
    Proof,
    report,
    shares_of_light,
    small_view,
)
from evenfall.prove.shift import Shift, find_shift
from evenfall.prove.suspicion import EncodingSuspicion, suspect_encoding, undo_srgb

__all__ = ["prove"]

ReadPasses = Callable[[], Iterable[tuple[str, Pixels]]]

Mask = npt.NDArray[np.bool_]

_ENOUGH_KEPT = 0.02
_MUCH_DARKER = 0.7  # an open place in which the passes hold less than this lacks its background
_SHIFT_LEAVES = 0.6  # of what was unexplained
_SOLID = 0.999  # alpha of a block in which no background shows
_DARK = 1e-3  # of the mean light: a background darker than this is no background


@dataclass(frozen=True, eq=False)
class _Gathered:
    """What one reading of all pictures gave."""

    grid: BlockGrid
    passes: Mapping[str, Measured]
    suspicions: Mapping[str, EncodingSuspicion]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.passes)

    @property
    def pictures(self) -> tuple[BlockPicture, ...]:
        return tuple(measured.blocks for measured in self.passes.values())


def prove(
    beauty: Pixels | None,
    read_passes: ReadPasses,
    *,
    space: RgbSpace = BT709,
    on_pass: Callable[[str], None] | None = None,
) -> Proof:
    """Prove that passes add up to a beauty, or say why they do not.

    Parameters
    ----------
    beauty : Pixels or None
        The same view with all lights at once; without it only little can be proven.
    read_passes : callable
        Gives name and picture of each pass, one at a time; called again if encodings must be
        undone to explain the beauty.
    space : RgbSpace
        Primaries of the pictures; weigh R, G, B to luminance.
    on_pass : callable, optional
        Told the name of every picture that was read.

    Returns
    -------
    Proof

    Raises
    ------
    ValueError
        When there is no pass, or a picture differs in size from the first.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> picture = lambda planes: SimpleNamespace(planes=planes, alpha=None)
    >>> across, down = np.linspace(0, 1, 96), np.linspace(0, 1, 64)[:, None]
    >>> lamp = np.stack([np.float32(np.exp(-8 * (across - 0.3) ** 2 - 4 * down))] * 3)
    >>> sky = np.stack([np.float32(across**2 + 0 * down)] * 3)
    >>> passes = lambda: [("lamp", picture(lamp)), ("sky", picture(sky))]
    >>> prove(picture(lamp + sky), passes).verdict
    'adds up'
    >>> [d.code for d in prove(picture(lamp + 2 * sky), passes).diagnoses]
    ['pass-exposure']
    """
    gathered = _gather(beauty, read_passes, on_pass)
    weights = luminance_weights(space)
    if beauty is None:
        return _without_beauty(gathered, weights)
    evidence = _weigh(gathered, beauty, read_passes, on_pass)
    return report(evidence, find(evidence), small_view(beauty.planes, weights), weights)


def _gather(
    beauty: Pixels | None, read_passes: ReadPasses, on_pass: Callable[[str], None] | None
) -> _Gathered:
    grid = None if beauty is None else BlockGrid.for_picture(*beauty.planes[0].shape)
    passes: dict[str, Measured] = {}
    suspicions: dict[str, EncodingSuspicion] = {}
    for name, picture in read_passes():
        height, width = picture.planes[0].shape
        grid = grid or BlockGrid.for_picture(height, width)
        if (height, width) != (grid.height, grid.width):
            raise ValueError(
                f"pass {name!r} is {width} x {height} pixels, the others {grid.width} x "
                f"{grid.height}"
            )
        passes[name] = measure(picture, grid)
        suspicions[name] = suspect_encoding(picture.planes)
        if on_pass is not None:
            on_pass(name)
    if grid is None or not passes:
        raise ValueError("no passes to prove")
    return _Gathered(grid, passes, suspicions)


def _weigh(
    gathered: _Gathered,
    beauty_pixels: Pixels,
    read_passes: ReadPasses,
    on_pass: Callable[[str], None] | None,
) -> Evidence:
    from scipy.ndimage import binary_dilation

    beauty = measure(beauty_pixels, gathered.grid)
    missing, repeated = _background(tuple(gathered.passes.values()), beauty)
    around = binary_dilation(missing | repeated, iterations=2)
    if beauty.alpha is not None and around.any():
        around |= beauty.alpha < _SOLID
    keep = _kept(gathered, beauty, around)
    blocks = BlockSet(gathered.names, beauty.blocks, gathered.pictures, keep)

    def look_again() -> SecondLook:
        decoded = {}
        for name, picture in read_passes():
            undone = [undo_srgb(plane) for plane in picture.planes]
            decoded[name] = reduce_picture(undone, gathered.grid)
            if on_pass is not None:
                on_pass(name)
        undone = [undo_srgb(plane) for plane in beauty_pixels.planes]
        return SecondLook(
            tuple(decoded[name] for name in gathered.names),
            reduce_picture(undone, gathered.grid),
        )

    explanation = explain(blocks, look_again)
    twins: tuple[SameLight, ...] = ()
    if not explanation.plain or not explanation.holds:
        twins = same_lights(gathered.pictures, keep)
        if twins:
            explanation = _without_twins(blocks, twins, look_again)
    grain = _grain(explanation)
    return Evidence(
        names=gathered.names,
        grid=gathered.grid,
        beauty=beauty,
        passes=tuple(gathered.passes.values()),
        plain=blocks,
        explanation=explanation,
        grain=grain,
        shift=_shift(explanation, grain, tuple(gathered.passes.values())),
        twins=twins,
        background_missing=missing,
        background_repeated=repeated,
    )


def _kept(gathered: _Gathered, beauty: Measured, background: Mask) -> Mask:
    """Blocks that were not clipped anywhere and are no background, shape (3, rows, columns)."""
    clear = np.broadcast_to(~background, beauty.topped.shape)
    topped = beauty.topped.copy()
    for measured in gathered.passes.values():
        topped |= measured.topped
    keep = clear & ~topped
    return keep if keep.mean() > _ENOUGH_KEPT else clear.copy()


def _background(passes: tuple[Measured, ...], beauty: Measured) -> tuple[Mask, Mask]:
    """Background that no pass holds, and background that several passes hold.

    The first is black in all passes though not in the beauty, or open in the beauty's alpha and
    much darker in the sum; the second looks in several passes as it does in the beauty.
    """
    from scipy.ndimage import binary_opening

    means = beauty.blocks.means
    lit = np.all(means > _DARK * max(float(means.mean()), 0.0), axis=0)
    error = np.abs(beauty.blocks.checker) + 0.01 * np.abs(means)
    black = np.ones_like(lit)
    alike = np.zeros(lit.shape, dtype=int)
    topped = np.zeros_like(lit)
    for each in passes:
        black &= np.all(each.blocks.means == 0, axis=0)
        alike += np.all(np.abs(each.blocks.means - means) <= error, axis=0)
        topped |= each.topped.any(0)
    solid = np.ones((4, 4), dtype=bool)
    missing = binary_opening(black & lit, solid)
    if beauty.alpha is not None:
        total = np.sum([each.blocks.means for each in passes], axis=0)
        dark = np.all(total < _MUCH_DARKER * means, axis=0) & ~topped
        missing |= binary_opening((beauty.alpha < 0.5) & dark & lit, np.ones((2, 2), dtype=bool))
    return missing, binary_opening((alike >= 2) & lit, solid)


def _without_twins(
    blocks: BlockSet, twins: tuple[SameLight, ...], look_again: Callable[[], SecondLook]
) -> Explanation:
    """Explain again with each light once; the doubled passes keep a factor of 0."""
    doubled = {pair.second for pair in twins}
    left = [index for index in range(len(blocks.passes)) if index not in doubled]

    def look_at_the_rest() -> SecondLook:
        look = look_again()
        return replace(look, passes=tuple(look.passes[index] for index in left))

    names = tuple(blocks.names[index] for index in left)
    once = replace(blocks, names=names, passes=tuple(blocks.passes[index] for index in left))
    found = explain(once, look_at_the_rest)
    factors, errors, fitted = np.zeros((3, len(blocks.passes)))
    factors[left], errors[left], fitted[left] = found.factors, found.errors, found.fitted
    colours = None
    if found.colours is not None:
        colours = np.zeros((len(blocks.passes), 3))
        colours[left] = found.colours
    passes = list(blocks.passes)
    for position, index in enumerate(left):
        passes[index] = found.blocks.passes[position]
    whole = replace(found.blocks, names=blocks.names, passes=tuple(passes))
    decoded = tuple(left[index] for index in found.decoded)
    return replace(
        found,
        blocks=whole,
        factors=factors,
        errors=errors,
        fitted=fitted,
        colours=colours,
        decoded=decoded,
    )


def _shift(
    explanation: Explanation, grain: GrainReport | None, passes: tuple[Measured, ...]
) -> Shift | None:
    """Look for a shift where nothing else was found that changes edges."""
    changed = explanation.decoded or explanation.beauty_decoded or explanation.tone_mapped
    if changed or grain is None or grain.blotchy:
        return None
    slopes = [
        replace(m.slopes, across=factor * m.slopes.across, down=factor * m.slopes.down)
        for factor, m in zip(explanation.factors, passes, strict=True)
    ]
    residual, judge = explanation.residual, explanation.judge
    shift = find_shift(residual.means, judge, slopes)
    if shift is None or explanation.explains:
        return shift
    left = BlockPicture(shift.taken_from(residual.means, slopes), residual.checker)
    explains = judge.unexplained(left) < _SHIFT_LEAVES * judge.unexplained(residual)
    return shift if explains else None


def _grain(explanation: Explanation) -> GrainReport | None:
    if explanation.colours is not None:
        return None
    return grain_report(explanation.blocks, explanation.factors, explanation.judge)


def _without_beauty(gathered: _Gathered, weights: Float) -> Proof:
    keep = np.ones((3, *gathered.grid.shape), dtype=bool)
    diagnoses = []
    for pair in same_lights(gathered.pictures, keep):
        first, second = gathered.names[pair.first], gathered.names[pair.second]
        diagnoses.append(
            Diagnosis(
                "pass-counted-twice",
                (second,),
                f"shows the same light as {first}",
                f"keep one of the two: leave {second} out of the recipe, or render it again",
            )
        )
    for name, measured in gathered.passes.items():
        if not measured.blocks.means.any():
            diagnoses.append(
                Diagnosis(
                    "pass-empty",
                    (name,),
                    "holds no light at all",
                    "check that its light was on when it was rendered",
                )
            )
        elif gathered.suspicions[name].suspected:
            reasons = "; ".join(gathered.suspicions[name].reasons)
            diagnoses.append(
                Diagnosis(
                    "pass-display-encoded",
                    (name,),
                    f"looks display-encoded: {reasons}",
                    "save the pass scene-linear, without a display transform",
                )
            )
    lights = tuple(
        LightProof(name, share)
        for name, share in zip(
            gathered.names, shares_of_light(gathered.pictures, weights), strict=True
        )
    )
    verdict = "does not add up" if diagnoses else "cannot be proven"
    return Proof(verdict, lights, tuple(diagnoses), unprovable=UNPROVABLE_WITHOUT_BEAUTY)
