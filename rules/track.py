"""What does one point hold between steps, and which readings are judged in the next?"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rules.block import Block, Counts, Flags, Times, concatenate, first_of_each_time
from rules.edges import FALSE, TRUE, normal
from rules.flags import Flag
from rules.packing import pack, unpack
from rules.plan import PointPlan
from rules.running import NEVER, Running
from rules.span import Span
from rules.units import convert, parse_unit

_NONE = np.empty(0, np.int64)
_NOWHERE = np.empty(0, np.intp)
_STRIDE = 3


def _gaps(t: Times, hold: int) -> NDArray[np.intp]:
    """Positions i with `t[i] - t[i - 1] > hold` of strictly sorted times.

    Three steps that together last no longer than `hold` and two milliseconds cannot hide one that does; for evenly
    sent readings a third of the differences shows it.
    """
    n = len(t)
    if n > 1024:
        strides = t[_STRIDE::_STRIDE] - t[:-_STRIDE:_STRIDE]
        # The last steps, fewer than make a stride, together too.
        if strides.max() <= hold + _STRIDE - 1 and t[-1] - t[-_STRIDE] <= hold:
            return _NOWHERE
    return np.flatnonzero(t[1:] - t[:-1] > hold) + 1


def _gaps_of(t: Times, expiry: Times) -> NDArray[np.intp]:
    """Positions before which the hold of the reading before had ended."""
    return np.flatnonzero(t[1:] > expiry[:-1]) + 1


class Track:
    """One point between steps: its last readings, what waits beyond the frontier, and the tail that windows need."""

    def __init__(self, plan: PointPlan, start: int, reach: int) -> None:
        self.plan = plan
        self.start = start
        self.reach = reach
        self.waiting = Block(plan.id, _NONE, _NONE, np.empty(0, np.uint8))
        self.heard: tuple[int, int, int] | None = None
        self.last: tuple[int, int] | None = None
        """Own time and counts of the last usable reading."""
        self.flag: int = Flag.NOT_EVALUATED
        self.known = False
        self.silent = False
        self.run_start: int | None = None
        self.tail_t: Times = _NONE
        self.tail_v: Counts = _NONE
        self.span: Span | None = None
        self.due = 0
        """Before this time (ms) the point does not become unknown or silent."""
        self._saved: dict[str, Any] | None = None
        """What `state` gave, while that is still so."""
        self.before: int | None = None
        """Counts held before the present step."""

    def newest(self, upto: int) -> tuple[int, int, int] | None:
        """(time, counts, flag) of the newest reading up to `upto`; one that waits has the flag with which it came."""
        end = int(np.searchsorted(self.waiting.times, upto, side="right"))
        if not end:
            return self.heard
        times, values, flags = self.waiting.times, self.waiting.values, self.waiting.flags
        return int(times[end - 1]), int(values[end - 1]), int(flags[end - 1])

    def take(self, new: list[Block], before: int, upto: int, behind: list[tuple[str, int]]) -> tuple[Block, int]:
        """The readings to judge in this step, in order of their own times, and how many repeats were left out.

        What is newer than `upto` waits. What is not after `before` is behind; only where it is the newest of its point
        is it judged, before the others.
        """
        if not new and not len(self.waiting.times):
            return self.waiting, 0
        self._saved = None
        part, repeats = first_of_each_time(concatenate(self.plan.id, [self.waiting, *new]))
        begin = 0
        if len(part) and part.times[0] <= before:
            begin = int(np.searchsorted(part.times, before, side="right"))
            behind.extend((self.plan.id, int(t)) for b in new for t in b.times if t <= before)
            if self.heard is None or part.times[begin - 1] > self.heard[0]:
                begin -= 1
        end = int(np.searchsorted(part.times, upto, side="right")) if upto > before else begin
        self.waiting = Block(self.plan.id, part.times[end:], part.values[end:], part.flags[end:])
        return Block(self.plan.id, part.times[begin:end], part.values[begin:end], part.flags[begin:end]), repeats

    def advance(self, part: Block, before: int, upto: int, running: Running) -> Span:
        """The span of `(before, upto]` from the readings that `take` gave, with the flags that they were judged by."""
        if not len(part.times) and upto < self.due and self.span is not None and self.span.idle:
            return self.span
        self._saved = None
        own, values, flags = part.times, part.values, part.flags
        times = own
        if len(own):
            self.heard = (int(own[-1]), int(values[-1]), int(flags[-1]))
        worst = int(Flag.SUSPECT if self.plan.accept_suspect else Flag.NOT_EVALUATED)
        if len(own) and own[0] <= before:
            usable = flags <= worst
            # A late reading is heard at the first instant not yet judged, unless one of that instant is there already.
            joins = before + 1
            free = len(own) == 1 or int(own[1]) != joins
            usable[0] &= free and running.due(int(own[0]), self.plan.stale_after) >= joins
            times = np.concatenate((np.full(1, joins), own[1:]))[usable]
            own, values, flags = own[usable], values[usable], flags[usable]
        elif len(flags) and flags.max() > worst:
            usable = flags <= worst
            times, values, flags = times[usable], values[usable], flags[usable]
            own = times
        self.before = self.last[1] if self.last else None
        self.span = self._span(times, own, values, flags, upto, running)
        self.due = self._next_stale(running)
        return self.span

    def _span(self, t: Times, own: Times, v: Counts, f: Flags, upto: int, running: Running) -> Span:
        hold = self.plan.stale_after
        stale: list[int] = []
        silent_keys: list[int] = []
        was_silent = TRUE if self.silent else FALSE
        tail_t, tail_v, run_start = self.tail_t, self.tail_v, self.run_start
        n = len(t)
        gaps: NDArray[np.intp] = _NOWHERE
        if n:
            gaps = _gaps(t, hold) if own is t and not running.spans else _gaps_of(t, running.dues(own, hold))
            stale = [2 * running.due(int(own[at - 1]), hold) + 1 for at in gaps]
            ends_last = running.due(int(own[-1]), hold)
            first = int(t[0])
            if self.known and self.last is not None:
                ends = running.due(self.last[0], hold)
                if first > ends:
                    stale.insert(0, 2 * ends + 1)
                    gaps = np.concatenate((np.zeros(1, np.intp), gaps))
            else:
                gaps = np.concatenate((np.zeros(1, np.intp), gaps))
                never = running.due(self.start, hold)
                if self.last is None and not self.silent and first > never:
                    silent_keys.append(2 * never + 1)
            if ends_last <= upto:
                stale.append(2 * ends_last + 1)
        elif self.known and self.last is not None:
            ends = running.due(self.last[0], hold)
            if ends <= upto:
                stale.append(2 * ends + 1)
        elif self.last is None and not self.silent:
            never = running.due(self.start, hold)
            if never <= upto:
                silent_keys.append(2 * never + 1)
        back = (2 * t[gaps]).tolist() if len(gaps) else []
        pairs = sorted([*((k, TRUE) for k in (*stale, *silent_keys)), *((k, FALSE) for k in back)])
        silent = normal(was_silent, [k for k, _ in pairs], [truth for _, truth in pairs])
        span = Span(self.plan.id, t, v, tail_t, tail_v, run_start, gaps, stale, silent, f, own, self.before, self.flag)
        self._settle(span, own, upto, stale)
        return span

    def _settle(self, span: Span, own: Times, upto: int, stale: list[int]) -> None:
        n = len(span.t)
        if n:
            self.last = (int(own[-1]), int(span.v[-1]))
            self.flag = int(span.f[-1])
            self.known = True
            if len(span.restarts):
                at = int(span.restarts[-1])
                self.run_start = int(own[at])
                self.tail_t, self.tail_v = own[at:], span.v[at:]
            elif self.reach:
                self.tail_t = np.concatenate((span.tail_t, own))
                self.tail_v = np.concatenate((span.tail_v, span.v))
        if stale and (not n or stale[-1] > 2 * int(span.t[-1])):
            self.known = False
            self.run_start = None
            self.tail_t, self.tail_v = _NONE, _NONE
        self.silent = span.silent.last == TRUE
        if not self.reach:
            self.tail_t, self.tail_v = _NONE, _NONE
        elif len(self.tail_t):
            keep = int(np.searchsorted(self.tail_t, self.tail_t[-1] - self.reach, side="left"))
            # A copy, so that a year-long block is not kept alive by its last hour.
            self.tail_t, self.tail_v = self.tail_t[keep:].copy(), self.tail_v[keep:].copy()

    def value_at(self, key: int) -> int | None:
        """Counts held at `key` of the present step; None where the point was never usable."""
        span = self.span
        if span is not None and len(span.t):
            index = int(np.searchsorted(span.t, key >> 1, side="right"))
            if index:
                return int(span.v[index - 1])
            return self.before
        return self.last[1] if self.last else None

    def _next_stale(self, running: Running) -> int:
        """When the point will become unknown or silent if nothing more comes; `off` spans can only put it off."""
        if self.known and self.last is not None:
            return running.due(self.last[0], self.plan.stale_after)
        if self.last is None and not self.silent:
            return running.due(self.start, self.plan.stale_after)
        return NEVER

    def state(self) -> dict[str, Any]:
        """What must survive a restart, as JSON."""
        if self._saved is None:
            self._saved = {
                "series": [self.plan.unit, str(self.plan.resolution)],
                "heard": self.heard,
                "last": self.last,
                "flag": self.flag,
                "known": self.known,
                "silent": self.silent,
                "run": self.run_start,
                "tail": pack(self.tail_t, self.tail_v),
                "waiting": pack(self.waiting.times, self.waiting.values, self.waiting.flags.astype(np.int64)),
            }
        return self._saved

    def load(self, state: dict[str, Any]) -> None:
        """Take up what `state` gave; counts of another unit or resolution convert exactly and round once."""
        unit, resolution = state["series"]
        same = unit == self.plan.unit and Fraction(resolution) == self.plan.resolution

        def counts(value: int) -> int:
            amount = convert(value * Fraction(resolution), parse_unit(unit), self.plan.units)
            return round(amount / self.plan.resolution)

        def column(values: Counts) -> Counts:
            return values if same else np.array([counts(int(v)) for v in values], np.int64)

        if state["heard"]:
            time, value, flag = state["heard"]
            self.heard = (time, value if same else counts(value), flag)
        if state["last"]:
            time, value = state["last"]
            self.last = (time, value if same else counts(value))
        self.flag = state["flag"]
        self.known, self.silent, self.run_start = state["known"], state["silent"], state["run"]
        times, values = unpack(state["tail"], 2)
        self.tail_t, self.tail_v = times, column(values)
        times, values, flags = unpack(state["waiting"], 3)
        self.waiting = Block(self.plan.id, times, column(values), flags.astype(np.uint8))
