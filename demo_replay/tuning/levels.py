"""Where does a recorded series cross a level? Found by looking only where it can."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

_BITS = 6
_WIDTH = 1 << _BITS
"""Readings a window."""

Ints = NDArray[np.int64]
Positions = NDArray[np.intp]


class Runs(NamedTuple):
    """Unbroken stretches of a statement.

    begin: position of the first reading; after: position of the first reading past it; start: when it began, ms;
    lasting: the longest delay (ms) that ends while it still holds.
    """

    begin: Positions
    after: Positions
    start: Ints
    lasting: Ints


class Level(NamedTuple):
    """The stretches above a level, and those at or below it."""

    above: Runs
    within: Runs


class Series:
    """The usable readings of one point over a recording, prepared for many levels.

    t, v: int64[n], times (ms) and counts, sorted by time; hold: ms that a reading is held; end: the last instant that
    is judged, ms. The series is cut into windows of which smallest and largest value are kept: only a window with
    `smallest <= level < largest` can hold a crossing.
    """

    def __init__(self, t: Ints, v: Ints, hold: int, end: int) -> None:
        self.t, self.v, self.hold, self.end = t, v, hold, end
        n = len(t)
        self.cut = np.ones(n + 1, np.bool_)
        """Whether the point was unknown before this position; so it was before the first, and is after the last."""
        self.cut[1:n] = t[1:] - t[:-1] > hold
        self._lowest, self._highest = (int(v.min()), int(v.max())) if n else (0, 0)
        rows = max(1, math.ceil(n / _WIDTH))
        small = self._lowest > -(2**31) + 1 and self._highest < 2**31
        padded = np.full(rows * _WIDTH, v[-1] if n else 0, np.int32 if small else np.int64)
        padded[:n] = v
        self._rows = padded.reshape(rows, _WIDTH)
        cut = np.zeros(rows * _WIDTH, np.bool_)
        cut[:n] = self.cut[:n]
        self._cut_rows = cut.reshape(rows, _WIDTH)
        self._broken = self._cut_rows.any(axis=1)
        # A crossing may lie between two windows: each shares the reading before it.
        self._before = np.concatenate((self._rows[:1, 0], self._rows[:-1, -1]))
        self._low = np.minimum(self._rows.min(axis=1), self._before)
        self._high = np.maximum(self._rows.max(axis=1), self._before)
        self._levels: dict[int, Level] = {}

    def mirrored(self) -> Series:
        """The series whose high side is the low side of this one."""
        return Series(self.t, -self.v, self.hold, self.end)

    def level(self, level: int) -> Level:
        """The stretches of `v > level` and of `v <= level`, split where the point was unknown."""
        level = min(max(level, self._lowest - 1), self._highest)
        found = self._levels.get(level)
        if found is None:
            found = self._levels[level] = self._find(level)
        return found

    def forget_below(self, level: int) -> None:
        """Drop what was found for lower levels."""
        level = min(max(level, self._lowest - 1), self._highest)
        for old in [known for known in self._levels if known < level]:
            del self._levels[old]

    def _find(self, level: int) -> Level:
        n = len(self.t)
        windows = np.flatnonzero(((self._low <= level) & (self._high > level)) | self._broken)
        truths = np.empty((len(windows), _WIDTH + 1), np.bool_)
        np.greater(self._rows[windows], level, out=truths[:, 1:])
        np.greater(self._before[windows], level, out=truths[:, 0])
        borders = truths[:, 1:] != truths[:, :-1]
        borders |= self._cut_rows[windows]
        at = np.flatnonzero(borders)
        row = at >> _BITS
        begin = (windows[row] << _BITS) + (at & (_WIDTH - 1))
        after = np.append(begin[1:], n)[: len(begin)]
        start = self.t[begin]
        # A reading at the instant a delay ends comes before it; the end of the hold, or of the recording, does not.
        ends = self.t[np.minimum(after, n - 1)] - 1 if n else start
        broken = np.flatnonzero(self.cut[after])
        ends[broken] = np.minimum(self.t[after[broken] - 1] + self.hold, self.end)
        mine = truths[:, 1:][row, at & (_WIDTH - 1)]
        lasting = ends - start
        above, within = np.flatnonzero(mine), np.flatnonzero(~mine)
        return Level(
            Runs(begin[above], after[above], start[above], lasting[above]),
            Runs(begin[within], after[within], start[within], lasting[within]),
        )
