"""Which program is killed in test_killed.py? One that commits numbered readings, seals, and says what is on disk.

Arguments: the store's path and the first number. Writes a number a line once its commit has returned.
"""

from __future__ import annotations

import sys
from fractions import Fraction
from pathlib import Path

from daemon.store import Store
from rules.acts import Act, ActKind
from rules.block import block
from rules.durations import DAY, HOUR
from rules.events import Event
from rules.plan import PointPlan

POINT = PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 1000))
START = 20_546 * DAY


def write(path: Path, number: int) -> None:
    """Commits forever; each commit is an hour after the one before, and its readings, event and act belong together."""
    store = Store(path, [POINT])
    while True:
        now = START + number * HOUR
        store.commit(
            [block(POINT.id, range(now, now + 20), [number] * 20)],
            events=[Event(now, "alarm", {"number": number})],
            acts=[Act(now, ActKind.NOTE)],
            checkpoint={"number": number},
        )
        sys.stdout.write(f"{number}\n")
        sys.stdout.flush()
        store.seal_step(now)
        number += 1


if __name__ == "__main__":
    write(Path(sys.argv[1]), int(sys.argv[2]))
