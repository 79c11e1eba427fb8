"""The fingerprint by which a pass file is told from any other."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from evenfall.passes.faults import refused
from evenfall.passes.files import open_pass

__all__ = ["fingerprint"]

_BLOCK_BYTES = 8 << 20  # other threads need not be waited for while a block is read or hashed


def fingerprint(path: Path, *, is_wanted: Callable[[], bool] = lambda: True) -> str | None:
    """SHA-256 of a file as ``"sha256:..."``.

    Parameters
    ----------
    path : Path
        A regular file.
    is_wanted : callable
        Asked now and then; when it says no, the result is None.

    Raises
    ------
    PassError
        When the file cannot be read, or changes meanwhile.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "sun.exr"
    >>> _ = path.write_bytes(b"abc")  # the example of FIPS 180-4
    >>> fingerprint(path)[:23]
    'sha256:ba7816bf8f01cfea'
    """
    digest = hashlib.sha256()
    with open_pass(path) as file:
        block = memoryview(bytearray(min(_BLOCK_BYTES, file.size)))
        try:
            while count := file.stream.readinto(block):  # type: ignore[attr-defined]
                digest.update(block[:count])
                if not is_wanted():
                    return None
        except OSError as error:
            raise refused(path, f"cannot be read: {error.strerror or error}") from None
    return f"sha256:{digest.hexdigest()}"
