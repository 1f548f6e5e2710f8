"""What did one point say in one step?"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts, Flags, Times
from rules.edges import UNKNOWN, Edges, normal
from rules.flags import Flag
from rules.windows import Slopes, ranges, slopes

_FIRST = np.zeros(1, np.intp)
_MANY = 64
"""Edges; more stay in columns."""


@dataclass(slots=True)
class Span:
    """The usable readings of one point in one step, and where its hold broke.

    t, v: int64[n] time (ms) and counts; tail_t, tail_v: usable readings before them in the same unbroken run, as
    far back as any window reaches; run_start: time of the first usable reading of that run, None where the point
    was unknown. restarts: positions in t at which a new run begins. stale: keys at which the point becomes unknown.
    """

    point: str
    t: Times
    v: Counts
    tail_t: Times
    tail_v: Counts
    run_start: int | None
    restarts: NDArray[np.intp]
    stale: list[int]
    silent: Edges
    f: Flags
    """uint8[n]: the flags of the readings."""
    own: Times
    """int64[n]: the own times of the readings. One that came late is heard later, at `t`; windows, limits
    of the hour and periods go by its own time."""
    before: int | None = None
    """Counts held before the step, known or not."""
    before_flag: int = Flag.NOT_EVALUATED
    _cache: dict[str, Any] = field(default_factory=dict)

    @property
    def quiet(self) -> bool:
        """Nothing happened in this step."""
        return not len(self.t) and not self.stale

    def edges(self, carry: int, changes: NDArray[np.intp], truths: NDArray[Any], *, inverted: bool = False) -> Edges:
        """Edges of a statement judged at readings and held between them.

        carry: its truth before the step; changes: sorted positions i >= 1 where truths[i] differs from truths[i-1];
        truths: int8[n] or bool[n] at each reading, to be turned round where `inverted`.
        """
        if self.quiet:
            return Edges(carry, [], [])
        if len(self.t) == 1 and not self.stale:
            return self.edge(carry, int(truths[0]) ^ inverted)
        if not len(self.t):
            return normal(carry, self.stale, [UNKNOWN] * len(self.stale))
        where = np.concatenate((_FIRST, changes))
        if len(self.restarts) and (len(self.restarts) > 1 or self.restarts[0]):
            where = np.sort(np.concatenate((where, self.restarts)), kind="stable")
        keys = 2 * self.t[where]
        found = truths[where].astype(np.int8)
        if inverted:
            found ^= 1
        if self.stale:
            keys = np.concatenate((keys, np.array(self.stale, np.int64)))
            found = np.concatenate((found, np.full(len(self.stale), UNKNOWN, np.int8)))
            order = np.argsort(keys, kind="stable")
            keys, found = keys[order], found[order]
        if len(keys) <= _MANY:
            return normal(carry, keys.tolist(), found.tolist())
        differs = np.concatenate(([found[0] != carry], found[1:] != found[:-1]))
        return Edges(carry, keys[differs], found[differs])

    def edge(self, carry: int, truth: int) -> Edges:
        """As `edges`, for a step with one reading and no end of a hold: what a live step mostly is."""
        return Edges(carry, [], []) if truth == carry else Edges(carry, [2 * int(self.t[0])], [truth])

    def runs(self) -> tuple[Times, Counts, NDArray[np.intp], NDArray[np.int64]]:
        """(T, V, first, began): tail and new readings together; for each *new* reading the position in T of the
        earliest reading of its run that is at hand, and the time at which its run began."""
        if "runs" not in self._cache:
            n, k = len(self.t), len(self.tail_t)
            times = np.concatenate((self.tail_t, self.own)) if k else self.own
            values = np.concatenate((self.tail_v, self.v)) if k else self.v
            first = np.zeros(n, np.intp)
            began = np.full(n, self.run_start if self.run_start is not None else 0, np.int64)
            for at in self.restarts:
                first[at:] = k + at
                began[at:] = self.own[at]
            self._cache["runs"] = (times, values, first, began)
        found: tuple[Times, Counts, NDArray[np.intp], NDArray[np.int64]] = self._cache["runs"]
        return found

    def window(self, length: int) -> NDArray[np.intp]:
        """For each new reading the position in T (see `runs`) of the first reading in `[t - length, t]` of its run."""
        name = f"window {length}"
        if name not in self._cache:
            times, _, first, _ = self.runs()
            self._cache[name] = np.maximum(_first_at_or_after(times, self.own - length), first)
        found: NDArray[np.intp] = self._cache[name]
        return found

    def slopes(self, length: int, part: slice = slice(None)) -> Slopes:
        """The least-squares slope over its window, for each new reading of `part`."""
        name = f"slopes {length}"
        if name not in self._cache:
            times, values, _, _ = self.runs()
            self._cache[name] = slopes(times, values, self.window(length), len(times) - len(self.t))
        found: Slopes = self._cache[name]
        return Slopes(found.above[part], found.below[part])

    def enough(self, length: int, readings: int, span: int) -> NDArray[np.bool_]:
        """For each new reading: whether its window holds so many readings that span so many ms."""
        name = f"enough {length} {readings} {span}"
        if name not in self._cache:
            times, _, _, _ = self.runs()
            low = self.window(length)
            count = np.arange(len(times) - len(self.t) + 1, len(times) + 1) - low
            self._cache[name] = (count >= readings) & (self.own - times.take(low) >= span)
        found: NDArray[np.bool_] = self._cache[name]
        return found

    def movement(self, length: int) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """For each new reading: max - min over its window, and whether its run reaches back that far."""
        name = f"movement {length}"
        if name not in self._cache:
            times, values, _, began = self.runs()
            begin = len(times) - len(self.t)
            self._cache[name] = (ranges(values, self.window(length), begin), self.own - began >= length)
        found: tuple[NDArray[np.int64], NDArray[np.bool_]] = self._cache[name]
        return found


def _first_at_or_after(times: Times, wanted: Times) -> NDArray[np.intp]:
    """`searchsorted(times, wanted)` of sorted columns; nearly even steps, as probes have them, are guessed first."""
    n = len(wanted)
    if n < 1024:
        return np.searchsorted(times, wanted, side="left")
    last = int(np.searchsorted(times, wanted[-1], side="left"))
    shift = len(times) - 1 - last
    begin = len(times) - n - shift
    ahead = max(0, -begin)
    guess = np.maximum(np.arange(begin, begin + n), 0)
    right = np.ones(n, np.bool_)
    right[:ahead] = times[0] >= wanted[:ahead]
    at = begin + ahead
    right[ahead:] = times[at : begin + n] >= wanted[ahead:]
    inner = ahead + (at == 0)
    right[inner:] &= times[begin + inner - 1 : begin + n - 1] < wanted[inner:]
    wrong = np.flatnonzero(~right)
    if len(wrong):
        guess[wrong] = np.searchsorted(times, wanted[wrong], side="left")
    return guess
