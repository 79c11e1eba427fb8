"""What a proof says: verdict, one line a light, diagnoses, and maps for pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from evenfall.prove.blocks import BlockGrid, BlockPicture, Float, Plane, pool
from evenfall.prove.diagnosis import Diagnosis, Region
from evenfall.prove.evidence import Evidence

__all__ = [
    "UNPROVABLE_WITHOUT_BEAUTY",
    "LightProof",
    "Proof",
    "ProofMaps",
    "report",
    "shares_of_light",
    "small_view",
]

_REGION_BLOCKS = 4
TOO_SMALL = "anything for sure: the picture is too small to tell light from noise"
_ENOUGH_BLOCKS = 64
_VIEW_WIDTH = 800  # pixels

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
        What is wrong; empty for a sound set.
    difference_share : float
        Mean difference of beauty and plain sum as a share of light, block for block.
    noise_share : float
        The part of it that noise alone lets expect.
    worst : Region or None
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
    difference_share: float = 0.0
    noise_share: float = 0.0
    worst: Region | None = None
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
    evidence: Evidence, diagnoses: tuple[Diagnosis, ...], view: Float, weights: Float
) -> Proof:
    """Gather evidence and diagnoses into a proof; weights turn R, G, B into luminance."""
    explanation = evidence.explanation
    residual = evidence.plain.residual(np.ones(len(evidence.names)))
    light = np.maximum(np.abs(np.tensordot(weights, evidence.beauty.blocks.means, 1)), 1e-12)
    difference = np.tensordot(weights, residual.means, 1)
    sigmas = explanation.judge.sigmas(residual)
    loudest = np.take_along_axis(sigmas, np.abs(sigmas).argmax(0)[None], 0)[0]
    maps = ProofMaps(view, light, difference, loudest, evidence.grid)
    region, share, peak = _worst(maps)
    small = evidence.beauty.blocks.means[0].size < _ENOUGH_BLOCKS
    return Proof(
        "does not add up" if diagnoses else "cannot be proven" if small else "adds up",
        _lights(evidence, weights),
        diagnoses,
        float(np.abs(difference).sum() / light.sum()),
        _noise_share(evidence, weights, float(light.sum())),
        region,
        share,
        peak,
        (TOO_SMALL,) if small else (),
        maps=maps,
    )


def _lights(evidence: Evidence, weights: Float) -> tuple[LightProof, ...]:
    explanation = evidence.explanation
    fitted = explanation.colours is None and explanation.explains
    shares = shares_of_light([measured.blocks for measured in evidence.passes], weights)
    return tuple(
        LightProof(
            name,
            share,
            float(explanation.fitted[index]) if fitted else None,
            float(explanation.errors[index]) if fitted else None,
            fitted and bool(explanation.factors[index] == 1),
        )
        for index, (name, share) in enumerate(zip(evidence.names, shares, strict=True))
    )


def _noise_share(evidence: Evidence, weights: Float, light: float) -> float:
    """Mean |difference| over light that the grain of the explanation's residual lets expect."""
    explanation = evidence.explanation
    grain = np.tensordot(weights, explanation.residual.checker, 1) / 2
    correlated = np.sqrt(max(1.0, explanation.judge.correlation))
    return float(np.abs(grain).sum() * correlated / light)


def _worst(maps: ProofMaps) -> tuple[Region, float, float]:
    """Find the group of 4 x 4 blocks where sum and beauty differ most for what noise allows."""
    factor = _REGION_BLOCKS
    pooled = pool(maps.sigmas, factor) * factor
    row, column = (int(i) for i in np.unravel_index(int(np.abs(pooled).argmax()), pooled.shape))
    side = maps.grid.size * factor
    region = Region(
        column * side,
        row * side,
        min((column + 1) * side, maps.grid.width),
        min((row + 1) * side, maps.grid.height),
    )
    share = pool(maps.difference, factor)[row, column] / pool(maps.beauty, factor)[row, column]
    return region, float(share), float(pooled[row, column])
