"""Files to try the reading on: every habit of a renderer, and every way a file can be broken.

Nothing is stored: `write_corpus` makes the files, with OpenEXR, OpenImageIO, tifffile, imagecodecs
and, where none of them can write a habit or a fault, byte by byte. As a script:

    python -m reading_corpus FOLDER      (from tests/passes)
"""

from __future__ import annotations

from pathlib import Path

from reading_corpus.broken_exr import BROKEN_EXR
from reading_corpus.broken_others import BROKEN_OTHERS
from reading_corpus.case import Broken, Sound
from reading_corpus.sound_exr import SOUND_EXR
from reading_corpus.sound_others import SOUND_OTHERS

__all__ = ["BROKEN", "SOUND", "Broken", "Sound", "write_corpus"]

SOUND: tuple[Sound, ...] = (*SOUND_EXR, *SOUND_OTHERS)
BROKEN: tuple[Broken, ...] = (*BROKEN_EXR, *BROKEN_OTHERS)


def write_corpus(folder: Path) -> None:
    """Write every file of the corpus into a folder."""
    for case in (*SOUND, *BROKEN):
        case.write(folder / case.file)
