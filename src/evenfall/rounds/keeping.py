"""Keeping a round: the recipe as it stands, what was asked, what changed, and what came out."""

from __future__ import annotations

import datetime
import hashlib
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.compare.recipes import recipe_differences
from evenfall.errors import Fault, OutputError, RecipeError, UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.reading import read_recipe_bytes
from evenfall.recipe.recipe import load_text
from evenfall.record.report import RunReport
from evenfall.record.round_record import RoundBase, RoundFile, RoundPicture, RoundRecord, Wish
from evenfall.record.rounds import (
    RECORD_NAME,
    KeptRound,
    next_number,
    read_rounds,
    rounds_folder,
)
from evenfall.system.folders import put_folder
from evenfall.system.partials import remove_leftovers

if TYPE_CHECKING:
    from evenfall.produce.events import OnEvent

__all__ = ["keep_round", "keep_text", "kept_as"]


def keep_round(
    recipe: Recipe,
    *,
    asked: Sequence[str] = (),
    answers: Sequence[str] = (),
    by: str = "",
    out: Path | None = None,
    on_event: OnEvent | None = None,
) -> KeptRound:
    """Keep the recipe as it stands, with its pictures, as the next round.

    Parameters
    ----------
    recipe : Recipe
        As it stands, without one-off changes.
    asked : sequence of str
        What was asked for, a wish each.
    answers : sequence of str
        What became of the wishes, in their order: ``"done"``, ``"declined: it would burn out"``.
    by : str
        Who asked, and how.
    out : Path, optional
        Where the deliverables lie; where a run puts them otherwise.
    on_event : callable, optional
        Told of progress where pictures have to be developed.

    Returns
    -------
    KeptRound

    Raises
    ------
    UsageError
        When the last round holds the same recipe and nothing was asked, or there are more answers
        than wishes.
    RecipeError, PassError, PixelSourceError
        When the pictures cannot be made.
    OutputError
        When the round cannot be written.
    """
    from evenfall.produce.running import run
    from evenfall.rounds.pictures import round_pictures

    wishes = _wishes(asked, answers)
    _refuse_changes(recipe)
    last = kept_as(recipe)
    if last is not None and not wishes and not by:
        found = f"round {last.number} holds this recipe already"
        hint = "say what was asked, if this is an answer: --asked 'shelf brighter'"
        raise UsageError(Fault(str(recipe.path), "", found, "", hint))
    report = run(recipe, out=out, dry_run=True)
    pictures, developed = round_pictures(recipe, report, on_event=on_event)
    stands = _Standing(recipe.path, recipe.text, recipe, pictures, report, developed)
    return _put(stands, wishes=wishes, by=by)


def keep_text(path: Path, text: str, note: str) -> KeptRound:
    """Keep only the text of a recipe, sound or not, so that it is not lost.

    Parameters
    ----------
    path : Path
        The recipe.
    text : str
        What stands in it.
    note : str
        Why it is kept.

    Raises
    ------
    OutputError
        When the round cannot be written.
    """
    try:
        recipe = load_text(text, path, check_files=False)
    except RecipeError:
        recipe = None
    return _put(_Standing(path, text, recipe, {}, None), note=note)


def kept_as(recipe: Recipe) -> KeptRound | None:
    """Give the last round of a recipe, if it holds just this text; None otherwise."""
    rounds = [kept for kept in read_rounds(rounds_folder(recipe.path)) if not kept.trouble]
    return rounds[-1] if rounds and rounds[-1].holds(recipe.text, recipe.other_texts) else None


def _wishes(asked: Sequence[str], answers: Sequence[str]) -> tuple[Wish, ...]:
    wishes = [wish.strip() for wish in asked]
    faults = [Fault("--asked", "", "is empty") for wish in wishes if not wish]
    if len(answers) > len(wishes):
        found = f"{len(answers)} answers to {len(wishes)} wishes"
        faults.append(Fault("--answer", "", found, "", "answers come in the order of the wishes"))
    for answer in answers:
        kind = answer.partition(":")[0].strip()
        if kind not in ("done", "declined", "open"):
            allowed = 'expected "done", "declined: WHY" or "open"'
            faults.append(Fault("--answer", "", f'found "{answer}"', allowed))
    if faults:
        raise UsageError(faults)
    padded = [*answers, *[""] * (len(wishes) - len(answers))]
    return tuple(
        Wish(wish=wish, answer=answer.strip()) for wish, answer in zip(wishes, padded, strict=True)
    )


def _refuse_changes(recipe: Recipe) -> None:
    if recipe.changes:
        found = "a round keeps the recipe as it stands, and not what is changed for once"
        hint = "write it into the recipe first, as 'evenfall change' does"
        raise UsageError(Fault(f"--set {recipe.changes[0]}", "", found, "", hint))


