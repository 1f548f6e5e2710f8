"""Do both engines agree on tens of thousands of random series?

In the folder of the project: `python -m tests.twin.fuzz --seconds 600 --seed 1`.
A disagreement is shown as the smallest case that has it. With `--zones` the engine works on short series as it
otherwise does on long ones: extremes of zones decide what they can.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Callable

from rules import apart, predicates, windowed, zones
from rules.conditions import cycle
from tests.twin.case import Case
from tests.twin.judge import disagreement
from tests.twin.random_cases import random_case
from tests.twin.shrink import smallest

SMALL_ZONES = {"MANY": 2, "COARSE": 3, "WIDE": 4, "WIDTHS": (4, 2), "PIECE": 5}
"""What the dense stage takes for many readings, zones of several kinds, and a piece."""
DENSE = (predicates, windowed, apart, zones, cycle)


def main() -> int:
    """Judge random cases until the time is up; show the smallest form of each disagreement. 0: none."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0, help="how long")
    parser.add_argument("--seed", type=int, default=1, help="seed of the first case; each case has the next one")
    parser.add_argument("--long", action="store_true", help="series of a thousand readings and more, of which few fit")
    parser.add_argument("--stop-after", type=int, default=1, help="how many disagreements to look for")
    parser.add_argument("--zones", action="store_true", help="zones of a few readings, in series of any length")
    given = parser.parse_args()
    if given.zones:
        for module in DENSE:
            for name in SMALL_ZONES.keys() & vars(module).keys():
                setattr(module, name, SMALL_ZONES[name])
    end = time.monotonic() + given.seconds
    seed, found = given.seed, 0
    while time.monotonic() < end and found < given.stop_after:
        late = seed % 3 == 0
        case = random_case(random.Random(seed), late=late, long=given.long)
        text = _judge(case, late=late)
        if text is not None:
            found += 1
            print(f"seed {seed} disagrees; looking for the smallest case", flush=True)
            small = smallest(case, _same_trouble(text, late=late))
            print(f"seed {seed}:\n{small.show()}\n{_judge(small, late=late)}\n", flush=True)
        seed += 1
    print(f"{seed - given.seed} series, seeds {given.seed} to {seed - 1}: {found} disagreements")
    return 1 if found else 0


def _same_trouble(text: str, *, late: bool) -> Callable[[Case], bool]:
    """Whether a smaller case still has the trouble whose first line is that of `text`."""
    headline = text.splitlines()[0]

    def same(case: Case) -> bool:
        found = _judge(case, late=late)
        return found is not None and found.splitlines()[0] == headline

    return same


def _judge(case: Case, *, late: bool) -> str | None:
    """The disagreement, or what either raised: whatever goes wrong here is to be shown with its case."""
    try:
        return disagreement(case, cuts_matter=late)
    except Exception as error:  # noqa: BLE001 - a fuzz run reports every kind of failure with its smallest case
        return f"{type(error).__name__}: {error}"


if __name__ == "__main__":
    sys.exit(main())
