"""Which stretches of a long series can hold a change at all? Extremes of short stretches rule most of it out.

A zone is `width` readings one after the other. What its extremes already decide for all its readings is settled;
only the rest is judged reading by reading.
"""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts, Times
from rules.windows import Positions, first_at_or_after

MANY = 4096
"""Readings; in fewer there is nothing to gain."""
COARSE, WIDE = 4096, 64
"""Readings of a zone: for plain limits, and otherwise."""
WIDTHS = (WIDE, 32, 16)
"""For windows; finer zones cost more and decide more."""
DOUBT = np.int8(-1)
Settled = NDArray[np.int8]
"""int8[zones]: the truth at every reading of the zone, or DOUBT."""


def fitting(readings: int) -> int:
    """The widest zone of at most so many readings, or the finest."""
    return next((width for width in WIDTHS if width <= readings), WIDTHS[-1])


class Zones:
    """The zones of one column of readings. times: int64[n] ms, ascending strictly; values: int64[n] counts."""

    def __init__(self, times: Times, values: Counts, width: int) -> None:
        self.times, self.values, self.width = times, values, width
        self.starts = np.arange(0, len(values), width)
        self.ends = np.minimum(self.starts + width, len(values)) - 1
        """Position of each zone's last reading."""
        self._crossings: dict[int, Positions] = {}

    @cached_property
    def high(self) -> Counts:
        """The largest value of each zone."""
        found: Counts = np.maximum.reduceat(self.values, self.starts)
        return found

    @cached_property
    def low(self) -> Counts:
        """The smallest value of each zone."""
        found: Counts = np.minimum.reduceat(self.values, self.starts)
        return found

    @cached_property
    def gaps(self) -> tuple[Times, Times]:
        """The narrowest and the widest step (ms) from the reading before to a reading of each zone."""
        steps = np.empty(len(self.times), np.int64)
        np.subtract(self.times[1:], self.times[:-1], out=steps[1:])
        steps[0] = steps[1]
        return np.minimum.reduceat(steps, self.starts), np.maximum.reduceat(steps, self.starts)

    def column(self, settled: Settled) -> NDArray[np.int8]:
        """int8[n]: what is settled, at each reading."""
        return np.repeat(settled, self.width)[: len(self.values)]

    def _end(self, zone: int) -> int:
        return int(self.ends[zone]) + 1

    def crossings(self, limit: int) -> Positions:
        """The sorted positions i >= 1 where `v > limit` differs from what it was at i - 1."""
        if limit not in self._crossings:
            self._crossings[limit] = self._cross(limit)
        return self._crossings[limit]

    def _cross(self, limit: int) -> Positions:
        values = self.values
        seen = values[:: max(1, len(values) // 15)] > limit
        mostly = 2 * np.count_nonzero(seen) > len(seen)
        other = (self.low <= limit if mostly else self.high > limit).nonzero()[0]
        found = []
        for first, last in stretches(other, max(1, len(self.starts) // 16)):
            # With a neighbour on either side, at which it is as it mostly is.
            begin = max(first * self.width - 1, 0)
            above = values[begin : self._end(last) + 1] > limit
            found.append((above[1:] != above[:-1]).nonzero()[0] + (begin + 1))
        return np.concatenate(found) if found else np.empty(0, np.intp)


class Selection(NamedTuple):
    """Some readings with all that their windows need. at: sorted positions; wanted: bool[n], which of them are meant;
    joins: where a reading does not follow the one before it in the whole."""

    at: Positions
    wanted: NDArray[np.bool_]
    joins: Positions


def select(zones: Zones, chosen: NDArray[np.bool_], first: Positions) -> Selection:
    """The readings of the chosen zones, with those from right before `first`, where their windows begin, on."""
    which = np.flatnonzero(chosen)
    end = zones.ends[which] + 1
    begin = np.maximum(first[which] - 1, 0)
    begin[1:] = np.maximum(begin[1:], end[:-1])
    many = end - begin
    place = np.cumsum(many) - many
    at = np.arange(int(many.sum())) + np.repeat(begin - place, many)
    apart = np.ones(len(which), np.bool_)
    apart[1:] = begin[1:] > end[:-1]
    apart[:1] = begin[:1] > 0
    return Selection(at, at >= np.repeat(zones.starts[which], many), place[apart])


class Windows(NamedTuple):
    """What is known of all windows `[t - length, t]` that end with a reading of a zone."""

    first: Positions
    """Position at which the first window of each zone begins, whatever the runs."""
    whole: NDArray[np.bool_]
    """Whether all of them lie within one run of the readings at hand, which reaches back that far. What follows holds
    for such zones alone."""
    high: Counts
    """The largest value in these windows and a few readings more."""
    low: Counts
    inner: Counts | None
    """max - min over readings that are in every one of these windows; None where there may be none."""
    back: int
    """How many zones back the longest of them reaches."""


def windows(zones: Zones, length: int, restarts: Positions) -> Windows:
    """What the extremes of zones tell of windows of `length` ms. restarts: where a new run begins."""
    times, number = zones.times, np.arange(len(zones.starts))
    wanted = times[zones.starts] - length
    first = first_at_or_after(times, wanted, zones.starts)
    whole = wanted >= times[0]
    if len(restarts):
        whole &= np.searchsorted(restarts, zones.ends, "right") == np.searchsorted(restarts, first, "left")
    back = int((number - first // zones.width).max(where=whole, initial=0))
    high, low = trailing(zones.high, back + 1, np.maximum), trailing(zones.low, back + 1, np.minimum)
    last = first_at_or_after(times, times[zones.ends] - length, zones.ends)
    inside = int((number + -last // zones.width).min(where=whole, initial=len(number)))
    inner = None
    if whole.any() and inside >= 1:
        inner = np.zeros(len(number), np.int64)
        least = trailing(zones.high, inside, np.maximum) - trailing(zones.low, inside, np.minimum)
        inner[1:] = least[:-1]
    return Windows(first, whole, high, low, inner, back)


def steepest(zones: Zones, found: Windows, length: int, readings: int, span: int) -> NDArray[np.float64]:
    """A slope (counts per ms, float64[zones]) that no least-squares slope of these windows passes, up or down.

    Infinite where a window may hold fewer than `readings` or span less than `span` ms.

    With u = t - mean(t), n readings, and values that differ by at most R: |slope| = |Sum(u v)| / Sum(u^2) <=
    R/2 Sum|u| / Sum(u^2) <= R/2 n / Sum|u| (Cauchy and Schwarz), and Sum|u| >= d (n^2 - 1) / 4 where no step is
    shorter than d. Steps of at most D leave a window more than `length - D` long, with n > length / D.
    """
    narrow, wide = zones.gaps
    d, widest = trailing(narrow, found.back + 1, np.minimum), trailing(wide, found.back + 1, np.maximum)
    n = length // widest + 1
    sure = found.whole & (n >= max(readings, 2)) & (length - widest >= span)
    n = np.maximum(n, 2).astype(np.float64)
    most = 2.0 * (found.high - found.low) * n / (d * (n * n - 1.0))
    return np.where(sure, most, np.inf)


def trailing(column: NDArray[np.int64], count: int, pick: np.ufunc) -> NDArray[np.int64]:
    """The extreme over each entry and the `count - 1` before it, of those that exist; int64[n]."""
    found, covered = column.copy(), 1
    while covered < min(count, len(column)):
        step = min(covered, count - covered)
        found[step:] = pick(found[step:], found[:-step])
        covered += step
    return found


def stretches(chosen: Positions, near: int) -> list[tuple[int, int]]:
    """First and last of the groups of sorted numbers in which neighbours differ by at most `near`."""
    if len(chosen) < 2:
        return [(at, at) for at in chosen.tolist()]
    apart = np.flatnonzero(chosen[1:] - chosen[:-1] > near)
    first = chosen[np.concatenate(([0], apart + 1))]
    last = chosen[np.concatenate((apart, [len(chosen) - 1]))]
    return list(zip(first.tolist(), last.tolist(), strict=True))
