"""Write the gallery to look at."""

import sys
from pathlib import Path

from gallery import HABITS

for habit in HABITS:
    folder = Path(sys.argv[1]) / habit.__name__
    folder.mkdir(parents=True)
    habit(folder)
    print(folder)
