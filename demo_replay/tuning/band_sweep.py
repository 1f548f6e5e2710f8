"""Which alarms would a band have raised under every limit, deadband and delay? Found without an engine for each.

The stretches above a limit are found once. Of those that outlast an on-delay, neighbours without a return between them
are one alarm; a wider deadband or a longer off-delay only joins more of them, so each is reckoned from what is left of
the one before.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from demo_replay.tuning.levels import Positions, Runs, Series
from demo_replay.tuning.spells import OPEN, Spells, joined


class BandGrid(NamedTuple):
    """Settings of a band's high side: every combination. limits and deadbands in counts of the point, deadbands not
    negative; delays in ms."""

    limits: Sequence[Fraction]
    deadbands: Sequence[Fraction]
    on_delays: Sequence[int]
    off_delays: Sequence[int]

    @property
    def a_limit(self) -> int:
        """How many settings share a limit."""
        return len(self.deadbands) * len(self.on_delays) * len(self.off_delays)


class _Standing(NamedTuple):
    """The first stretch of each alarm, on-delay after on-delay.

    row: number of the on-delay; run: number of the stretch among those above the limit.
    """

    row: Positions
    run: Positions


def sweep_band(series: Series, grid: BandGrid) -> Iterator[tuple[int, Spells]]:
    """(number of a limit, spells of its settings), a limit at a time.

    The settings of a limit are numbered `(deadband * len(on_delays) + on_delay) * len(off_delays) + off_delay`; the
    spells are those of the engine for each of them.
    """
    on_delays = np.array(grid.on_delays, np.int64)
    widest = max(grid.deadbands)
    for number in sorted(range(len(grid.limits)), key=lambda index: grid.limits[index]):
        limit = grid.limits[number]
        series.forget_below(math.floor(limit - widest))
        runs = series.level(math.floor(limit)).above
        yield number, _settings_of(series, grid, limit, runs, on_delays)


def _settings_of(series: Series, grid: BandGrid, limit: Fraction, runs: Runs, on_delays: NDArray[np.int64]) -> Spells:
    by_width = sorted(range(len(grid.deadbands)), key=lambda index: grid.deadbands[index])
    by_length = sorted(range(len(grid.off_delays)), key=lambda index: grid.off_delays[index])
    row, run = np.nonzero(runs.lasting >= on_delays[:, None])
    standing = _Standing(row, run)
    parts: list[tuple[int, int, Spells]] = []
    for length in by_length:
        left = standing
        for place, width in enumerate(by_width):
            clear = math.floor(limit - grid.deadbands[width])
            left, returned = _alarms(series, clear, grid.off_delays[length], runs, left)
            if place == 0:
                standing = left
            since = runs.start[left.run]
            parts.append((width, length, Spells(left.row, since, since + on_delays[left.row], returned)))
    return _in_order(parts, grid)


def _alarms(
    series: Series, clear: int, off_delay: int, runs: Runs, standing: _Standing
) -> tuple[_Standing, NDArray[np.int64]]:
    """Those of the stretches that begin an alarm, and when each alarm is over (ms, OPEN: never)."""
    within = series.level(clear).within
    begin, start = within.begin, within.start
    if off_delay:
        kept = within.lasting >= off_delay
        begin, start = begin[kept], start[kept]
    # Between two stretches of one alarm there is no return, so that both are followed by the same one.
    back = np.searchsorted(begin, runs.after[standing.run])
    key = back + standing.row * (len(begin) + 1)
    first = np.empty(len(key), np.bool_)
    first[:1] = True
    np.not_equal(key[1:], key[:-1], out=first[1:])
    over = np.append(start + off_delay, OPEN)[back[first]]
    return _Standing(standing.row[first], standing.run[first]), over


def _in_order(parts: list[tuple[int, int, Spells]], grid: BandGrid) -> Spells:
    """The spells of a limit numbered by setting, and sorted so."""
    delays, lengths = len(grid.on_delays), len(grid.off_delays)
    numbered = [
        Spells((width * delays + spells.setting) * lengths + length, *spells[1:])
        for width, length, spells in sorted(parts, key=lambda part: part[:2])
    ]
    found = joined(numbered)
    if lengths == 1:
        return found
    order = np.argsort(found.setting, kind="stable")
    return Spells(*(column[order] for column in found))
