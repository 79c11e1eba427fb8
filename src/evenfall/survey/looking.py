"""Looking into passes for a survey: each read once, and what can be told from its pixels."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

import numpy as np

from evenfall.errors import PassError
from evenfall.light.primaries import luminance_weights, space_from_chromaticities
from evenfall.passes.files import stamp
from evenfall.passes.header import PassHeader, Selector
from evenfall.passes.image import PassImage, PixelCensus
from evenfall.passes.mending.clean import Flaws, find_flaws
from evenfall.passes.reading import read
from evenfall.prove.suspicion import suspect_encoding
from evenfall.survey.names import RoleGuess
from evenfall.survey.roles import LightTraits, light_traits
from evenfall.system.opened import Stamp
from evenfall.system.processors import default_workers, passes_at_once

__all__ = ["Found", "Kind", "LookedAt", "PassFacts", "look_into"]

Kind = Literal["light", "beauty", "guide"]

_BYTES_A_PIXEL = 64  # while a pass is looked into


@dataclass(frozen=True)
class PassFacts:
    """Facts of one picture.

    Parameters
    ----------
    name : str
        Name proposed for the recipe.
    kind : str
        ``"light"``, ``"beauty"`` or ``"guide"`` (albedo, normal and other pictures without light).
    file : str
        Relative to the folder.
    header : PassHeader
        What the file says.
    stamp : Stamp
        Which file it was, before it was read.
    colour_space : str
        Name of its primaries, or ``"BT.709 (not said)"``.
    mean_luminance, peak_luminance : float
        In scene units; the peak is the largest pixel.
    share : float
        Of the light of all passes; 0 for beauty and guides.
    stops_to_key : float or None
        Mean luminance against the key's (the brightest one's), in stops.
    role : RoleGuess or None
        Proposed role and why; None for beauty and guides.
    census : PixelCensus
        Broken numbers.
    flaws : dict of str to int
        Pixels by kind of flaw; see `evenfall.passes.mending.clean`.
    flat_top : float or None
        Level of the flat top, if there is one.
    encoding_marks : tuple of str
        Why the picture looks display-encoded; empty if it does not.
    """

    name: str
    kind: Kind
    file: str
    header: PassHeader
    stamp: Stamp
    colour_space: str
    mean_luminance: float
    peak_luminance: float
    share: float
    stops_to_key: float | None
    role: RoleGuess | None
    census: PixelCensus
    flaws: dict[str, int]
    flat_top: float | None
    encoding_marks: tuple[str, ...]


@dataclass(frozen=True)
class Found:
    """A picture inside a file, before it is read."""

    file: str
    header: PassHeader
    stem: str
    kind: Kind = "light"
    name: str = ""

    @property
    def selector(self) -> Selector:
        """What finds it in its file."""
        header = self.header
        return Selector(header.layer, header.part, header.view or None)


class LookedAt(NamedTuple):
    """A picture that was read, and what was found in it."""

    facts: PassFacts
    image: PassImage
    flaws: Flaws | None
    traits: LightTraits | None


def look_into(
    folder: Path, together: Sequence[list[Found]]
) -> Iterator[tuple[str, list[LookedAt] | PassError]]:
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
    looked_at : list of LookedAt or PassError
        Its pictures; the error when they cannot be read.
    """
    sizes = (each.header.width * each.header.height for some in together for each in some)
    pixels = max(sizes, default=1)
    at_once = passes_at_once((pixels, 1), default_workers(), bytes_a_pixel=_BYTES_A_PIXEL, least=1)
    begun: deque[tuple[str, Future[list[LookedAt]]]] = deque()
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


def _outcome(file: str, task: Future[list[LookedAt]]) -> tuple[str, list[LookedAt] | PassError]:
    try:
        return file, task.result()
    except PassError as error:
        return file, error


def _look_into(folder: Path, pictures: list[Found]) -> list[LookedAt]:
    """Read the pictures of one file, and find what there is to be said of each."""
    looked_at = []
    path = folder / pictures[0].file
    seen = stamp(path)
    images = read(path, [each.selector for each in pictures])
    for each, image in zip(pictures, images, strict=True):
        flaws = find_flaws(image.planes) if each.kind != "guide" else None
        traits = None
        if each.kind == "light":
            traits = light_traits(image.planes, _weights(image.header))
        looked_at.append(LookedAt(_facts(each, image, flaws, seen), image, flaws, traits))
    return looked_at


def _weights(header: PassHeader) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return luminance_weights(space_from_chromaticities(header.chromaticities))


def _facts(found: Found, image: PassImage, flaws: Flaws | None, seen: Stamp) -> PassFacts:
    weights = _weights(image.header).astype(np.float32)
    luminance = sum(
        weight * plane.astype(np.float32)
        for weight, plane in zip(weights, image.planes, strict=True)
    )
    space = space_from_chromaticities(image.header.chromaticities).name
    said = image.header.chromaticities is not None
    suspicion = suspect_encoding(image.planes)
    return PassFacts(
        name=found.name,
        kind=found.kind,
        file=found.file,
        header=image.header,
        stamp=seen,
        colour_space=space if said else f"{space} (not said)",
        mean_luminance=float(np.mean(luminance, dtype=np.float64)),
        peak_luminance=float(np.max(luminance)),
        share=0.0,
        stops_to_key=None,
        role=None,
        census=image.census,
        flaws={} if flaws is None else flaws.counts,
        flat_top=None if flaws is None else flaws.top,
        encoding_marks=suspicion.reasons if suspicion.suspected else (),
    )
