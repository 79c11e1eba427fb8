"""The plan of a mix: which passes are read, and what each adds to which mood."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

__all__ = ["MixPlan", "RegionalGain", "Rgb", "only", "plan_mix"]

Floats = npt.NDArray[np.float32]
Rgb = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class RegionalGain:
    """Gains that lights have only in one area of one mood.

    Parameters
    ----------
    weights : ndarray, shape (H, W), float32
        0 where the area has no say, 1 where it has the whole; between, the two are blended in
        scene-linear light.
    gains : mapping of str to float
        By light: the factor on top of its balance where the weight is 1.
    """

    weights: Floats
    gains: Mapping[str, float]


@dataclass(frozen=True, eq=False)
class MixPlan:
    """What is to be read, in which order, and how it is summed.

    Parameters
    ----------
    moods : tuple of str
        The moods that are made.
    batches : tuple of tuple of str
        Lights that are read together, in the order in which they are summed. The order depends on
        the recipe alone, never on the moods chosen, so that a mood made alone has the same bytes.
    factors : mapping of str to mapping of str to ndarray, shape (3,), float32
        By mood and light; lights that are off are left out.
    regional : mapping of str to tuple of RegionalGain
        By mood.
    """

    moods: tuple[str, ...]
    batches: tuple[tuple[str, ...], ...]
    factors: Mapping[str, Mapping[str, Floats]]
    regional: Mapping[str, tuple[RegionalGain, ...]] = field(default_factory=dict)

    @property
    def lights(self) -> tuple[str, ...]:
        """All lights that are read."""
        return tuple(light for batch in self.batches for light in batch)

    def needed_by(self, lights: Iterable[str]) -> tuple[str, ...]:
        """Moods in which one of these lights is on."""
        asked = set(lights)
        return tuple(mood for mood in self.moods if asked & self.factors[mood].keys())


def only(lights: Collection[str] | None, factors: Mapping[str, Rgb]) -> Mapping[str, Rgb]:
    """Give the factors of some lights; of all for None.

    Examples
    --------
    >>> only(["lamp"], {"sun": (1, 1, 1), "lamp": (2, 2, 2)})
    {'lamp': (2, 2, 2)}
    """
    if lights is None:
        return factors
    return {light: factor for light, factor in factors.items() if light in lights}


def plan_mix(
    factors: Mapping[str, Mapping[str, Rgb]],
    batches: Sequence[Sequence[str]],
    regional: Mapping[str, tuple[RegionalGain, ...]] | None = None,
    *,
    also: Iterable[str] = (),
) -> MixPlan:
    """Plan the reading and summing of moods.

    Parameters
    ----------
    factors : mapping of str to mapping of str to (float, float, float)
        By mood and light: factors for R, G, B in the passes' own primaries.
    batches : sequence of sequence of str
        All lights of the recipe as they are read together; lights that no mood needs are dropped.
    regional : mapping of str to tuple of RegionalGain, optional
        Gains that hold in a part of the picture, by mood.
    also : iterable of str
        Lights that are read even if no mood needs them, because they are measured.

    Returns
    -------
    MixPlan
        A light whose three factors are 0 in every mood is not in it and is not read, unless `also`
        names it.

    Raises
    ------
    ValueError
        When a factor is negative, infinite or not a number, or a light lies in no batch.

    Examples
    --------
    >>> plan = plan_mix(
    ...     {"day": {"sun": (1, 1, 1), "lamp": (0, 0, 0)}, "night": {"lamp": (2, 1, 0.5)}},
    ...     [("sky",), ("sun", "lamp")])
    >>> plan.batches
    (('sun', 'lamp'),)
    >>> plan.needed_by(["sun"])
    ('day',)
    """
    kept: dict[str, dict[str, Floats]] = {}
    for mood, by_light in factors.items():
        kept[mood] = {}
        for light, rgb in by_light.items():
            row = np.asarray(rgb, dtype=np.float32)
            if row.shape != (3,) or not np.isfinite(row).all() or (row < 0).any():
                raise ValueError(
                    f"mood {mood!r}, light {light!r}: expected three factors of 0 or more, "
                    f"found {tuple(rgb)}"
                )
            if row.any():
                kept[mood][light] = row
    used = {light for by_light in kept.values() for light in by_light}.union(also)
    homeless = used.difference(*batches) if batches else used
    if homeless:
        raise ValueError(f"no pass holds {', '.join(sorted(homeless))}")
    trimmed = (tuple(light for light in batch if light in used) for batch in batches)
    return MixPlan(
        moods=tuple(factors),
        batches=tuple(batch for batch in trimmed if batch),
        factors=kept,
        regional={mood: gains for mood, gains in (regional or {}).items() if gains},
    )
