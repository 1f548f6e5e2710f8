"""What did a point do over a season: how low, how high, how long beyond its limits, how long was nothing known?"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from rules.block import Block, Counts, Times
from rules.conditions.band import BandSettings
from rules.local_time import Zone
from rules.plan import Plan, PointPlan
from rules.units import convert, parse_amount, parse_unit

# The hours that keepers share of the air (rules for tropical and citrus trees; common practice, no source).
_AIR = (("low", "12.5"), ("low", "10"), ("low", "5"), ("low", "0"), ("high", "32"), ("high", "36"), ("high", "40"))


class Mark(NamedTuple):
    """A limit in counts; side: "low" or "high"; rule: whose it is, "" for one that keepers compare."""

    side: str
    limit: Fraction
    rule: str


class Extreme(NamedTuple):
    """ms UTC and counts."""

    at: int
    counts: int


class Midnights:
    """The local days of a span."""

    def __init__(self, zone: Zone, start: int, end: int) -> None:
        self.dates: list[dt.date] = []
        starts: list[int] = []
        day, last = zone.moment(start).date(), zone.moment(max(start, end - 1)).date()
        while day <= last:
            self.dates.append(day)
            midnight = dt.datetime.combine(day, dt.time(), zone.info)
            starts.append(round(midnight.timestamp() * 1000))
            day += dt.timedelta(days=1)
        self._starts = np.array(starts, np.int64)

    def split(self, times: Times) -> Iterator[tuple[dt.date, slice]]:
        """The part of sorted times, all within the span, that lies in each day."""
        cuts = np.searchsorted(times, self._starts, side="left")
        for index, date in enumerate(self.dates):
            part = slice(int(cuts[index]), int(cuts[index + 1]) if index + 1 < len(cuts) else len(times))
            if part.stop > part.start:
                yield date, part


class Course:
    """low, high: None where no reading could be used; beyond: ms for each mark; heard: ms during which a reading was
    held; days: local date -> (lowest, highest) in counts; readings: how many.

    A reading holds until the next, at most `stale_after`, as for the rules.
    """

    def __init__(self, point: PointPlan, marks: Sequence[Mark], midnights: Midnights) -> None:
        self.point, self.marks = point, tuple(marks)
        self.low: Extreme | None = None
        self.high: Extreme | None = None
        self.beyond = [0] * len(self.marks)
        self.heard = self.readings = 0
        self.days: dict[dt.date, tuple[int, int]] = {}
        self._midnights = midnights
        self._held: tuple[int, int] | None = None

    def add(self, part: Block) -> None:
        """Usable readings, later than those before, in order of time."""
        times, values = part.times, part.values
        if not len(times):
            return
        self._extremes(times, values)
        self._by_day(times, values)
        self.readings += len(times)
        if self._held is not None:
            times, values = np.append(self._held[0], times), np.append(self._held[1], values)
        self._hold(times, values)
        self._held = (int(times[-1]), int(values[-1]))

    def end(self, end: int) -> None:
        """Nothing more comes before `end` (ms UTC)."""
        if self._held is not None:
            at, counts = self._held
            self._hold(np.array([at, end], np.int64), np.array([counts, counts], np.int64))
            self._held = None

    def _extremes(self, times: Times, values: Counts) -> None:
        lowest, highest = int(values.argmin()), int(values.argmax())
        if self.low is None or values[lowest] < self.low.counts:
            self.low = Extreme(int(times[lowest]), int(values[lowest]))
        if self.high is None or values[highest] > self.high.counts:
            self.high = Extreme(int(times[highest]), int(values[highest]))

    def _by_day(self, times: Times, values: Counts) -> None:
        for date, part in self._midnights.split(times):
            low, high = int(values[part].min()), int(values[part].max())
            before = self.days.get(date, (low, high))
            self.days[date] = (min(low, before[0]), max(high, before[1]))

    def _hold(self, times: Times, values: Counts) -> None:
        """Count how long each reading but the last was held."""
        held = np.minimum(np.diff(times), self.point.stale_after)
        self.heard += int(held.sum())
        own = values[:-1]
        for index, mark in enumerate(self.marks):
            out = own > math.floor(mark.limit) if mark.side == "high" else own < math.ceil(mark.limit)
            self.beyond[index] += int(held[out].sum())


def marks_of(plan: Plan, point: PointPlan) -> tuple[Mark, ...]:
    """The plain limits of a point's bands, and for air those that keepers compare; the mildest of each side first."""
    found: dict[tuple[str, Fraction], str] = {}
    for rule in plan.rules:
        if isinstance(rule, BandSettings) and rule.point == point.id:
            for side, amount in (("low", rule.low), ("high", rule.high)):
                if amount is not None:
                    limit = parse_amount(amount, point.units) / point.resolution
                    found.setdefault((side, limit), rule.id)
    if point.quantity == "air_temperature":
        for side, degrees in _AIR:
            limit = convert(Fraction(degrees), parse_unit("degC"), point.units) / point.resolution
            found.setdefault((side, limit), "")
    lows = sorted((limit for side, limit in found if side == "low"), reverse=True)
    highs = sorted(limit for side, limit in found if side == "high")
    ranked = [("low", limit) for limit in lows] + [("high", limit) for limit in highs]
    return tuple(Mark(side, limit, found[side, limit]) for side, limit in ranked)
