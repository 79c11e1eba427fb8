"""What a window may say to the desk: messages of a known form, and nothing else."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from evenfall.errors import UsageError

__all__ = [
    "Aim",
    "Ask",
    "KeepRound",
    "LetGo",
    "Look",
    "MakePictures",
    "Message",
    "Near",
    "Noise",
    "Own",
    "Painted",
    "Redo",
    "Save",
    "Say",
    "Settle",
    "Turn",
    "Undo",
    "read_message",
]

_Name = Annotated[str, Field(max_length=200)]
_Key = Annotated[str, Field(max_length=2000)]
_Words = Annotated[str, Field(max_length=1000)]
_Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]


class _Message(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Turn(_Message):
    """Turn a figure; turns of one gesture are undone at once."""

    do: Literal["turn"]
    mood: _Name
    figure: _Key
    size: Literal["tenth", "third", "stop"]
    count: Annotated[int, Field(ge=-200, le=200)]
    gesture: _Name = ""


class Say(_Message):
    """Say something of a mood, or of a figure of it, in the words of `change`."""

    do: Literal["say"]
    mood: _Name
    text: _Words
    figure: _Key = ""


class Own(_Message):
    """Make an inherited figure the mood's own."""

    do: Literal["own"]
    mood: _Name
    figure: _Key


class LetGo(_Message):
    """Let a figure be what the mood inherits."""

    do: Literal["let go"]
    mood: _Name
    figure: _Key


class Undo(_Message):
    """Undo the last edit."""

    do: Literal["undo"]


class Redo(_Message):
    """Make the edit again that was undone last."""

    do: Literal["redo"]


class Save(_Message):
    """Write the recipe."""

    do: Literal["save"]


class Settle(_Message):
    """Choose what stands where file and desk have both changed."""

    do: Literal["settle"]
    choice: Literal["theirs", "ours"]


class Look(_Message):
    """Say what a window shows.

    `of` and `beside_of` are "now", "saved", or "round N".
    """

    do: Literal["look"]
    mood: _Name
    beside: _Name = ""
    beside_of: _Name = "now"
    before: _Name = ""
    only: _Name = ""
    without: _Name = ""
    shows: Literal["picture", "exposure", "ends"] = "picture"


class Painted(_Message):
    """A picture has been painted: the next may come."""

    do: Literal["painted"]
    number: int


class Ask(_Message):
    """Ask what lights a spot."""

    do: Literal["ask"]
    mood: _Name
    x: _Share
    y: _Share
    number: int = 0


class Near(_Message):
    """Show a place at one pixel a pixel, from the full passes."""

    do: Literal["near"]
    mood: _Name
    x: _Share
    y: _Share
    width: Annotated[int, Field(ge=16, le=4096)]
    height: Annotated[int, Field(ge=16, le=4096)]


class Aim(_Message):
    """Say what an area should be, and solve it beside the mood's other aims.

    An area is left, top, right and bottom as shares of the picture. A name says an aim anew that
    there is; without text all aims are solved as they stand.
    """

    do: Literal["aim"]
    mood: _Name
    area: tuple[_Share, _Share, _Share, _Share] | None = None
    name: _Name = ""
    text: _Words = ""


class Noise(_Message):
    """Ask how far lights may still go up before their noise shows."""

    do: Literal["noise"]
    mood: _Name


class KeepRound(_Message):
    """Keep the recipe as it is saved as the next round."""

    do: Literal["keep round"]
    asked: _Words = ""
    by: _Name = ""


class MakePictures(_Message):
    """Make the deliverables of the recipe as it is saved."""

    do: Literal["make pictures"]
    overwrite: bool = False


Message = Annotated[
    Turn
    | Say
    | Own
    | LetGo
    | Undo
    | Redo
    | Save
    | Settle
    | Look
    | Painted
    | Ask
    | Near
    | Aim
    | Noise
    | KeepRound
    | MakePictures,
    Field(discriminator="do"),
]
_READER: TypeAdapter[Message] = TypeAdapter(Message)


def read_message(data: str | bytes) -> Message:
    """Read a message.

    Raises
    ------
    UsageError
        When it is none.

    Examples
    --------
    >>> read_message('{"do": "undo"}')
    Undo(do='undo')
    """
    try:
        return _READER.validate_json(data)
    except (ValidationError, RecursionError) as error:
        raise UsageError("that is no message of the desk") from error
