"""What a displayed picture comes to: how light it is, what is clipped, and whether by lamps."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from evenfall.camera.sources import LAMP, SKY, shining, widened
from evenfall.develop.developed import DevelopedMood
from evenfall.develop.figures import at_top
from evenfall.light.cielab import cie_lightness
from evenfall.light.primaries import luminance_weights
from evenfall.light.transfer import decode_srgb
from evenfall.recipe.lights import Role
from evenfall.recipe.look import Denoise

__all__ = ["Shown", "SourcesSeen", "measure_shown"]

Mask = npt.NDArray[np.bool_]
Plane = npt.NDArray[np.floating]

_STRIP_ROWS = 64
_SAMPLED = 4  # every so many pixels tell how light a picture is
_HIGH = 95  # percentile
_REACH = 2  # pixels around a lamp, which pixel filter and glare light


@dataclass(frozen=True)
class Shown:
    """Figures of a displayed picture.

    Parameters
    ----------
    clipped_share : float
        Share of pixels of which a channel is at its top code of 8 bits.
    burnt_share : float
        The same, where no lamp is seen, nor, by day, the sky.
    median_lightness, high_lightness : float
        CIE L* that half of the picture, and 95 % of it, lie below.
    """

    clipped_share: float
    burnt_share: float
    median_lightness: float
    high_lightness: float


@dataclass(eq=False)
class SourcesSeen:
    """Where passes show their lights themselves: lamps, and the sky in a window or above a house.

    Examples
    --------
    >>> wall = np.ones((20, 20)); wall[3, 4] = 50
    >>> sources = SourcesSeen()
    >>> sources.see([wall] * 3, "fixture")
    >>> mask = sources.masked((20, 20), by_day=False)  # with what lies around the bulb
    >>> int(np.count_nonzero(mask))
    25
    """

    lamps: Mask | None = None
    sky: Mask | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def see(self, planes: Sequence[Plane], role: Role) -> None:
        """Take a pass; may be called from several threads."""
        if role == "fill":
            return
        is_sky = role == "sky"
        brightest = np.max([np.asarray(plane, np.float32) for plane in planes], axis=0)
        among = brightest[::_SAMPLED, ::_SAMPLED]
        if not among.max(initial=0) > 0:
            return
        seen = shining(brightest, SKY if is_sky else LAMP, among)
        with self._lock:
            if is_sky:
                self.sky = seen if self.sky is None else self.sky | seen
            else:
                self.lamps = seen if self.lamps is None else self.lamps | seen

    def masked(self, shape: tuple[int, int], *, by_day: bool) -> Mask:
        """Where a clipped pixel is no fault."""
        parts = [self.lamps, self.sky if by_day else None]
        known = [part for part in parts if part is not None and part.shape == shape]
        if not known:
            return np.zeros(shape, bool)
        return widened(np.any(known, axis=0), _REACH)


def measure_shown(developed: DevelopedMood, sources: SourcesSeen) -> Shown:
    """Measure a mood as an 8-bit sRGB display shows it, before any denoising."""
    look = developed.mood.look.model_copy(update={"denoise": Denoise()})
    chain = developed.chain(look=look)
    scene = developed.scene(chain)
    weights = luminance_weights(chain.output.rgb).astype(np.float32)
    width, height = developed.size
    spared = sources.masked((height, width), by_day=developed.mood.time_of_day == "day")
    clipped = burnt = 0
    lightness = []
    for top in range(0, height, _STRIP_ROWS):
        rows = slice(top, min(top + _STRIP_ROWS, height))
        encoded = scene.encode_rows(chain, rows)
        top_code = at_top(encoded)
        clipped += int(np.count_nonzero(top_code))
        burnt += int(np.count_nonzero(top_code & ~spared[rows]))
        sample = decode_srgb(encoded[:, ::_SAMPLED, ::_SAMPLED])
        lightness.append(cie_lightness(np.einsum("c,chw->hw", weights, sample)).ravel())
    median, high = np.percentile(np.concatenate(lightness), (50, _HIGH))
    pixels = height * width
    return Shown(clipped / pixels, burnt / pixels, float(median), float(high))
