"""Pictures of the round before that this round would make again: they are taken over."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import TypeVar

from evenfall.record.earlier import Earlier, is_intact, rebased
from evenfall.record.hashes import Hashes
from evenfall.record.report import RunReport
from evenfall.record.values import FileReport, InputReport, MoodReport
from evenfall.system.atomic import put_whole

__all__ = ["EarlierRound"]

Noted = TypeVar("Noted", FileReport, MoodReport)


class EarlierRound(Earlier):
    """As `Earlier`; what is not in the folder itself is taken over from that of the round before.

    Parameters
    ----------
    report : RunReport or None
        Of an earlier run in the folder itself.
    former : RunReport
        Of the round before.
    out : Path
        The folder itself; absolute.
    endings : tuple of str
        What names end in here, and what they ended in then.
    bring : bool
        Whether files are copied; otherwise they are told of where they lie.
    """

    def __init__(
        self,
        report: RunReport | None,
        former: RunReport,
        out: Path,
        *,
        endings: tuple[str, str],
        bring: bool,
    ) -> None:
        super().__init__(report)
        self._own, self._former, self._folder = Earlier(report), Earlier(former), former.out
        self._out, self._endings, self._bring = out, endings, bring

    @property
    def inputs(self) -> dict[Path, InputReport]:
        """What was noted of files that were read then, by absolute path."""
        return {**self._former.inputs, **self._own.inputs}

    def small_pictures(self, name: str, facts: str, hashes: Hashes) -> tuple[str, ...]:
        """Give digests by which a small picture of a mood may be kept, if it is the same now."""
        return tuple(
            digest
            for each in (self._own, self._former)
            for digest in each.small_pictures(name, facts, hashes)
        )

    def noted(self, name: str, facts: str) -> MoodReport | None:
        """Give an earlier mood whose facts are these, whatever became of its files since."""
        own = self._own.noted(name, facts)
        former = self._former.noted(name, facts) if own is None else None
        return own if former is None else self._seen_from_here(former)

    def file(self, path: Path, facts: str, hashes: Hashes) -> FileReport | None:
        """Give an earlier file, if it would come out the same; a former one is copied here."""
        own = self._own.file(path, facts, hashes)
        if own is not None:
            return own
        here, then = self._endings
        stem = path.stem.removesuffix(here) if here else path.stem
        former = self._former.file(self._folder / f"{stem}{then}{path.suffix}", facts, hashes)
        if former is None or not self._bring:
            return former
        brought = self._seen_from_here(former).model_copy(update={"path": path})
        with contextlib.suppress(OSError):  # it is made instead, which tells what is wrong
            if not os.path.lexists(path):
                put_whole(path, former.path.read_bytes(), replace=False)
        return brought if is_intact(brought) else None  # a run that died may have brought it

    def _seen_from_here(self, noted: Noted) -> Noted:
        """Name the files that it was made of as they are seen from the folder itself."""
        if noted.made_of is None:
            return noted
        made_of = rebased(noted.made_of, self._folder, self._out)
        return noted.model_copy(update={"made_of": made_of})
