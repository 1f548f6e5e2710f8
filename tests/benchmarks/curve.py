"""How does the cost grow with readings, and how with settings? Wanted: as the readings, and far less than the settings.

    .venv/bin/python -m tests.benchmarks.curve

The year of 20 points under 31 rules in ever longer parts, and sweeps of a band over a point-year with ever more limits,
deadbands and on-delays. Least processor time of several rounds.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial

from rules.block import Block
from tests.benchmarks.lean import YEAR, point_year
from tests.benchmarks.made_year import FLAGS, MINUTES, TIMES, make_rules, make_year
from tests.benchmarks.sweep import swept
from tests.benchmarks.year import build, least

PARTS = (MINUTES // 16, MINUTES // 8, MINUTES // 4, MINUTES // 2, MINUTES)
GRIDS = ((1, 1, 1), (10, 1, 1), (10, 10, 1), (10, 10, 10), (100, 10, 10), (1000, 10, 10))
"""Limits, deadbands, on-delays."""


def main() -> int:
    """Print both curves; 1 where one bends the wrong way."""
    year, rules = make_year(), make_rules()

    def part(readings: int) -> Callable[[], object]:
        blocks = [Block(p.id, TIMES[:readings], year.columns[p.id][:readings], FLAGS[:readings]) for p in year.points]
        return partial(build(year.points, rules).step, blocks, [], int(TIMES[readings - 1]) + 1000)

    spent = least({str(readings): (partial(part, readings), 3) for readings in PARTS}, 3)
    print(f"{'readings':>12} {'ms':>9} {'ns a reading':>13}")
    for readings in PARTS:
        took = spent[str(readings)]
        print(
            f"{readings * len(year.points):>12,} {took * 1e3:>9.1f} {took * 1e9 / readings / len(year.points):>13.1f}"
        )
    longer = PARTS[-1] / PARTS[0]
    grown = spent[str(PARTS[-1])] / spent[str(PARTS[0])]
    straight = grown <= longer * 1.25
    print(
        f"{longer:g} times the readings cost {grown:.1f} times as much: {'no more than linear' if straight else 'BENT'}"
    )
    times, values = point_year()

    def sweep(grid: tuple[int, int, int]) -> Callable[[], object]:
        return partial(swept, times, values, *grid)

    sweeps = least({str(grid): (partial(sweep, grid), 1) for grid in GRIDS}, 3)
    print(f"{'settings':>12} {'ms':>9} {'us a setting':>13}   over {YEAR:,} readings")
    for grid in GRIDS:
        settings, took = grid[0] * grid[1] * grid[2], sweeps[str(grid)]
        print(f"{settings:>12,} {took * 1e3:>9.1f} {took * 1e6 / settings:>13.1f}")
    more = sweeps[str(GRIDS[-2])] / sweeps[str(GRIDS[0])]
    flat = more <= 10_000 / 20
    print(f"10,000 settings cost {more:.0f} times as much as one: {'far below linear' if flat else 'TOO MUCH'}")
    return 0 if straight and flat else 1


if __name__ == "__main__":
    sys.exit(main())
