"""Reading back where a delivered picture came from."""

from __future__ import annotations

from pathlib import Path

from evenfall.deliver.formats import codec
from evenfall.deliver.provenance import Provenance
from evenfall.errors import Fault, PixelSourceError
from evenfall.passes.side.whole import picture_bytes
from evenfall.recipe.formats import FORMATS
from evenfall.recipe.places import dotted
from evenfall.recipe.words.suggesting import joined

__all__ = ["pinned_exposure", "read_provenance"]

_KINDS = dict.fromkeys(row.kind for row in FORMATS.values())
_ALLOWED = f"a {joined(_KINDS, 'or')} file that evenfall wrote"


def read_provenance(path: Path) -> Provenance | None:
    """Record inside a delivered file, or None if it carries none.

    Parameters
    ----------
    path : Path
        A file of any format that is delivered.

    Raises
    ------
    PixelSourceError
        If the file cannot be read, is of another kind, or its record is damaged.
    """
    data = picture_bytes(path, _ALLOWED)
    for name, row in FORMATS.items():
        if any(data.startswith(signature, place) for place, signature in row.signatures):
            try:
                return codec(name).find_record(data)
            except ImportError:
                raise
            except Exception as error:  # readers of damaged files raise what they please
                raise PixelSourceError(
                    Fault(
                        str(path),
                        "",
                        "its record is damaged",
                        "",
                        "ask for the file as it was delivered",
                    )
                ) from error
    raise PixelSourceError(Fault(str(path), "", "a file of another kind", _ALLOWED))


def pinned_exposure(record: Provenance) -> tuple[tuple[str, ...], float | None]:
    """Give the changes that somebody asked for, and the exposure in stops that is pinned apart.

    The exposure is pinned where another mood or view was metered, which the recipe inside does not
    hold.

    Examples
    --------
    >>> pins = ("moods.dusk.camera.meter=off", "moods.dusk.camera.exposure_stops=1.5")
    >>> pinned_exposure(Provenance("view.toml", "", mood="dusk", changes=("look.tone=clip", *pins)))
    (('look.tone=clip',), 1.5)
    """
    camera = dotted(("moods", record.mood, "camera"))
    meter, key = f"{camera}.meter=off", f"{camera}.exposure_stops="
    last = record.changes[-2:]
    if len(last) == 2 and last[0] == meter and last[1].startswith(key):
        return record.changes[:-2], float(last[1].removeprefix(key))
    return record.changes, None
