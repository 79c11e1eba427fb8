"""Broken files made of sound ones: every mutant follows from its number alone."""

from __future__ import annotations

import struct
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "passes"))

from reading_corpus.exr_bytes import ExrBytes, window

__all__ = ["KINDS", "REMOVING", "Mutant", "mutate"]

HEAD_BYTES = 700
"""Roughly the length of the headers of the seeds."""

_VALUES = (0, 1, -1, 2, 16, 255, 256, 4096, 65535, 65536, 2**24, 2**30, 2**31 - 1, -(2**31))


@dataclass(frozen=True)
class Mutant:
    """One broken file.

    `kind` names the mutation.
    """

    number: int
    seed: str
    kind: str
    data: bytes

    @property
    def removing(self) -> bool:
        """Whether pixels were taken away, so that reading on would be silent loss.

        Some codecs store blocks (B44A 4 x 4 pixels, of one of two sizes; DWA 8 x 8):
        a window that is a little smaller needs the same, so that nothing is missing and nothing
        can tell.
        """
        same_blocks = self.kind in ("rows removed", "columns removed") and any(
            codec in self.seed for codec in ("b44", "dwa")
        )
        return self.kind in REMOVING and not same_blocks


def _flip(data: bytes, rng: np.random.Generator, _: bytes) -> bytes:
    """Change 1 to 16 bytes anywhere."""
    changed = bytearray(data)
    for place in rng.integers(0, len(data), rng.integers(1, 17)):
        changed[place] ^= int(rng.integers(1, 256))
    return bytes(changed)


def _flip_head(data: bytes, rng: np.random.Generator, _: bytes) -> bytes:
    """Change 1 to 4 bytes among the first."""
    changed = bytearray(data)
    for place in rng.integers(0, min(HEAD_BYTES, len(data)), rng.integers(1, 5)):
        changed[place] ^= int(rng.integers(1, 256))
    return bytes(changed)


def _number(data: bytes, rng: np.random.Generator, _: bytes) -> bytes:
    """Put a treacherous 32-bit number somewhere among the first bytes."""
    place = int(rng.integers(4, max(5, min(HEAD_BYTES, len(data)) - 4)))
    value = int(rng.choice(np.array(_VALUES, np.int64)))
    return data[:place] + struct.pack("<i", value) + data[place + 4 :]


def _truncate(data: bytes, rng: np.random.Generator, _: bytes) -> bytes:
    """Cut the end off: one byte, a few, or most."""
    keep = len(data) - int(rng.choice([1, 2, 5, 20, 100]))
    if rng.random() < 0.7:
        keep = int(rng.integers(0, len(data)))
    return data[: max(0, keep)]


def _delete(data: bytes, rng: np.random.Generator, _: bytes) -> bytes:
    """Take a piece out of the middle."""
    start = int(rng.integers(0, len(data)))
    return data[:start] + data[start + int(rng.integers(1, 2000)) :]


def _insert(data: bytes, rng: np.random.Generator, _: bytes) -> bytes:
    """Put noise or zeros into the middle."""
    start, size = int(rng.integers(0, len(data))), int(rng.integers(1, 500))
    piece = rng.bytes(size) if rng.random() < 0.5 else bytes(size)
    return data[:start] + piece + data[start:]


def _blank(data: bytes, rng: np.random.Generator, _: bytes) -> bytes:
    """Overwrite a piece with zeros, as a lost sector does."""
    start, size = int(rng.integers(0, len(data))), int(rng.choice([64, 512, 4096]))
    return data[:start] + bytes(min(size, len(data) - start)) + data[start + size :]


def _splice(data: bytes, rng: np.random.Generator, other: bytes) -> bytes:
    """Begin as one file and go on as another."""
    return data[: rng.integers(1, len(data))] + other[rng.integers(0, len(other)) :]


