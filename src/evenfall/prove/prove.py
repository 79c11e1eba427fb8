"""Do the passes add up to the beauty, and if not, why not.

What beauty and passes differ by is held against its own noise, and that alone is the verdict, so
that a noisy set is not blamed for being noisy. Why they differ is searched afterwards, by undoing
faults one after the other. Pictures are read one at a time and reduced to some 16,000 blocks each;
memory does not grow with their number.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenfall.light.primaries import BT709, RgbSpace, luminance_weights
from evenfall.prove.blocks import BlockGrid, Float, Plane
from evenfall.prove.duplicates import same_lights
from evenfall.prove.fit import BlockSet
from evenfall.prove.found import Found, nothing_found
from evenfall.prove.looks import look_at
from evenfall.prove.measure import Measured, Pixels, measure
from evenfall.prove.proof import Proof, report, small_view, without_beauty
from evenfall.prove.remarks import place_remarks, remarks
from evenfall.prove.search import search
from evenfall.prove.state import Mask, Picture, Scene, Seen, State
from evenfall.prove.suspicion import EncodingSuspicion, suspect_encoding
from evenfall.prove.told import Case, told

__all__ = ["prove"]

ReadPasses = Callable[[], Iterable[tuple[str, Pixels]]]

_MUCH_DARKER = 0.7  # an open place in which the passes hold less than this lacks its background
_DARK = 1e-3  # of the mean light: a background darker than this is no background
_SEAM = 0.002  # share of blocks with alpha between


@dataclass(frozen=True, eq=False)
class _Inner:
    """The part of a picture that whole blocks cover."""

    planes: Sequence[Plane]
    alpha: Plane | None


def _inner(picture: Pixels, grid: BlockGrid) -> Pixels:
    rows = slice(grid.top, grid.top + grid.height)
    columns = slice(grid.left, grid.left + grid.width)
    alpha = picture.alpha
    return _Inner(
        [plane[rows, columns] for plane in picture.planes],
        None if alpha is None else alpha[rows, columns],
    )


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
    def measured(self) -> tuple[Measured, ...]:
        return tuple(self.passes.values())


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
        Gives name and picture of each pass, one at a time; called again if pixels must be looked
        at a second time to say what is wrong.
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
        return without_beauty(gathered.passes, gathered.suspicions, gathered.grid, weights)
    return _Proving(gathered, beauty, read_passes, space, on_pass).proof(weights)


def _gather(
    beauty: Pixels | None, read_passes: ReadPasses, on_pass: Callable[[str], None] | None
) -> _Gathered:
    whole = None if beauty is None else BlockGrid.for_picture(*beauty.planes[0].shape)
    passes: dict[str, Measured] = {}
    suspicions: dict[str, EncodingSuspicion] = {}
    for name, picture in read_passes():
        height, width = picture.planes[0].shape
        whole = whole or BlockGrid.for_picture(height, width)
        if (height, width) != (whole.height, whole.width):
            raise ValueError(
                f"pass {name!r} is {width} x {height} pixels, the others {whole.width} x "
                f"{whole.height}"
            )
        grid = whole.without_rest()
        passes[name] = measure(_inner(picture, grid), grid)
        if beauty is None:
            suspicions[name] = suspect_encoding(picture.planes)
        if on_pass is not None:
            on_pass(name)
    if whole is None or not passes:
        raise ValueError("no passes to prove")
    return _Gathered(whole.without_rest(), passes, suspicions)


class _Proving:
    """One proof with a beauty, step by step."""

    def __init__(
        self,
        gathered: _Gathered,
        beauty: Pixels,
        read_passes: ReadPasses,
        space: RgbSpace,
        on_pass: Callable[[str], None] | None,
    ) -> None:
        self.gathered, self.space = gathered, space
        self.beauty_pixels = _inner(beauty, gathered.grid)
        self.read_passes, self.on_pass = read_passes, on_pass
        self.beauty = measure(self.beauty_pixels, gathered.grid)
        self.plain = State.of(self.beauty, gathered.measured)
        self.judge = self.plain.judge
        self.blocks = BlockSet(
            gathered.names,
            self.beauty.blocks,
            tuple(measured.blocks for measured in gathered.measured),
            self.plain.keep,
        )

    def proof(self, weights: Float) -> Proof:
        """Verdict, what is wrong, and remarks."""
        found = self._found()
        case = Case(
            self.gathered.names,
            self.gathered.grid,
            self.beauty,
            self.gathered.measured,
            self.blocks,
            self.judge,
            self.plain,
            found or nothing_found(self.plain, 0.0, missing=False, surplus=False),
        )
        noted = remarks(
            self.gathered.names,
            self.beauty,
            self.gathered.measured,
            self.blocks,
            self.judge,
            agrees=found is None,
        )
        view = small_view(self.beauty_pixels.planes, weights)
        black = not self.beauty.blocks.means.any()
        diagnoses = told(case) if found is not None or black else ()
        proof = report(case, diagnoses, noted, view, weights)
        if found is not None:
            return proof
        places = place_remarks(proof.worst, proof.worst_share, proof.worst_sigmas)
        return replace(proof, remarks=(*places, *proof.remarks))

    def _found(self) -> Found | None:
        """Find what is wrong; None if the passes add up."""
        if not self.beauty.blocks.means.any():
            return None
        return search(self.plain, self.judge, self._scene(), self._look)

    def _scene(self) -> Scene:
        measured = self.gathered.measured
        missing, repeated = _background(measured, self.beauty)
        return Scene(
            self.space,
            (*(each.topped for each in measured), self.beauty.topped),
            missing,
            repeated,
            {p.second: p.first for p in same_lights(self.blocks.passes, self.plain.keep)},
            frozenset(i for i, each in enumerate(measured) if _has_seams(each.alpha)),
            {},
        )

    def _look(self, wanted: Iterable[Seen]) -> dict[Seen, Picture]:
        grid = self.gathered.grid
        return dict(
            look_at(
                wanted,
                self.gathered.names,
                grid,
                self.beauty_pixels,
                lambda: ((name, _inner(each, grid)) for name, each in self.read_passes()),
                self.on_pass,
            )
        )


def _has_seams(alpha: Float | None) -> bool:
    return alpha is not None and bool(np.mean((alpha > 0.02) & (alpha < 0.98)) > _SEAM)


def _background(passes: tuple[Measured, ...], beauty: Measured) -> tuple[Mask, Mask]:
    """Background that no pass holds, and background that several passes hold.

    The first is black in all passes though not in the beauty, or open in the beauty's alpha and
    much darker in the sum; the second looks in several passes as it does in the beauty.
    """
    from scipy.ndimage import binary_dilation, binary_opening

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
        if missing.any():
            missing = binary_dilation(missing, iterations=2) | (missing & (beauty.alpha < 0.999))
            missing |= (beauty.alpha < 0.999) & lit
    repeated = binary_opening((alike >= 2) & lit, solid)
    if missing.any() and beauty.alpha is None:
        missing = binary_dilation(missing, iterations=2)
    if repeated.any():
        repeated = binary_dilation(repeated, iterations=2)
    return missing, repeated
