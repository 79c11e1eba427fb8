"""What the frames of a run of many have in common, worked out once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from evenfall.develop.asked import Asked
from evenfall.develop.measuring import Measuring
from evenfall.develop.shelf import Shelf
from evenfall.passes.standing import Standing

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
        Plates and masks.
    standing : Standing
        Passes that are the same in all frames.
    spent : mapping of Path to str
        SHA-256 of frames that have gone into films which still stand.
    """

    metered: Asked | None
    held: Measuring | None
    shelf: Shelf
    standing: Standing
    spent: Mapping[Path, str] = field(default_factory=dict)
