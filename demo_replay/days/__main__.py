"""`python -m demo_replay.days [FOLDER]`: make the recorded demo days again from their seed."""

from __future__ import annotations

import sys
from pathlib import Path

from demo_replay.days import FOLDER, write

folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
for kind, size in write(folder).items():
    print(f"{kind}: {size / 1000:.0f} kB")
