"""Films of frames: put together when all frames are there, and kept while they stay the same."""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from evenfall.deliver.film import join
from evenfall.deliver.provenance import Provenance
from evenfall.develop.asked import Asked
from evenfall.develop.engine import measure_elsewhere
from evenfall.errors import EvenfallError, Fault
from evenfall.light.gain import stops_of
from evenfall.produce.frames import FrameMade, Strip
from evenfall.produce.targets import FRAME_ENDING
from evenfall.recipe import Deliverable
from evenfall.recipe.clock import frames_text
from evenfall.record.earlier import is_intact
from evenfall.record.excerpt import excerpt, relevant_changes, renumbered
from evenfall.record.naming import name_ending
from evenfall.record.on_its_own import on_their_own, pinned
from evenfall.record.values import FileReport
from evenfall.record.versions import versions
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import refuse_existing

__all__ = ["Film", "films_of", "is_to_be_made", "make_films", "spent_frames"]

_USUAL_RATE = 24.0
_FRAMES_FOLDER = "frames"  # as runs call it


@dataclass(frozen=True)
class Film:
    """A film that a strip asks for.

    Parameters
    ----------
    path : Path
        Its final name.
    mood : str
        What it shows.
    deliverable : Deliverable
        What it is to be.
    rate : float
        Frames a second.
    """

    path: Path
    mood: str
    deliverable: Deliverable
    rate: float

    @property
    def notes(self) -> Path:
        """Where it is noted which frames it was made of."""
        return self.path.parent / "reports" / f"{self.path.name}_frames.json"


def films_of(strip: Strip, out: Path) -> list[Film]:
    """Name the films of a strip.

    They lie beside the folder `frames`, or in a folder that is called otherwise.
    """
    recipe, films = strip.recipe, []
    sequence = recipe.model.sequence
    usual = _USUAL_RATE if sequence is None else sequence.rate
    for mood in strip.moods:
        for number in recipe.model.deliverables_of(mood, of_many=True):
            deliverable = recipe.model.deliverables[number]
            if not deliverable.row.moves:
                continue
            name = deliverable.name.format(
                recipe=recipe.path.stem,
                mood=mood,
                frame="",
                format=deliverable.format.replace(" ", "-"),
                space=deliverable.row.fixed_space.replace(" ", "-"),
                width=deliverable.width or "",
                suffix=deliverable.suffix,
            )
            home = out.parent if out.name == _FRAMES_FOLDER else out
            path = home / (name + name_ending(recipe) + deliverable.row.ending)
            films.append(Film(path, mood, deliverable, deliverable.rate or usual))
    return films


def spent_frames(films: Sequence[Film]) -> dict[Path, str]:
    """Give SHA-256 of frames that have gone into films which still stand, by their path."""
    spent: dict[Path, str] = {}
    for film in films:
        noted = _noted(film)
        if noted is not None:
            spent |= {film.path.parent / name: sha256 for name, sha256 in noted[1].items()}
    return spent


def is_to_be_made(film: Film, frames: Sequence[FrameMade]) -> bool:
    """Whether a film is not there, or of other frames."""
    noted = _noted(film)
    if noted is None or noted[0].format != _kind(film):
        return True
    return noted[1] != _used(film, frames)


def make_films(
    strip: Strip, films: Sequence[Film], frames: Sequence[FrameMade], *, overwrite: bool
) -> tuple[list[FileReport], list[Fault]]:
    """Put frames into films, and take them away afterwards.

    Parameters
    ----------
    strip : Strip
        What they are made of.
    films : sequence of Film
        What is to be made.
    frames : sequence of FrameMade
        All frames, in their order.
    overwrite : bool
        Whether a film that exists may be replaced.

    Returns
    -------
    files : list of FileReport
        Films that were made or kept.
    faults : list of Fault
        Why others were not.
    """
    files: list[FileReport] = []
    faults: list[Fault] = []
    for film in films:
        noted = _noted(film)
        if noted is not None and not is_to_be_made(film, frames):
            files.append(noted[0].model_copy(update={"kept": True}))
            _take_away(_parts(film, frames))
            continue
        parts = _parts(film, frames)
        try:
            refuse_existing([film.path], allowed=overwrite)
            data = join(
                film.deliverable, [part.path for part in parts], film.rate, _record(strip, film)
            )
            sha256 = hashlib.sha256(data).hexdigest()
            file = FileReport(
                path=film.path, mood=film.mood, format=_kind(film), bytes=len(data), sha256=sha256
            )
            _note(film, file, _used(film, frames))  # first, or a film whose maker died is nobody's
            write_atomically(film.path, data, overwrite=overwrite)
        except EvenfallError as error:
            faults += getattr(error, "faults", None) or [Fault(str(film.path), "", str(error))]
            continue
        files.append(file)
        _take_away(parts)
    return files, faults


