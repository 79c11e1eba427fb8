"""What came of aims: which are met, what moved, how sure it is, and what stands in the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from evenfall.compare.difference import Difference

__all__ = ["AimResult", "Aimed", "Moved"]


@dataclass(frozen=True)
class AimResult:
    """One thing that an aim asks, and what came of it.

    Parameters
    ----------
    aim : str
        Name of the aim.
    asks : str
        In words.
    stood, comes_to : str
        What the picture showed and what it shows now, in the words of what is asked.
    missed_by : float
        As the solver counts: stops; of colours, 0.1 is about as much as an eye sees.
    missed : str
        By how much, in the unit of what is asked; empty when it is met.
    is_met : bool
        Whether that is too little to be seen.
    must : bool
        Whether it was to be met whatever becomes of the others.
    why : str
        Why it is missed; empty when it is met.
    """

    aim: str
    asks: str
    stood: str
    comes_to: str
    missed_by: float
    missed: str
    is_met: bool
    must: bool
    why: str = ""


@dataclass(frozen=True)
class Moved:
    """A light, a group or the camera that could move.

    Parameters
    ----------
    name : str
        From the recipe, or "exposure".
    stops : float
        By which it went.
    play : float
        Stops by which it could still go, others following, before aims are missed: how sure its
        gain is. 3 stops is as much as nothing known.
    at_bound : bool
        Whether it went as far as it might.
    """

    name: str
    stops: float
    play: float
    at_bound: bool


@dataclass(frozen=True)
class Aimed:
    """What came of the aims of a mood.

    Parameters
    ----------
    path : Path
        The recipe.
    mood : str
        Name of the mood.
    aims : tuple of AimResult
        In the recipe's order.
    moved : tuple of Moved
        What could move.
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
    """

    path: Path
    mood: str
    aims: tuple[AimResult, ...]
    moved: tuple[Moved, ...]
    alike: tuple[tuple[str, str], ...]
    changes: Mapping[str, tuple[Difference, ...]]
    notes: tuple[str, ...]
    text: str
    written: bool

    @property
    def are_met(self) -> bool:
        """Whether all aims are met."""
        return all(result.is_met for result in self.aims)
