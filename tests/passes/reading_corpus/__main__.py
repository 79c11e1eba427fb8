"""Write the corpus into the folder named on the command line."""

from __future__ import annotations

import sys
from pathlib import Path

from reading_corpus import write_corpus

folder = Path(sys.argv[1])
folder.mkdir(parents=True, exist_ok=True)
write_corpus(folder)
