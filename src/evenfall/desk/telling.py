"""What windows are told: the state of the desk as plain values, and pictures as bytes."""

from __future__ import annotations

import json
import struct
from typing import Any

from evenfall.desk.brief import Brief, Clause
from evenfall.desk.figures import Figure
from evenfall.desk.outside import rounds_of
from evenfall.desk.painter import Picture
from evenfall.desk.session import Session
from evenfall.recipe import Recipe
from evenfall.recipe.starter_moods import LAMP_ROLES
from evenfall.recipe.words.prose import name_prose

__all__ = ["example_of", "picture_bytes", "rounds_told", "scale_told", "state_of"]


def state_of(session: Session) -> dict[str, Any]:
    """Give all that a window shows beside pictures."""
    recipe = session.recipe
    project, conflict = recipe.model.project, session.conflict
    return {
        "tell": "state",
        "version": session.version,
        "project": project.title or "",
        "view": project.view or recipe.path.stem,
        "file": recipe.path.name,
        "moods": [_mood(session, brief) for brief in session.briefs()],
        "lights": {name: light.title or name for name, light in recipe.model.lights.items()},
        "example": example_of(recipe),
        "unsaved": session.is_unsaved,
        "undoes": session.undoes,
        "redoes": session.redoes,
        "fault": session.fault,
        "conflict": None
        if conflict is None
        else {"theirs": conflict.theirs, "ours": conflict.ours, "fault": conflict.fault},
    }


def example_of(recipe: Recipe) -> str:
    """Give a phrase that may be said here, of a lamp where there is one.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> example_of(example_recipe())
    'lamp up 1/3, 2700 K'
    """
    lights = recipe.model.lights
    lamps = [name for name, light in lights.items() if light.role in LAMP_ROLES]
    name = (lamps or list(lights))[0]
    rendered = lights[name].rendered
    is_warmed = bool(lamps) and rendered is not None and rendered.kelvin is not None
    return f"{name} up 1/3{', 2700 K' if is_warmed else ''}"


def scale_told() -> dict[str, Any]:
    """Say what the colours of an exposure map are, darkest first."""
    from evenfall.drawings.stop_scale import BRIGHTEST, DARKEST, colour_scale

    colours = [[int(value) for value in row] for row in colour_scale()]
    return {"tell": "scale", "darkest": DARKEST, "brightest": BRIGHTEST, "colours": colours}


def rounds_told(session: Session) -> list[dict[str, Any]]:
    """Say which rounds are kept, the last first."""
    return [
        {
            "number": kept.number,
            "asked": [] if kept.record is None else [wish.wish for wish in kept.record.asked],
        }
        for kept in rounds_of(session.path)
    ]


def _mood(session: Session, brief: Brief) -> dict[str, Any]:
    return {
        "name": brief.mood,
        "title": brief.title,
        "hour": session.recipe.moods[brief.mood].time_of_day or "",
        "sentences": [
            {
                "kind": sentence.kind,
                "lead": sentence.lead,
                "clauses": [_clause(session, clause) for clause in sentence.clauses],
            }
            for sentence in brief.sentences
        ],
    }


def _clause(session: Session, clause: Clause) -> dict[str, Any]:
    spans = [span if isinstance(span, str) else _figure(session, span) for span in clause.spans]
    return {"lights": clause.lights, "spans": spans}


def _figure(session: Session, figure: Figure) -> dict[str, Any]:
    moods = session.recipe.moods
    source = name_prose(moods[figure.source].title) if figure.source in moods else figure.source
    return {
        "key": figure.key,
        "kind": figure.kind,
        "text": figure.text,
        "label": figure.label,
        "value": figure.value,
        "from": source,
        "area": figure.area,
    }


def picture_bytes(picture: Picture, number: int) -> bytes:
    """Give a picture for the socket: the length of a head, the head as JSON, then RGBA codes."""
    height, width = (1, 1) if picture.codes is None else picture.codes.shape[:2]
    head = json.dumps(
        {
            "number": number,
            "place": picture.place,
            "mood": picture.shot.mood,
            "of": picture.shot.of,
            "version": picture.version,
            "size": picture.size,
            "width": width,
            "height": height,
            "fault": picture.fault,
        }
    ).encode()
    head += b" " * (-len(head) % 4)
    if picture.codes is None:
        return b"".join((struct.pack("<I", len(head)), head, bytes(4)))
    import numpy as np

    body = np.empty((height, width, 4), np.uint8)
    for channel in range(3):  # much quicker than all of them at once
        body[..., channel] = picture.codes[..., channel]
    body[..., 3] = 255
    return b"".join((struct.pack("<I", len(head)), head, body.data))
