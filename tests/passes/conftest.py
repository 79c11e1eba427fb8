"""Makes the corpus importable for the tests of this folder, and writes it once."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="session")
def corpus(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with every file of the corpus."""
    from reading_corpus import write_corpus

    folder = tmp_path_factory.mktemp("corpus")
    write_corpus(folder)
    return folder