def _swap(data: bytes, rng: np.random.Generator, _: bytes) -> bytes:
    """Exchange two pieces of the same size."""
    size = int(rng.integers(1, max(2, len(data) // 3)))
    first = int(rng.integers(0, max(1, len(data) - 2 * size)))
    second = int(rng.integers(first + size, max(first + size + 1, len(data) - size)))
    return (
        data[:first]
        + data[second : second + size]
        + data[first + size : second]
        + data[first : first + size]
        + data[second + size :]
    )


def _apart(change: Callable[[ExrBytes, np.random.Generator], bytes | None]) -> _Change:
    """Make a mutation of one that works on a single-part EXR taken apart; others are cut."""

    def mutated(data: bytes, rng: np.random.Generator, other: bytes) -> bytes:
        try:
            apart = ExrBytes.of(data)
            return change(apart, rng) or apart.join()
        except (struct.error, ValueError, IndexError, KeyError, UnicodeDecodeError):
            return _truncate(data, rng, other)

    mutated.__doc__ = change.__doc__
    return mutated


def _drop_chunk(apart: ExrBytes, rng: np.random.Generator) -> None:
    """Remove a chunk, its offset too."""
    apart.chunks.pop(int(rng.integers(0, len(apart.chunks))))


def _drop_rows(apart: ExrBytes, rng: np.random.Generator) -> None:
    """Shorten the data window, and remove last chunks, but never just the ones it leaves over.

    Both together and in step would be a sound file of a cropped picture.
    """
    left, top, right, bottom = struct.unpack("<4i", apart.attributes["dataWindow"][1])
    rows = int(rng.integers(1, bottom - top + 1))
    apart.attributes["dataWindow"] = window(left, top, right, bottom - rows)
    starts = [struct.unpack_from("<i", chunk)[0] for chunk in apart.chunks]
    needed = sum(start <= bottom - rows for start in starts)
    keep = int(rng.integers(1, len(apart.chunks) + 1))
    if rng.random() < 0.5 and keep != needed:
        apart.chunks = apart.chunks[:keep]


def _narrow(apart: ExrBytes, rng: np.random.Generator) -> None:
    """Take columns off the data window."""
    left, top, right, bottom = struct.unpack("<4i", apart.attributes["dataWindow"][1])
    columns = int(rng.integers(1, right - left + 1))
    apart.attributes["dataWindow"] = window(left, top, right - columns, bottom)


def _empty_chunk(apart: ExrBytes, rng: np.random.Generator) -> None:
    """Leave a chunk's leader and take its payload, or part of it."""
    index = int(rng.integers(0, len(apart.chunks)))
    chunk = apart.chunks[index]
    keep = int(rng.integers(0, max(1, len(chunk) - 8)))
    apart.chunks[index] = chunk[:4] + struct.pack("<i", keep) + chunk[8 : 8 + keep]


def _table(apart: ExrBytes, rng: np.random.Generator) -> bytes:
    """Change offsets in the table: zero, one taken twice, shuffled, or far away."""
    sound = apart.join()
    first = sound.index(apart.chunks[0])
    table = list(struct.unpack_from(f"<{len(apart.chunks)}Q", sound, first - 8 * len(apart.chunks)))
    index = int(rng.integers(0, len(table)))
    match int(rng.integers(0, 4)):
        case 0:
            table[index] = 0
        case 1:
            table[index] = table[0] if index else table[-1]
        case 2:
            rng.shuffle(table)
        case _:
            table[index] = int(rng.choice(np.array([1, 2**31, 2**40, 2**62], np.int64)))
    return apart.join(table)


def _shuffle(apart: ExrBytes, rng: np.random.Generator) -> None:
    """Put the chunks into another order; with their offsets right this may be sound."""
    rng.shuffle(apart.chunks)  # type: ignore[arg-type]


def _codec(apart: ExrBytes, rng: np.random.Generator) -> None:
    """Claim another compression."""
    apart.attributes["compression"] = ("compression", bytes([int(rng.integers(0, 16))]))


def _no_attribute(apart: ExrBytes, rng: np.random.Generator) -> None:
    """Remove an attribute."""
    apart.attributes.pop(list(apart.attributes)[int(rng.integers(0, len(apart.attributes)))])


def _attribute(apart: ExrBytes, rng: np.random.Generator) -> None:
    """Change an attribute's bytes, or their number."""
    name = list(apart.attributes)[int(rng.integers(0, len(apart.attributes)))]
    kind, value = apart.attributes[name]
    changed = bytearray(value)
    if changed and rng.random() < 0.7:
        changed[int(rng.integers(0, len(changed)))] ^= int(rng.integers(1, 256))
    else:
        changed += rng.bytes(int(rng.integers(1, 40)))
    apart.attributes[name] = (kind, bytes(changed))


_Change = Callable[[bytes, np.random.Generator, bytes], bytes]

KINDS: dict[str, _Change] = {
    "bytes changed": _flip,
    "first bytes changed": _flip_head,
    "number changed": _number,
    "truncated": _truncate,
    "piece removed": _delete,
    "piece inserted": _insert,
    "sector blanked": _blank,
    "two files joined": _splice,
    "pieces swapped": _swap,
    "chunk removed": _apart(_drop_chunk),
    "rows removed": _apart(_drop_rows),
    "columns removed": _apart(_narrow),
    "payload removed": _apart(_empty_chunk),
    "offsets changed": _apart(_table),
    "chunks shuffled": _apart(_shuffle),
    "codec changed": _apart(_codec),
    "attribute removed": _apart(_no_attribute),
    "attribute changed": _apart(_attribute),
}

REMOVING = frozenset(
    (
        "truncated",
        "piece removed",
        "chunk removed",
        "rows removed",
        "columns removed",
        "payload removed",
        "offsets changed",
        "chunks shuffled",
    )
)


def mutate(number: int, run_seed: int, seeds: dict[str, bytes]) -> Mutant:
    """Make mutant `number` of a run: the same every time."""
    rng = np.random.default_rng((run_seed, number))
    names = list(seeds)
    name, other = (names[int(index)] for index in rng.integers(0, len(names), 2))
    kind = list(KINDS)[int(rng.integers(0, len(KINDS)))]
    return Mutant(number, name, kind, KINDS[kind](seeds[name], rng, seeds[other]))