@dataclass(frozen=True)
class _Standing:
    """What stands now: a recipe's text, and what came of it."""

    path: Path
    text: str
    recipe: Recipe | None
    pictures: Mapping[str, bytes]
    report: RunReport | None
    developed: RunReport | None = None

    @property
    def reports(self) -> list[RunReport]:
        """What tells of files that the pictures were made of."""
        return [one for one in (self.report, self.developed) if one is not None]

    def raw(self) -> bytes:
        """Give the file's bytes, a byte order mark included."""
        return _raw(self.path, self.text)

    def bases(self) -> dict[str, tuple[str, bytes]]:
        """Give what the recipe builds on, and views that its exposure is taken from.

        By path: the name of the copy, and its bytes.
        """
        found: dict[str, tuple[str, bytes]] = {}
        taken = {RECORD_NAME, self.path.name}
        recipe = self.recipe
        for base in () if recipe is None else (*recipe.bases, *recipe.views):
            name = base.path.name
            while name.casefold() in {one.casefold() for one in taken}:
                name = f"base_{name}"
            taken.add(name)
            found[base.name] = name, _raw(base.path, base.text)
        return found

    def changes(self) -> tuple[int | None, tuple[str, ...]]:
        """Give the round before, and what changed since, in words."""
        rounds = [kept for kept in read_rounds(rounds_folder(self.path)) if not kept.trouble]
        if not rounds:
            return None, ()
        before = rounds[-1]
        try:
            former = before.load(self.path, check_files=False)
        except RecipeError:
            return before.number, ("its recipe is not one that this evenfall reads",)
        if self.recipe is None:
            return before.number, ("the recipe as it stands is not sound",)
        return before.number, tuple(recipe_differences(former, self.recipe).lines())


def _raw(path: Path, text: str) -> bytes:
    data = read_recipe_bytes(path)
    if data.decode("utf-8-sig", errors="replace") != text:
        found = "was changed meanwhile"
        raise UsageError(Fault(str(path), "", found, "", "keep the round again"))
    return data


def _put(
    stands: _Standing, *, wishes: tuple[Wish, ...] = (), by: str = "", note: str = ""
) -> KeptRound:
    """Write the round under the first number that is free, also when others write theirs."""
    data = stands.raw()
    folder = rounds_folder(stands.path)
    remove_leftovers(folder)
    pictures = {f"{mood}.jpg": picture for mood, picture in stands.pictures.items()}
    bases = stands.bases()
    number = next_number(folder)
    while True:
        since, changed = stands.changes()
        record = RoundRecord(
            recipe=stands.path.name,
            recipe_sha256=hashlib.sha256(data).hexdigest(),
            kept=datetime.datetime.now().astimezone().replace(microsecond=0),
            by=by,
            note=note,
            since=since,
            changed=changed,
            bases=tuple(_base(path, name, body) for path, (name, body) in bases.items()),
            asked=wishes,
            pictures=tuple(_noted(name, body) for name, body in pictures.items()),
            deliverables=tuple(_deliverables(stands)),
            passes=_fingerprints(stands),
            files=_side_files(stands),
            versions=_versions(stands.report),
        )
        path = folder / f"{number:03d}"
        files = {RECORD_NAME: record.to_toml().encode(), stands.path.name: data, **pictures}
        files |= dict(bases.values())
        try:
            put_folder(path, files)
        except FileExistsError:  # somebody else has kept a round meanwhile
            number = max(number + 1, next_number(folder))
        except OSError as error:
            said = error.strerror or type(error).__name__
            fault = Fault(str(path), "", f"the round cannot be kept: {said}")
            raise OutputError(fault) from error
        else:
            return KeptRound(number, path, record)


def _base(path: str, name: str, body: bytes) -> RoundBase:
    return RoundBase(path=path, file=name, sha256=hashlib.sha256(body).hexdigest())


def _noted(name: str, body: bytes) -> RoundPicture:
    mood = name.removesuffix(".jpg")
    return RoundPicture(mood=mood, file=name, sha256=hashlib.sha256(body).hexdigest())


def _deliverables(stands: _Standing) -> list[RoundFile]:
    home = stands.path.absolute().parent
    return [
        RoundFile(
            mood=file.mood,
            path=Path(os.path.relpath(file.path, home)).as_posix(),
            format=file.format,
            bytes=file.bytes,
            sha256=file.sha256,
        )
        for file in (() if stands.report is None else stands.report.files)
        if file.kept and file.sha256 is not None and file.bytes is not None
    ]


def _fingerprints(stands: _Standing) -> dict[str, str]:
    found = {
        name: light.fingerprint
        for report in stands.reports
        for name, light in report.lights.items()
        if light.fingerprint is not None
    }
    lights = () if stands.recipe is None else stands.recipe.model.lights
    return {name: found[name] for name in lights if name in found}


def _side_files(stands: _Standing) -> dict[str, str]:
    """Hashes of plates, masks and what else the pictures are made of beside the passes."""
    if stands.recipe is None:
        return {}
    recipe, home = stands.recipe, stands.path.absolute().parent
    lights = recipe.model.lights.values()
    passes = {
        os.path.normpath(recipe.pass_path(source.file).absolute())
        for light in lights
        for source in light.sources
    }
    found: dict[str, str] = {}
    for file in (file for report in stands.reports for file in report.files):
        for name, sha256 in file.made_of.inputs.items() if file.made_of is not None else ():
            path = os.path.normpath(file.path.absolute().parent / name)
            if path not in passes:
                found[Path(os.path.relpath(path, home)).as_posix()] = sha256
    return found


def _versions(report: RunReport | None) -> dict[str, str]:
    if report is not None:
        return dict(report.versions)
    from importlib.metadata import version

    return {"evenfall": version("evenfall")}
