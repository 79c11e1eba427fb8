"""What is noted of a round of feedback that is kept: a text file that a person can read."""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import PurePath
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from evenfall.recipe.toml_values import toml_key, toml_text

__all__ = ["ROUND_FORMAT", "RoundBase", "RoundFile", "RoundPicture", "RoundRecord", "Wish"]

ROUND_FORMAT = 1

_HEAD = """\
# A round of feedback, kept by evenfall {version}. It is never written again; 'evenfall round show'
# says the same in words, 'evenfall round return' makes its recipe the recipe again.
"""

Listed = BeforeValidator(lambda value: tuple(value) if isinstance(value, list) else value)


def _plain_name(value: str) -> str:
    if not value or value != PurePath(value).name:
        raise ValueError("expected the name of a file in the round's own folder")
    return value


FileName = Annotated[str, AfterValidator(_plain_name)]


class _Noted(BaseModel):
    """What a later evenfall notes besides is left alone."""

    model_config = ConfigDict(frozen=True, strict=True, extra="ignore", str_strip_whitespace=True)


class Wish(_Noted):
    """What somebody asked for, and what became of it."""

    wish: str
    answer: str = ""


class RoundBase(_Noted):
    """A file that the recipe builds on: its path from the recipe's folder, and its copy here."""

    path: str
    file: FileName
    sha256: str


class RoundPicture(_Noted):
    """A picture of a mood that lies in the round's own folder."""

    mood: str
    file: FileName
    sha256: str


class RoundFile(_Noted):
    """A deliverable of the round, where it lay when the round was kept."""

    mood: str
    path: str
    format: str
    bytes: int
    sha256: str


class RoundRecord(_Noted):
    """Everything that is noted of a round.

    Examples
    --------
    >>> kept = datetime.datetime(2026, 6, 21, 21, 30, tzinfo=datetime.UTC)
    >>> record = RoundRecord(recipe="view.toml", recipe_sha256="ab", kept=kept, by="Anna",
    ...                      asked=(Wish(wish="warmer", answer="done"),))
    >>> RoundRecord.from_toml(record.to_toml()) == record
    True
    """

    format: int = ROUND_FORMAT
    recipe: FileName
    recipe_sha256: str
    kept: datetime.datetime
    by: str = ""
    note: str = ""
    since: int | None = None
    changed: Annotated[tuple[str, ...], Listed] = ()
    bases: Annotated[tuple[RoundBase, ...], Listed] = ()
    asked: Annotated[tuple[Wish, ...], Listed] = ()
    pictures: Annotated[tuple[RoundPicture, ...], Listed] = ()
    deliverables: Annotated[tuple[RoundFile, ...], Listed] = ()
    passes: dict[str, str] = Field(default_factory=dict)
    files: dict[str, str] = Field(default_factory=dict)
    versions: dict[str, str] = Field(default_factory=dict)

    def to_toml(self) -> str:
        """Everything as TOML."""
        return "\n".join(self._blocks())

    def _blocks(self) -> Iterator[str]:
        said = self.model_dump(exclude_defaults=True) | {"format": self.format}
        lists = ("bases", "asked", "pictures", "deliverables")
        tables = (*lists, "passes", "files", "versions", "changed")
        plain = {key: said[key] for key in type(self).model_fields if key in said}
        head = _HEAD.format(version=self.versions.get("evenfall", ""))
        yield head + _pairs({key: plain[key] for key in plain if key not in tables})
        if self.changed:
            lines = "".join(f"    {toml_text(line)},\n" for line in self.changed)
            yield f"changed = [    # since round {self.since}\n{lines}]\n"
        for key in lists:
            yield from (f"[[{key}]]\n{_pairs(entry)}" for entry in said.get(key, ()))
        for key in ("passes", "files", "versions"):
            if key in said:
                yield f"[{key}]\n{_pairs(said[key])}"

    @classmethod
    def from_toml(cls, text: str) -> RoundRecord:
        """Read what `to_toml` wrote.

        Raises
        ------
        ValueError
            When it is no such thing; the message is for people.
        """
        try:
            tree: dict[str, Any] = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise ValueError(f"is not valid TOML: {error}") from None
        version = tree.get("format")
        if isinstance(version, int) and version > ROUND_FORMAT:
            raise ValueError(
                f"was kept by a newer evenfall (format {version}; this one knows {ROUND_FORMAT})"
            )
        try:
            return cls.model_validate(tree)
        except ValidationError as error:
            first = error.errors()[0]
            place = ".".join(str(step) for step in first["loc"])
            raise ValueError(f"{place}: {first['msg'][:1].lower()}{first['msg'][1:]}") from None


def _pairs(table: Mapping[str, Any]) -> str:
    return "".join(f"{toml_key(key)} = {toml_text(value)}\n" for key, value in table.items())
