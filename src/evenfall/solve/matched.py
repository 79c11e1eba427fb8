"""What came of matching a picture: gains, how sure they are, and what cannot be matched."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.compare.difference import Difference
from evenfall.solve.aimed import Moved

__all__ = ["Matched", "Place"]


@dataclass(frozen=True)
class Place:
    """A part of the picture that cannot be matched.

    Parameters
    ----------
    box : tuple of float
        Left, top, right, bottom, in shares of width and height.
    share : float
        Of the picture.
    how : str
        What the reference has there: "lighter", "darker" or "another colour".
    """

    box: tuple[float, float, float, float]
    share: float
    how: str

    def __str__(self) -> str:
        left, top, right, bottom = self.box
        return (
            f"{left:.2f},{top:.2f} to {right:.2f},{bottom:.2f} ({self.share:.0%} of the picture): "
            f"the reference is {'of another colour' if self.how == 'another colour' else self.how}"
        )


@dataclass(frozen=True)
class Matched:
    """What came of it.

    Parameters
    ----------
    path, mood : Path, str
        The recipe and its mood.
    reference : Path
        The picture.
    moved : tuple of Moved
        What could move, by how much it went, and within how many stops that is sure.
    off_by : float
        Mean difference where the reference can be matched: codes of 255 of a displayed picture,
        or stops of scene-linear light.
    unit : str
        In what `off_by` counts.
    was_off_by : float
        The same before.
    matched_share : float
        Share of the picture that can be matched.
    places : tuple of Place
        Where it cannot, the largest first.
    missing : tuple of str
        Lights that would explain what is left, in words.
    alike : tuple of (str, str)
        Lights that cannot be told apart in this view.
    changes : mapping of str to tuple of Difference
        What changes in the recipe, by mood.
    notes : tuple of str
        What a person should know.
    text : str
        The recipe as it stands now, or would.
    written : bool
        False when it was only to be said.
    maps : tuple of ndarray or None
        Reference and match as shown, sRGB codes (h, w, 3); and their difference in lightness,
        (h, w), positive where the reference is lighter; for drawing.
    """

    path: Path
    mood: str
    reference: Path
    moved: tuple[Moved, ...]
    off_by: float
    unit: str
    was_off_by: float
    matched_share: float
    places: tuple[Place, ...]
    missing: tuple[str, ...]
    alike: tuple[tuple[str, str], ...]
    changes: Mapping[str, tuple[Difference, ...]]
    notes: tuple[str, ...]
    text: str
    written: bool
    maps: tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8], npt.NDArray[np.float32]] | None = (
        field(default=None, repr=False)
    )

    @property
    def figures(self) -> str:
        """What was measured, in one line."""
        return (
            f"{self.matched_share:.0%} of the picture can be matched; there it is off by "
            f"{self.off_by:.2g} {self.unit} on average, {self.was_off_by:.2g} before"
        )
