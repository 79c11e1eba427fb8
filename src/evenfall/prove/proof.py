"""What a proof says: verdict, one line a light, diagnoses, and maps for pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from evenfall.prove.blocks import BlockGrid, BlockPicture, Float, Plane, pool
from evenfall.prove.diagnosis import Diagnosis, Rectangle, Remark
from evenfall.prove.duplicates import same_lights
from evenfall.prove.fit import BlockSet, fit_factors
from evenfall.prove.measure import Measured
from evenfall.prove.suspicion import EncodingSuspicion
from evenfall.prove.told import Case

__all__ = [
    "UNPROVABLE_WITHOUT_BEAUTY",
    "LightProof",
    "Proof",
    "ProofMaps",
    "report",
    "shares_of_light",
    "small_view",
    "without_beauty",
]

_REGION_BLOCKS = 4
TOO_SMALL = "anything for sure: the picture is too small to tell light from noise"
_ENOUGH_BLOCKS = 64
_VIEW_WIDTH = 800  # pixels
_FITTED = 0.12  # more left than this: factors are not worth telling

UNPROVABLE_WITHOUT_BEAUTY = (
    "that no light is missing",
    "that no light is in two passes that show it differently",
    "that all passes were exported at one exposure and white balance",
    "that passes were not denoised on their own",
    "that the background is in exactly one pass",
)
"""What only a beauty can tell."""


@dataclass(frozen=True)
class LightProof:
    """How one pass stands in the beauty.

    Parameters
    ----------
    name : str
        The light.
    share : float
        Its share of the light (luminance) of all passes.
    factor, error : float or None
        Factor by which it enters the beauty, and one standard error; None if not known.
    as_rendered : bool
        Whether the factor cannot be told from 1.
    """

    name: str
    share: float
    factor: float | None = None
    error: float | None = None
    as_rendered: bool = False

    @property
    def exported_stops(self) -> float | None:
        """Stops by which the pass is brighter than what the beauty holds of it."""
        if self.factor is None or self.factor <= 0:
            return None
        return -float(np.log2(self.factor))


@dataclass(frozen=True, eq=False)
class ProofMaps:
    """Block by block, shape (rows, columns): for pictures of the residual.

    Parameters
    ----------
    view : ndarray
        Luminance of the beauty at about 800 pixels across, for orientation.
    beauty : ndarray
        Luminance of the beauty.
    difference : ndarray
        Luminance of the beauty less the plain sum of the passes.
    sigmas : ndarray
        The same in standard errors of its noise, the channel that stands out most; signed.
    grid : BlockGrid
        What the blocks are.
    """

    view: Float
    beauty: Float
    difference: Float
    sigmas: Float
    grid: BlockGrid


@dataclass(frozen=True)
class Proof:
    """The result of proving a set of passes.

    Parameters
    ----------
    verdict : str
        ``"adds up"``, ``"does not add up"`` or ``"cannot be proven"`` (no beauty).
    lights : tuple of LightProof
        One a pass, in the order of reading.
    diagnoses : tuple of Diagnosis
        What is wrong, what explains most first; empty for a sound set.
    remarks : tuple of Remark
        What is worth knowing of single pictures; it decides nothing.
    left_share : float
        Share of what they differ by, beyond noise, that no diagnosis explains but as light in no
        pass or light too much.
    difference_share : float
        Mean difference of beauty and plain sum as a share of light, block for block.
    noise_share : float
        The part of it that noise alone lets expect.
    worst : Rectangle or None
        Where they differ most, by standard errors.
    worst_share, worst_sigmas : float
        The difference there: signed share of the beauty's light, and standard errors.
    unprovable : tuple of str
        What these pictures cannot prove.
    maps : ProofMaps or None
        For pictures; None without a beauty.
    """

    verdict: str
    lights: tuple[LightProof, ...]
    diagnoses: tuple[Diagnosis, ...]
    remarks: tuple[Remark, ...] = ()
    left_share: float = 0.0
    difference_share: float = 0.0
    noise_share: float = 0.0
    worst: Rectangle | None = None
    worst_share: float = 0.0
    worst_sigmas: float = 0.0
    unprovable: tuple[str, ...] = ()
    maps: ProofMaps | None = field(default=None, repr=False, compare=False)


def shares_of_light(pictures: Sequence[BlockPicture], weights: Float) -> tuple[float, ...]:
    """Share of the summed luminance that each picture holds.

    Examples
    --------
    >>> lamp, sky = (BlockPicture(np.full((3, 2, 2), v), np.zeros((3, 2, 2))) for v in (1.0, 3.0))
    >>> shares_of_light([lamp, sky], np.array([0.2126, 0.7152, 0.0722]))
    (0.25, 0.75)
    """
    light = [float(np.tensordot(weights, picture.means, 1).sum()) for picture in pictures]
    total = sum(light)
    return tuple(each / total if total > 0 else 0.0 for each in light)


def small_view(planes: Sequence[Plane], weights: Float) -> Float:
    """Reduce a picture to luminance at about 800 pixels across, by means of whole pixels.

    Examples
    --------
    >>> plane = np.ones((90, 1600), np.float32)
    >>> small_view([plane] * 3, np.array([0.2126, 0.7152, 0.0722])).shape
    (45, 800)
    """
    height, width = planes[0].shape
    grid = BlockGrid(height, width, max(1, round(width / _VIEW_WIDTH)))
    channels = np.stack([grid.sums(plane) for plane in planes]) / grid.counts()
    view: Float = np.tensordot(weights, channels, 1)
    return view


def report(
    case: Case,
    diagnoses: tuple[Diagnosis, ...],
    remarks: tuple[Remark, ...],
    view: Float,
    weights: Float,
) -> Proof:
    """Gather what was found into a proof; weights turn R, G, B into luminance."""
    residual = case.plain.residual
    light = np.maximum(np.abs(np.tensordot(weights, case.beauty.blocks.means, 1)), 1e-12)
    difference = np.tensordot(weights, residual, 1)
    sigmas = case.judge.standardised(residual, case.plain.keep)[0]
    loudest = np.take_along_axis(sigmas, np.abs(sigmas).argmax(0)[None], 0)[0]
    maps = ProofMaps(view, light, difference, loudest, case.grid)
    region, share, peak = _worst(maps)
    small = light.size < _ENOUGH_BLOCKS
    return Proof(
        "does not add up" if diagnoses else "cannot be proven" if small else "adds up",
        _lights(case, weights),
        diagnoses,
        remarks,
        case.found.left if case.found.faults else float(bool(diagnoses)),
        float(np.abs(difference).sum() / light.sum()),
        _noise_share(case, weights, float(light.sum())),
        region,
        share,
        peak,
        (TOO_SMALL,) if small else (),
        maps=maps,
    )


def _lights(case: Case, weights: Float) -> tuple[LightProof, ...]:
    """Factors of all lights at once, with what else was found undone; none where much is left."""
    found, plain = case.found, case.plain
    shares = shares_of_light([measured.blocks for measured in case.passes], weights)
    scaled = ("gain", "off", "twin")
    undone = list(found.state.passes)
    beauty = found.state.beauty
    for fault in found.faults:
        if fault.kind in scaled and fault.light is not None:
            undone[fault.light] = plain.passes[fault.light]
        if fault.kind == "gain" and fault.subject == "beauty":
            beauty = plain.beauty
    if not case.beauty.blocks.means.any() or found.left > _FITTED:
        return tuple(LightProof(*each) for each in zip(case.names, shares, strict=True))
    nothing = np.zeros_like(plain.beauty.means)
    blocks = BlockSet(
        case.names,
        BlockPicture(beauty.means, nothing),
        tuple(BlockPicture(each.means, nothing) for each in undone),
        found.state.keep,
    )
    fit = fit_factors(blocks, case.judge)
    accused = {fault.light for fault in found.faults if fault.kind in scaled}
    by_beauty = any(f.kind == "gain" and f.subject == "beauty" for f in found.faults)
    return tuple(
        LightProof(
            name,
            share,
            float(fit.factors[index]),
            float(fit.errors[index]),
            index not in accused and not by_beauty,
        )
        for index, (name, share) in enumerate(zip(case.names, shares, strict=True))
    )


def _noise_share(case: Case, weights: Float, light: float) -> float:
    """Mean |difference| over light that the measured noise lets expect."""
    ones = np.ones(len(case.names))
    contrasts = case.blocks.residual(ones).contrasts
    grain = np.abs(np.einsum("c,kcij->kij", weights, contrasts)).mean(0) / 2
    correlated = np.sqrt(max(1.0, case.judge.correlation))
    return float(grain.sum() * correlated / light)


def _worst(maps: ProofMaps) -> tuple[Rectangle, float, float]:
    """Find the group of 4 x 4 blocks where sum and beauty differ most for what noise allows."""
    factor = _REGION_BLOCKS
    pooled = pool(maps.sigmas, factor) * factor
    row, column = (int(i) for i in np.unravel_index(int(np.abs(pooled).argmax()), pooled.shape))
    region = Rectangle(*maps.grid.pixels(row, column, factor))
    share = pool(maps.difference, factor)[row, column] / pool(maps.beauty, factor)[row, column]
    return region, float(share), float(pooled[row, column])


def without_beauty(
    passes: Mapping[str, Measured],
    suspicions: Mapping[str, EncodingSuspicion],
    grid: BlockGrid,
    weights: Float,
) -> Proof:
    """Say what passes alone let say, which proves nothing: remarks."""
    names, pictures = tuple(passes), tuple(measured.blocks for measured in passes.values())
    keep = np.ones((3, *grid.shape), dtype=bool)
    noted = [
        Remark(
            "counted-twice",
            (names[pair.second],),
            f"shows the same light as {names[pair.first]}",
            f"keep one of the two: leave {names[pair.second]} out of the recipe, or render it "
            "again",
        )
        for pair in same_lights(pictures, keep)
    ]
    for name, measured in passes.items():
        if not measured.blocks.means.any():
            advice = "check that its light was on when it was rendered"
            noted.append(Remark("pass-empty", (name,), "holds no light at all", advice))
        elif suspicions[name].suspected:
            reasons = "; ".join(suspicions[name].reasons)
            advice = "save the pass scene-linear, without a display transform"
            message = f"looks display-encoded: {reasons}"
            noted.append(Remark("display-encoded", (name,), message, advice))
    shares = zip(names, shares_of_light(pictures, weights), strict=True)
    lights = tuple(LightProof(name, share) for name, share in shares)
    return Proof("cannot be proven", lights, (), tuple(noted), unprovable=UNPROVABLE_WITHOUT_BEAUTY)
