"""From a picture back to its recipe: what it carries, and whether its passes are still the same."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from evenfall.deliver.provenance import Provenance
from evenfall.errors import Fault, PassError, PixelSourceError, UsageError
from evenfall.passes.fingerprint import joint_fingerprint, noted_fingerprint
from evenfall.passes.on_the_way import place_now, sources_now
from evenfall.passes.side.whole import picture_bytes
from evenfall.recipe import Recipe
from evenfall.recipe.reading import parse_toml
from evenfall.recipe.recipe import load_text
from evenfall.recipe.words.suggesting import joined
from evenfall.record.read_record import read_provenance
from evenfall.record.rounds import read_rounds, rounds_folder
from evenfall.system.processors import default_workers

__all__ = ["PassState", "Traced", "trace_picture"]

PassState = Literal["same", "another", "missing"]

_FURTHEST_UP = 3  # folders above the picture in which its recipe is looked for


@dataclass(frozen=True)
class Traced:
    """What is known of a picture.

    Parameters
    ----------
    picture : Path
        The picture.
    sha256 : str
        Of its bytes.
    record : Provenance
        What it carries.
    home : Path or None
        Where its recipe lies, or lay: the folder that passes and plates are named from.
    round : int or None
        The round that it belongs to, if that is kept there.
    passes : mapping of str to str
        By light: whether the pass at hand is the one that it was made of.
    views : tuple of Traced
        Of the contact sheet of a project, each view on it that carries a record.
    """

    picture: Path
    sha256: str
    record: Provenance
    home: Path | None
    round: int | None
    passes: Mapping[str, PassState]
    views: tuple[Traced, ...] = ()

    @property
    def passes_are_same(self) -> bool:
        """Whether all its passes are at hand, and are those that it was made of."""
        return all(state == "same" for state in self.passes.values())

    def refuse_several(self) -> None:
        """Refuse what can only be done with one recipe.

        Raises
        ------
        UsageError
            When it carries those of several views.
        """
        if self.views:
            names = joined((view.record.recipe for view in self.views), "and")
            raise UsageError(
                Fault(
                    str(self.picture),
                    "",
                    f"is the contact sheet of several views and carries {names}",
                    "a picture of one view",
                    "--json prints all recipes that it carries",
                )
            )

    def recipe(self, passes: Path | None = None) -> Recipe:
        """Give the recipe that makes just this picture, as if it lay where its files are.

        Parameters
        ----------
        passes : Path, optional
            Folder of the passes instead of the recipe's own.

        Raises
        ------
        RecipeError
            When this evenfall cannot read it.
        """
        record = self.record
        path = (self.home or self.picture.absolute().parent) / record.recipe
        text, changes = record.recipe_text, record.changes
        if record.mood:
            changes = (*changes, "sheet.make=false")
        elif "deliverables" not in parse_toml(text, record.recipe):  # a sheet is all it is to make
            text = f"deliverables = []\n{text}"
        return load_text(text, path, changes=changes, passes=passes, check_files=False)


def trace_picture(picture: Path, *, home: Path | None = None, passes: Path | None = None) -> Traced:
    """Read what a delivered picture carries, and look for what it was made of.

    Parameters
    ----------
    picture : Path
        A file of any format that is delivered.
    home : Path, optional
        Folder that its recipe lay in; looked for above the picture otherwise.
    passes : Path, optional
        Folder of the passes instead of the recipe's own.

    Raises
    ------
    PixelSourceError
        When it cannot be read, carries no record, or one that is damaged.
    RecipeError
        When it carries a recipe that this evenfall cannot read.
    """
    record = read_provenance(picture)
    if record is None:
        raise PixelSourceError(
            Fault(
                str(picture),
                "",
                "carries no record of how it was made",
                "",
                "either its recipe says record = 'none', or another program made or saved it",
            )
        )
    sha256 = hashlib.sha256(picture_bytes(picture)).hexdigest()
    if record.views:
        views = tuple(_traced(picture, sha256, view, home, passes) for view in record.views)
        return Traced(picture, sha256, record, None, None, {}, views)
    return _traced(picture, sha256, record, home, passes)


def _traced(
    picture: Path, sha256: str, record: Provenance, home: Path | None, passes: Path | None
) -> Traced:
    found = home if home is not None else _home_of(picture, record.recipe)
    traced = Traced(picture, sha256, record, found, None, {})
    number = None if found is None else _round_of(found / record.recipe, sha256)
    states = _states(traced.recipe(passes), record)
    return Traced(picture, sha256, record, found, number, states)


def _home_of(picture: Path, recipe: str) -> Path | None:
    """Give the folder of the recipe: that of the picture, one above it, or the one we are in."""
    above = [picture.absolute().parent, *picture.absolute().parents]
    for folder in (*above[: _FURTHEST_UP + 1], Path.cwd()):
        if (folder / recipe).is_file():
            return folder
    return None


def _round_of(recipe: Path, sha256: str) -> int | None:
    for kept in reversed(read_rounds(rounds_folder(recipe))):
        if kept.record is None:
            continue
        noted = {file.sha256 for file in kept.record.deliverables}
        if sha256 in noted | {picture.sha256 for picture in kept.record.pictures}:
            return kept.number
    return None


def _states(recipe: Recipe, record: Provenance) -> dict[str, PassState]:
    lights = [light for light in record.passes if light in recipe.model.lights]
    with ThreadPoolExecutor(default_workers(), "fingerprint") as pool:
        found = pool.map(lambda light: _fingerprint(recipe, light), lights)
        return dict(_compared(record, zip(lights, found, strict=True)))


def _compared(
    record: Provenance, found: Iterator[tuple[str, str | None]]
) -> Iterator[tuple[str, PassState]]:
    for light, fingerprint in found:
        if fingerprint is None:
            yield light, "missing"
        else:
            yield light, "same" if fingerprint == record.passes[light] else "another"


def _fingerprint(recipe: Recipe, light: str) -> str | None:
    pass_of = recipe.model.lights[light]
    now = sources_now(pass_of, place_now(recipe, pass_of))
    files = dict.fromkeys(each.source.file for each in now)
    try:
        found = [noted_fingerprint(recipe.pass_path(file)) for file in files]
    except (PassError, OSError):
        return None
    known = [one for one in found if one is not None]
    return joint_fingerprint(known) if len(known) == len(found) else None
