"""What the frames of a run of many have in common, worked out once."""

from __future__ import annotations

from dataclasses import dataclass

from evenfall.develop.asked import Asked
from evenfall.develop.measuring import Measuring
from evenfall.develop.shelf import Shelf

__all__ = ["Shared"]


@dataclass(frozen=True, eq=False)
class Shared:
    """What frames have in common; safe to use from threads.

    Parameters
    ----------
    metered : Asked or None
        What the recipe says of the frame in which exposure is measured; None: each for itself.
    held : Measuring or None
        What was measured there.
    shelf : Shelf
        Plates, masks, and passes that are the same in all frames.
    """

    metered: Asked | None
    held: Measuring | None
    shelf: Shelf
