"""Has a reading not moved for longer than nature allows?"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from rules.block import Counts, Times
from rules.durations import Duration
from rules.errors import SettingError
from rules.quality.narrow import narrow
from rules.quality.settings import QualitySettings, step
from rules.quality.stretch import Stretch
from rules.quality.verdicts import ALL_PASS, DOUBTED, FAILS, PASSES, Verdicts
from rules.settings import Amount

if TYPE_CHECKING:
    from rules.local_time import Zone
    from rules.plan import PointPlan

Positions = NDArray[np.intp]


class FlatLineSettings(QualitySettings):
    """A reading is suspect, then fails, when for so long nothing has differed by more than a tolerance.

    QARTOD flat line test: REP_CNT_SUSPECT readings within EPS of each other give 3, REP_CNT_FAIL give 4. Here it is a
    time, and `max - min <= tolerance` over `[t - time, t]`, so that a tolerance of 0 finds what repeats exactly.
    Silence that is longer than the test's time, or than the point's stale_after, begins a new line.
    """

    suspect_time: Duration | None = Field(None, description="how long before a reading is suspect")
    fail_time: Duration | None = Field(None, description="how long before it fails")
    tolerance: Amount = Field("0", description="what counts as no movement")

    def build(self, point: PointPlan, zone: Zone) -> FlatLine:
        """The test; raises SettingError where no time is given, or the second is shorter than the first."""
        times = [time for time in (self.suspect_time, self.fail_time) if time is not None]
        if not times or not min(times):
            raise SettingError('flat_line has no time; write suspect_time = "3 h", fail_time = ... or both')
        if len(times) == 2 and times[1] < times[0]:
            raise SettingError("flat_line: fail_time is shorter than suspect_time; swap them")
        tolerance = step(self.tolerance, point)
        if tolerance is None or tolerance < 0:
            raise SettingError("flat_line: tolerance is negative; write how far, without a sign")
        hold = min(*times, point.stale_after) if point.stale_after else min(times)
        return FlatLine(self.suspect_time, self.fail_time, tolerance, hold)


class _Line(NamedTuple):
    """What later windows must know of the readings so far.

    since: no window that begins before this time (ms) can be flat. t, v: the newest readings as far back as they are
    flat, thinned to those that no later one exceeds: the extremes of every window that ends later are among them.
    """

    since: int
    t: Times
    v: Counts


class FlatLine:
    """The test for one point; carries the line that it is in. Times in ms, tolerance in counts.

    hold: a wait that is longer than this (ms) begins a new line.
    """

    excludes = False

    def __init__(self, suspect: int | None, fail: int | None, tolerance: Fraction, hold: int) -> None:
        self.suspect, self.fail = suspect, fail
        self.tolerance = math.floor(tolerance)
        self.hold = hold
        self.line: _Line | None = None

    def judge(self, stretch: Stretch) -> Verdicts:
        """Doubted or failed where the line has been flat for long."""
        found = ALL_PASS
        begins = self._pieces(stretch)
        for length, verdict in ((self.suspect, DOUBTED), (self.fail, FAILS)):
            if length is None:
                continue
            flat = self._flat(stretch, begins, length)
            if len(flat):
                found = np.full(len(stretch), PASSES) if found is ALL_PASS else found
                found[flat] = verdict
        self._settle(stretch, begins[-1:])
        return found

    def _pieces(self, stretch: Stretch) -> Positions:
        """Where the stretch is cut into pieces within which no step is larger than the tolerance.

        The position of the first reading of each; -1 for a piece that goes on from the line before the stretch.
        """
        moved = stretch.rises != 0 if not self.tolerance else np.abs(stretch.rises) > self.tolerance
        if stretch.longest_wait > self.hold:
            moved |= stretch.waits > self.hold
        begins = np.flatnonzero(moved)
        if moved[0]:
            return begins
        return np.concatenate((np.full(1, 0 if self.line is None else -1, np.intp), begins))

    def _since(self, stretch: Stretch, begins: Positions) -> NDArray[np.int64]:
        """The earliest time at which a window of each of the pieces may begin, ms."""
        times, waits = stretch.t[begins], stretch.waits[begins]
        # Right after a step a window may begin just behind the reading before it; after silence only at a reading.
        since: NDArray[np.int64] = np.where(waits > self.hold, times, times - waits + 1)
        if len(begins) and begins[0] <= 0:
            if self.line is None:
                since[0] = times[0]
            elif begins[0] == -1:
                since[0] = self.line.since
        return since

    def _flat(self, stretch: Stretch, begins: Positions, length: int) -> Positions:
        """The positions of the readings whose window of `length` ms is flat."""
        earliest = int(stretch.t[0]) if self.line is None else self.line.since
        if int(stretch.t[-1]) - length < earliest:
            return begins[:0]
        # A piece of n readings lasts n times the longest wait at most: few pieces need a closer look.
        fewest = -(-length // max(stretch.longest_wait, 1))
        long: Positions = np.flatnonzero(begins[1:] - begins[:-1] >= fewest)
        last = len(begins) - 1
        long = np.concatenate((long, np.full(1, last, np.intp))) if len(stretch) - begins[-1] >= fewest else long
        if begins[0] == -1 and not (len(long) and long[0] == 0):
            long = np.concatenate((np.zeros(1, np.intp), long))
        ends = np.where(long == last, len(stretch), begins[np.minimum(long + 1, last)])
        since = self._since(stretch, begins[long])
        lasting = stretch.t[ends - 1] - length >= since
        long, ends, since = long[lasting], ends[lasting], since[lasting]
        if not len(long):
            return long
        # In each long piece, the readings from `since + length` on.
        low = np.maximum(np.searchsorted(stretch.t, since + length), np.maximum(begins[long], 0))
        size = ends - low
        before = np.cumsum(size) - size
        at = np.repeat(low - before, size) + np.arange(int(size.sum()))
        return self._narrow(stretch, at, length) if self.tolerance else at

    def _narrow(self, stretch: Stretch, at: Positions, length: int) -> Positions:
        """Those of the positions whose window is no wider than the tolerance."""
        times, values = stretch.t, stretch.v
        if self.line is None:
            return at[narrow(times, values, at, length, self.tolerance)]
        kept = len(self.line.t)
        times, values = np.concatenate((self.line.t, times)), np.concatenate((self.line.v, values))
        return at[narrow(times, values, at + kept, length, self.tolerance)]

    def _settle(self, stretch: Stretch, last: Positions) -> None:
        """Take up the line in which the stretch ends; last: the position at which its last piece begins."""
        begin, start = int(last[0]), int(self._since(stretch, last)[0])
        t, v = stretch.t[max(begin, 0) :], stretch.v[max(begin, 0) :]
        if begin == -1 and self.line is not None:
            t, v = np.concatenate((self.line.t, t)), np.concatenate((self.line.v, v))
        if not self.tolerance:
            self.line = _Line(start, t[-1:].copy(), v[-1:].copy())
            return
        highest = np.maximum.accumulate(v[::-1])[::-1]
        lowest = np.minimum.accumulate(v[::-1])[::-1]
        wide = np.flatnonzero(highest - lowest > self.tolerance)
        if len(wide):
            cut = int(wide[-1]) + 1
            start = max(start, int(t[cut - 1]) + 1)
            t, v, highest, lowest = t[cut:], v[cut:], highest[cut:], lowest[cut:]
        # A reading counts where no later one is as high, or as low.
        keep = np.ones(len(t), np.bool_)
        keep[:-1] = (v[:-1] > highest[1:]) | (v[:-1] < lowest[1:])
        self.line = _Line(start, t[keep], v[keep])

    def state(self) -> Any:
        """The line: since when, and the times and counts of the readings that bound it."""
        return None if self.line is None else [self.line.since, self.line.t.tolist(), self.line.v.tolist()]

    def load(self, state: Any) -> None:
        """Take up what `state` gave."""
        self.line = None
        if state is not None:
            since, times, values = state
            self.line = _Line(since, np.array(times, np.int64), np.array(values, np.int64))
