"""Whether a PIZ chunk holds as many samples as its window says.

PIZ codes its samples as a stream of symbols whose number is written nowhere. The library's decoder
notices when there are more than the window has room for, but not when there are fewer: a window
that is too wide gives noise. Counting them here would take longer than decoding, so the decoder is
asked first to decode the chunk as one row of fewer samples. Where the stream is as long as it
should be it complains of what is left over, nearly always; only where it does not are the symbols
counted.

The coding, after the library's description of it ("Technical Introduction to OpenEXR", Data
Compression) and ImfHuf of its sources: after a bitmap of the values that occur come the least and
the greatest symbol, the lengths of the codes of all symbols between them in 6 bits each (59 to 63
are runs of zeros), and canonical codes in which longer ones are smaller numbers. The code of the
greatest symbol is followed by 8 bits that say how often the symbol before it is repeated.
"""

from __future__ import annotations

import struct
from io import BytesIO

from evenfall.passes.openexr.bare_header import bare_header
from evenfall.passes.openexr.quiet import decoder_silenced

__all__ = ["count_symbols", "is_too_short"]

_PIZ = 4
_LONGEST_CODE = 58
_SHORT_RUN, _LONG_RUN = 59, 63
_LOOK_AHEAD = 12  # bits that are looked up at once


def is_too_short(payload: bytes, samples: int, fewest: int) -> bool:
    """Whether a PIZ payload has fewer samples than it should have.

    Parameters
    ----------
    payload : bytes
        The chunk without its leader, compressed.
    samples : int
        Of 16 bits, two for every float, that the chunk's window has room for.
    fewest : int
        How many the narrowest column or row takes that the window may be too large by.
    """
    suspicious = samples > fewest and _decodes(payload, samples - fewest)
    return suspicious and count_symbols(payload, samples) < samples


def _decodes(payload: bytes, samples: int) -> bool:
    import OpenEXR

    with decoder_silenced():
        try:
            decoded = OpenEXR.File(BytesIO(_one_row(payload, samples)), separate_channels=True)
        except (RuntimeError, ValueError, MemoryError, OSError):
            return False
    return bool(decoded.parts)


def _one_row(payload: bytes, samples: int) -> bytes:
    """Give a file of one row of halves, for which PIZ leaves its wavelets out."""
    channels = b"Y\0" + struct.pack("<iIii", 1, 0, 1, 1) + b"\0"
    header = bare_header(channels, _PIZ, (0, 0, samples - 1, 0))
    table = struct.pack("<Q", len(header) + 8)
    return header + table + struct.pack("<ii", 0, len(payload)) + payload


def count_symbols(payload: bytes, most: int) -> int:
    """Count the samples of 16 bits in a PIZ payload.

    Parameters
    ----------
    payload : bytes
        The chunk without its leader, compressed.
    most : int
        Counting ends when it is reached.

    Returns
    -------
    int
        As far as the payload can be followed.
    """
    try:
        least, greatest = struct.unpack_from("<HH", payload)
        place = 4 + max(0, greatest - least + 1)
        _, first, last, table_bytes, bits, _ = struct.unpack_from("<6I", payload, place)
    except struct.error:
        return 0
    place += 24
    stream = _Bits(payload[place : place + table_bytes])
    code = _Code(_lengths(stream, first, last), last)
    return code.count(_Bits(payload[place + table_bytes :]), bits, most)


class _Bits:
    """Bits of some bytes, the highest of each byte first; zeros behind them."""

    def __init__(self, data: bytes) -> None:
        self._data = data + bytes(16)
        self.place = 0

    def peek(self, count: int) -> int:
        first, shift = self.place >> 3, self.place & 7
        window = int.from_bytes(self._data[first : first + 9], "big")
        return window >> 72 - shift - count & (1 << count) - 1

    def take(self, count: int) -> int:
        value = self.peek(count)
        self.place += count
        return value

    @property
    def ended(self) -> bool:
        return self.place >> 3 > len(self._data) - 16


def _lengths(stream: _Bits, symbol: int, last: int) -> dict[int, int]:
    """Lengths of the codes by symbol, of those that have one."""
    found = {}
    while symbol <= last and not stream.ended:
        length = stream.take(6)
        if length == _LONG_RUN:
            symbol += stream.take(8) + _LONG_RUN - _SHORT_RUN + 2
        elif length >= _SHORT_RUN:
            symbol += length - _SHORT_RUN + 2
        else:
            if length:
                found[symbol] = length
            symbol += 1
    return found


class _Code:
    """Canonical codes, as far as their lengths and the one of runs are concerned."""

    def __init__(self, lengths: dict[int, int], run_symbol: int) -> None:
        counts = [0] * (_LONGEST_CODE + 1)
        for length in lengths.values():
            counts[length] += 1
        self._first, code = [0] * (_LONGEST_CODE + 1), 0
        for length in range(_LONGEST_CODE, 0, -1):
            self._first[length] = code
            code = code + counts[length] >> 1
        self._counts = counts
        run_length = lengths.get(run_symbol, 0)  # it is the last of its length
        self._run = (run_length, self._first[run_length] + counts[run_length] - 1)
        self._short = [
            self._search(bits, _LOOK_AHEAD, _LOOK_AHEAD) for bits in range(1 << _LOOK_AHEAD)
        ]

    def _search(self, bits: int, width: int, longest: int) -> tuple[int, bool]:
        """Length of the code with which `width` bits begin, 0 for none; and whether it is runs'."""
        for length in range(1, longest + 1):
            at = (bits >> width - length) - self._first[length]
            if 0 <= at < self._counts[length]:
                return length, (length, at + self._first[length]) == self._run
        return 0, False

    def count(self, stream: _Bits, bits: int, most: int) -> int:
        """Count the symbols of a stream of so many bits."""
        found = 0
        while stream.place < bits and found < most and not stream.ended:
            length, is_run = self._short[stream.peek(_LOOK_AHEAD)]
            if not length:
                length, is_run = self._search(
                    stream.peek(_LONGEST_CODE), _LONGEST_CODE, _LONGEST_CODE
                )
            if not length:
                return found
            stream.place += length
            found += stream.take(8) if is_run else 1
        return found
