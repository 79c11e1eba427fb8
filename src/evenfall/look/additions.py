"""What asks for steps that need the whole picture, told without importing what makes them."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol, TypeVar

from evenfall.recipe.look import Look

if TYPE_CHECKING:
    from evenfall.look.regions import RegionChange
    from evenfall.passes.side.pictures import Picture
    from evenfall.recipe.moods import Overlay, Plate

__all__ = ["Additions", "needs_whole"]

T = TypeVar("T")


class Keep(Protocol):
    """Gives what is kept under a key, or makes it; see `evenfall.develop.shelf.Shelf.get`."""

    def __call__(self, key: Hashable, make: Callable[[], T], bytes_of: Callable[[T], int]) -> T:
        """Give it."""


def _make(key: Hashable, make: Callable[[], T], bytes_of: Callable[[T], int]) -> T:
    return make()


@dataclass(frozen=True, eq=False)
class Additions:
    """What a mood puts behind, in front of, and onto its picture.

    Attributes
    ----------
    regions : sequence of RegionChange
        Changes in areas, in order; they act on the view itself, before plate and cut-outs.
    plates : sequence of Plate, Picture and weight
        The background and its settings; several dissolve, by their weights in linear light.
    overlays : sequence of pairs of Overlay and Picture
        Cut-outs from back to front, and their settings.
    keep : callable
        Gives what is kept under a key, or makes it: what does not depend on the mix, such as a
        plate at the size of the view, is then made once for many mixes.
    """

    regions: Sequence[RegionChange] = ()
    plates: Sequence[tuple[Plate, Picture, float]] = ()
    overlays: Sequence[tuple[Overlay, Picture]] = field(default=())
    keep: Keep = _make

    @property
    def any(self) -> bool:
        """Whether there is anything to add."""
        return bool(self.regions or self.overlays or self.plates)


def needs_whole(look: Look) -> bool:
    """Whether a look has steps that need the whole picture, once the mix is denoised.

    Examples
    --------
    >>> needs_whole(Look()), needs_whole(Look(glare={"strength": 0.05}))
    (False, True)
    """
    return look.glare.strength > 0 or look.sharpen.strength > 0 or look.fringe.strength > 0