def _take_away(parts: Sequence[FileReport]) -> None:
    for part in parts:
        with contextlib.suppress(OSError):  # it went into the film long ago
            part.path.unlink()


def _record(strip: Strip, film: Film) -> Provenance:
    """Record of a film: what the recipe says, without its comments."""
    recipe = strip.recipe
    project, sequence = recipe.model.project, recipe.model.sequence
    title = film.mood
    if sequence is not None and film.mood == sequence.name:
        title = sequence.title or title
    number = recipe.model.deliverables.index(film.deliverable)
    moods = {*recipe.moods, film.mood}
    changes = relevant_changes(recipe.changes, moods, number, draft=False)
    if recipe.model.record != "with comments":
        changes = renumbered(changes)
    return Provenance(
        recipe=recipe.path.name,
        recipe_text=excerpt(recipe, moods, number, draft=False, sheet=False),
        mood=film.mood,
        version=versions()["evenfall"],
        changes=(*changes, *_without_other_views(strip)),
        frames="" if strip.hour else frames_text(strip.frames),
        is_told=recipe.model.record != "none",
        title=" - ".join(part for part in (project.title, project.view, title) if part),
        author=project.author or "",
        copyright=project.copyright or "",
    )


def _without_other_views(strip: Strip) -> tuple[str, ...]:
    """Pin the exposures that are taken from other views, where they hold for all frames."""
    asked = Asked(strip.at(strip.frames[0])[0])
    held = asked.metered or asked
    moods = list(strip.recipe.exposed_as)
    if not moods:
        return ()
    if asked.metered is None and any(held.elsewhere(mood).recipe.has_frames for mood in moods):
        return ()
    measured, changes = measure_elsewhere(held, moods), on_their_own(strip.recipe, moods)
    for mood in moods:
        changes += pinned(mood, stops_of(measured.camera(mood).exposure_factor))
    return changes


def _kind(film: Film) -> str:
    """Everything of a film that its frames do not say."""
    asked = film.deliverable
    said = (asked.format, asked.codec, asked.bits, asked.quality, asked.lossless, film.rate)
    return " ".join(str(one) for one in said)


def _parts(film: Film, frames: Sequence[FrameMade]) -> list[FileReport]:
    ending = film.path.suffix + FRAME_ENDING
    return [
        file
        for frame in frames
        for file in frame.files
        if file.path.name.endswith(ending)
        and file.path.name.removesuffix(ending).rpartition("_")[0] == film.path.stem
    ]


def _used(film: Film, frames: Sequence[FrameMade]) -> dict[str, str]:
    """SHA-256 of the frames of a film, by their path from it."""
    return {_seen(film, part.path): part.sha256 or "" for part in _parts(film, frames)}


def _seen(film: Film, path: Path) -> str:
    return path.relative_to(film.path.parent).as_posix()


def _note(film: Film, file: FileReport, used: dict[str, str]) -> None:
    facts = {**file.model_dump(mode="json"), "path": film.path.name, "frames": used}
    data = json.dumps(facts, indent=1).encode()
    write_atomically(film.notes, data, overwrite=True)


def _noted(film: Film) -> tuple[FileReport, dict[str, str]] | None:
    """Give what was noted of a film that still stands as it was made."""
    try:
        facts = json.loads(film.notes.read_bytes())
        frames = dict(facts.pop("frames"))
        file = FileReport(**{**facts, "path": film.path})
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return (file, frames) if is_intact(file) else None
