"""Which alarms would a band rule have raised under every limit, deadband and delay? Found without an engine for each.

The series is cut into windows of which only smallest and largest value are kept: only a window with
`smallest <= limit < largest` can hold an edge. Edges of a limit are found once; each longer deadband's returns are
looked for from the shorter one's; all delays of a limit and deadband are counted together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from demo_replay.tuning.spells import OPEN, Spells, joined

WIDTH = 64
"""Readings a window."""

Ints = NDArray[np.int64]
Positions = NDArray[np.intp]


class Series:
    """The usable readings of one point over a recording, prepared for many limits on its high side.

    t, v: int64[n] time (ms) and counts, sorted; hold: ms that a reading is held; end: last instant judged, ms. A low
    side is the high side of the mirrored values.
    """

    def __init__(self, t: Ints, v: Ints, hold: int, end: int) -> None:
        self.t, self.v, self.hold, self.end = t, v, hold, end
        n = len(t)
        self.gaps: Positions = np.flatnonzero(t[1:] - t[:-1] > hold) + 1
        """Positions before which the point had become unknown."""
        rows = max(1, math.ceil(n / WIDTH))
        padded = np.full(rows * WIDTH, v[-1] if n else 0, np.int64)
        padded[:n] = v
        self.rows = padded.reshape(rows, WIDTH)
        low, high = self.rows.min(axis=1), self.rows.max(axis=1)
        self.bottom = low.copy()
        # An edge may lie between two windows: each shares the reading before it.
        before = np.concatenate((self.rows[:1, 0], self.rows[:-1, -1]))
        self.low, self.high = np.minimum(low, before), np.maximum(high, before)
        self.before = before
        self.padded = padded

    def changes(self, limit: int) -> Positions:
        """Positions i >= 1 at which `v[i] > limit` differs from `v[i - 1] > limit`."""
        windows = np.flatnonzero((self.low <= limit) & (self.high > limit))
        above = self.rows[windows] > limit
        first = self.before[windows] > limit
        differs = np.empty_like(above)
        differs[:, 0] = above[:, 0] != first
        np.not_equal(above[:, 1:], above[:, :-1], out=differs[:, 1:])
        row, column = np.nonzero(differs)
        return windows[row] * WIDTH + column

    def next_within(self, start: Positions, limit: int) -> Positions:
        """The first position at or after each of `start` (sorted) with `v <= limit`; n where there is none."""
        n = len(self.t)
        found = np.full(len(start), n, np.intp)
        inside = start < n
        where = start[inside]
        own = where // WIDTH
        fits = self.rows[own] <= limit
        fits &= np.arange(WIDTH) >= (where % WIDTH)[:, None]
        at = fits.argmax(axis=1)
        here = fits[np.arange(len(where)), at]
        result = own * WIDTH + at
        candidates = np.flatnonzero(self.bottom <= limit)
        later = np.searchsorted(candidates, own + 1)
        some = later < len(candidates)
        window = candidates[np.minimum(later, max(len(candidates) - 1, 0))] if len(candidates) else own
        distinct, back = np.unique(window, return_inverse=True)
        columns = (self.rows[distinct] <= limit).argmax(axis=1)
        result = np.where(here, result, np.where(some, window * WIDTH + columns[back], n))
        found[inside] = np.minimum(result, n)
        return found


class Runs(NamedTuple):
    """Unbroken stretches of `v > limit`. begin: position of the first reading; after: position from which a return can
    come; latest: the last instant (ms) at which a delay may end within it."""

    begin: Positions
    after: Positions
    latest: Ints


def runs_above(series: Series, limit: int) -> Runs:
    """The stretches of `v > limit`, split where the point was unknown."""
    n = len(series.t)
    if not n:
        none = np.empty(0, np.intp)
        return Runs(none, none, np.empty(0, np.int64))
    borders = np.unique(np.concatenate((np.zeros(1, np.intp), series.changes(limit), series.gaps)))
    following = np.append(borders[1:], n)
    mine = series.v[borders] > limit
    begin, after = borders[mine], following[mine]
    # A reading back within the limit at the instant a delay ends cancels it; the end of the hold does not.
    hold_ends = series.t[after - 1] + series.hold
    next_reading = series.t[np.minimum(after, n - 1)]
    stale = (after == n) | np.isin(after, series.gaps)
    latest = np.where(stale, np.minimum(hold_ends, series.end), next_reading - 1)
    return Runs(begin, after, latest)


def _returns_after(series: Series, after: Positions, limit: int, off_delay: int) -> Ints:
    """When (ms) the return `v <= limit` has held for `off_delay`, looked for from each position on; OPEN: never."""
    n = len(series.t)
    mirrored = Series(series.t, -series.v, series.hold, series.end)
    spells = runs_above(mirrored, -limit - 1)
    due = series.t[spells.begin] + off_delay
    kept = due <= spells.latest
    begin, due = spells.begin[kept], due[kept]
    at = np.searchsorted(begin, after)
    result = np.full(len(after), OPEN, np.int64)
    some = (at < len(begin)) & (after < n)
    result[some] = due[at[some]]
    return result


def sweep_band(
    series: Series,
    limits: Sequence[Fraction],
    deadbands: Sequence[Fraction],
    on_delays: Sequence[int],
    off_delay: int = 0,
) -> Spells:
    """The spells of every setting, numbered `(limit * len(deadbands) + deadband) * len(on_delays) + on_delay`.

    limits and deadbands in counts of the point (high side); delays in ms. The same as an engine says for each.
    """
    delays = np.array(on_delays, np.int64)
    order = sorted(range(len(deadbands)), key=lambda i: deadbands[i])
    parts: list[tuple[int, Spells]] = []
    for number, limit in enumerate(limits):
        runs = runs_above(series, math.floor(limit))
        start = series.t[runs.begin]
        due = start + delays[:, None]
        valid = due <= np.where(delays[:, None] == 0, OPEN, runs.latest)
        row, column = np.nonzero(valid)
        first = np.concatenate(([True], row[1:] != row[:-1])) if len(row) else np.empty(0, np.bool_)
        position = runs.after
        for which in order:
            clear = math.floor(limit - deadbands[which])
            if off_delay:
                back = _returns_after(series, runs.after, clear, off_delay)
            else:
                distinct, again = np.unique(position, return_inverse=True)
                position = series.next_within(distinct, clear)[again]
                back = np.where(position < len(series.t), series.t[np.minimum(position, len(series.t) - 1)], OPEN)
            base = (number * len(deadbands) + which) * len(on_delays)
            parts.append((base, _spells(base, row, column, first, start, due, back)))
    return joined([spells for _, spells in sorted(parts, key=lambda part: part[0])])


def _spells(
    base: int, row: Positions, column: Positions, first: NDArray[np.bool_], start: Ints, due: Ints, back: Ints
) -> Spells:
    """Of the runs that outlast their delay, those that begin while an alarm stands belong to it."""
    if not len(row):
        return joined([])
    begins, ends = start[column], back[column]
    onset = first.copy()
    onset[1:] |= begins[1:] >= ends[:-1]
    at = np.flatnonzero(onset)
    last = np.append(at[1:], len(row)) - 1
    return Spells(base + row[at], begins[at], due[row[at], column[at]], ends[last])
