"""Pictures of a folder while they are judged, and what each is taken for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from evenfall.prove.blocks import BlockPicture
from evenfall.survey.listing import named_as
from evenfall.survey.looking import Seen
from evenfall.survey.names import light_names, match_name
from evenfall.survey.sums import Comparison, compare
from evenfall.survey.words import FILLING_WORDS, words_of

__all__ = ["Folder", "Kind", "Stem", "Verdict"]

Kind = Literal["light", "beauty", "part of light", "data", "left out"]
Stem = tuple[str, ...]


@dataclass(frozen=True)
class Verdict:
    """What a picture is taken for.

    Parameters
    ----------
    kind : Kind
        Of what kind it is.
    what : str
        What data or part it is; empty for others.
    reason : str
        Why; empty for a light that is one by default.
    sure : bool
        False where a person should look.
    light : int or None
        Number of the first picture of the light that it is, or is a part of.
    """

    kind: Kind
    what: str = ""
    reason: str = ""
    sure: bool = True
    light: int | None = None


@dataclass
class Folder:
    """Pictures while they are judged, by number.

    Parameters
    ----------
    seen : sequence of Seen
        All of them.
    verdicts : dict of int to Verdict
        Those that have been judged.
    """

    seen: Sequence[Seen]
    verdicts: dict[int, Verdict] = field(default_factory=dict)

    @property
    def open(self) -> list[int]:
        """Those that have not been judged."""
        return [number for number in range(len(self.seen)) if number not in self.verdicts]

    def blocks(self, numbers: Iterable[int]) -> dict[int, BlockPicture]:
        """Reduced pictures."""
        return {number: self.seen[number].blocks for number in numbers}

    def holds(self, total: int, addends: Iterable[int]) -> Comparison:
        """Compare a picture with the sum of others."""
        return compare(self.seen[total].blocks, list(self.blocks(addends).values()))

    def label(self, number: int) -> str:
        """Name of a picture for people, as the light would be called."""
        found = self.seen[number].found
        title = found.says.title or " ".join(found.says.own)
        if title and set(words_of(title)) <= FILLING_WORDS:
            called = [named_as(each.found, together=False, alone=False) for each in self.seen]
            named = light_names(called)[number]
            return title if named is None else named.title or named.key
        match = match_name(title)
        return found.place if match is None else match.light

    def labels(self, numbers: Iterable[int]) -> str:
        """Names of pictures for people."""
        names = [self.label(number) for number in numbers]
        if len(names) > 6:
            return f"{', '.join(names[:5])} and {len(names) - 5} more"
        return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)
