"""Looking into pictures for a survey: each read once, and what can be told from its pixels."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.errors import PassError
from evenfall.light.primaries import RgbSpace, luminance_weights, space_from_chromaticities
from evenfall.passes.files import stamp
from evenfall.passes.header import PassHeader
from evenfall.passes.image import PassImage, PixelCensus
from evenfall.passes.mending.clean import Flaws, find_flaws
from evenfall.passes.reading import read
from evenfall.prove.blocks import BlockGrid, BlockPicture, reduce_picture
from evenfall.prove.suspicion import suspect_encoding
from evenfall.survey.lamp_colour import LampColour, lamp_colour
from evenfall.survey.listing import Found
from evenfall.survey.names import role_from_name
from evenfall.survey.signs import DataSign, sign_of_data
from evenfall.system.opened import Stamp
from evenfall.system.processors import default_workers, passes_at_once

__all__ = ["PassFacts", "Seen", "look_into"]

_BYTES_A_PIXEL = 64  # while a pass is looked into


@dataclass(frozen=True)
class PassFacts:
    """Facts of the pixels of one picture.

    Parameters
    ----------
    header : PassHeader
        What the file says.
    stamp : Stamp
        Which file it was, before it was read.
    space : RgbSpace
        Its primaries; BT.709 where the file does not say.
    mean_luminance, peak_luminance : float
        In scene units, without pixels beyond any light; the peak is the largest pixel.
    census : PixelCensus
        Broken numbers.
    flaws : dict of str to int
        Pixels by kind of flaw; see `evenfall.passes.mending.clean`.
    flat_top : float or None
        Level of the flat top, if there is one.
    encoding_marks : tuple of str
        Why the picture looks display-encoded; empty if it does not.
    lamp : LampColour or None
        Colour of a lamp that is seen directly.
    """

    header: PassHeader
    stamp: Stamp
    space: RgbSpace
    mean_luminance: float
    peak_luminance: float
    census: PixelCensus
    flaws: dict[str, int]
    flat_top: float | None
    encoding_marks: tuple[str, ...]
    lamp: LampColour | None

    @property
    def colour_space(self) -> str:
        """Name of its primaries, and whether they are assumed because the file does not say."""
        said = self.header.chromaticities is not None
        return self.space.name if said else f"{self.space.name} (assumed)"


@dataclass(frozen=True, eq=False)
class Seen:
    """A picture that was read, and what was found in it.

    Parameters
    ----------
    found : Found
        Where it is, and what its names say.
    facts : PassFacts
        What can be told of it.
    blocks : BlockPicture
        Means and grain of its blocks.
    sign : DataSign or None
        Why it holds no light, by its pixels.
    image : PassImage or None
        Its pixels, until they have been handed on.
    masks : Flaws or None
        Where its flaws are, until they have been handed on.
    """

    found: Found
    facts: PassFacts
    blocks: BlockPicture = field(repr=False)
    sign: DataSign | None
    image: PassImage | None = field(default=None, repr=False)
    masks: Flaws | None = field(default=None, repr=False)


def look_into(
    folder: Path, together: Sequence[list[Found]]
) -> Iterator[tuple[str, list[Seen] | PassError]]:
    """Look into files, in their order: some are being looked into ahead, as memory allows.

    Parameters
    ----------
    folder : Path
        Folder of the passes.
    together : sequence of list of Found
        Pictures, file by file.

    Yields
    ------
    file : str
        Its name.
    seen : list of Seen or PassError
        Its pictures; the error when they cannot be read.
    """
    sizes = (each.header.width * each.header.height for some in together for each in some)
    pixels = max(sizes, default=1)
    at_once = passes_at_once((pixels, 1), default_workers(), bytes_a_pixel=_BYTES_A_PIXEL, least=1)
    begun: deque[tuple[str, Future[list[Seen]]]] = deque()
    with ThreadPoolExecutor(at_once, "survey") as pool:
        try:
            for pictures in together:
                begun.append((pictures[0].file, pool.submit(_look_into, folder, pictures)))
                if len(begun) == at_once:
                    yield _outcome(*begun.popleft())
            while begun:
                yield _outcome(*begun.popleft())
        finally:
            pool.shutdown(cancel_futures=True)


def _outcome(file: str, task: Future[list[Seen]]) -> tuple[str, list[Seen] | PassError]:
    try:
        return file, task.result()
    except PassError as error:
        return file, error


def _look_into(folder: Path, pictures: list[Found]) -> list[Seen]:
    """Read the pictures of one file, and find what there is to be said of each."""
    path = folder / pictures[0].file
    seen = stamp(path)
    images = read(path, [each.selector for each in pictures])
    return [_seen(each, image, seen) for each, image in zip(pictures, images, strict=True)]


def _seen(found: Found, image: PassImage, file: Stamp) -> Seen:
    header = image.header
    space = space_from_chromaticities(header.chromaticities)
    weights = luminance_weights(space)
    planes = image.without_huge().planes
    blocks = reduce_picture(planes, BlockGrid.for_picture(header.height, header.width))
    masks = find_flaws(image.planes)
    sign = sign_of_data(image.planes)
    suspicion = suspect_encoding(planes)
    counts = BlockGrid.for_picture(header.height, header.width).counts()
    means = (blocks.means * counts).sum(axis=(1, 2)) / counts.sum()
    facts = PassFacts(
        header=header,
        stamp=file,
        space=space,
        mean_luminance=float(weights @ means),
        peak_luminance=_peak(planes, weights),
        census=image.census,
        flaws=masks.counts,
        flat_top=masks.top,
        encoding_marks=suspicion.reasons if suspicion.suspected else (),
        lamp=lamp_colour(planes, masks, space) if not sign and _may_be_a_lamp(found) else None,
    )
    return Seen(found, facts, blocks, sign, image, masks)


def _may_be_a_lamp(found: Found) -> bool:
    guess = role_from_name(" ".join(found.says.own))
    return guess is None or guess.role not in ("key", "sky", "fill")


def _peak(planes: Sequence[npt.NDArray[np.float32]], weights: npt.NDArray[np.float64]) -> float:
    luminance = sum(
        np.float32(weight) * plane.astype(np.float32)
        for weight, plane in zip(weights, planes, strict=True)
    )
    return float(np.max(luminance))
