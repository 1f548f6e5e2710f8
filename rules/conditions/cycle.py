"""When does a bed no longer fill and drain as it should? Its level is followed between two marks by hysteresis."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from rules.block import Times
from rules.durations import MINUTE, Duration, show_duration
from rules.edges import FALSE, TRUE, UNKNOWN, Edges, Judged, negated, normal
from rules.lasting import Lasting
from rules.predicates import at_least, at_most
from rules.running import Running
from rules.settings import Amount, RuleSettings
from rules.span import Span
from rules.units import parse_amount
from rules.view import Surroundings, View
from rules.zones import COARSE, MANY


class CycleSettings(RuleSettings):
    """A siphon bed: `low` and `high` are marks of its level that every cycle passes.

    Sides: `period`, from drain end to drain end, outside `shortest`..`longest` or overdue; `full`: at or above the
    high mark for longer than `full`; `empty`: at or below the low mark for longer than `empty`.
    """

    kind: Literal["cycle"]
    point: str
    low: Amount
    high: Amount
    shortest: Duration | None = Field(default=None, description="shortest period that is still right")
    longest: Duration | None = Field(default=None, description="longest period that is still right")
    full: Duration | None = Field(default=None, description="how long it may stay at or above the high mark")
    empty: Duration | None = Field(default=None, description="how long it may stay at or below the low mark")

    @model_validator(mode="after")
    def _some_case(self) -> CycleSettings:
        if self.shortest is None and self.longest is None and self.full is None and self.empty is None:
            raise ValueError("a cycle rule needs one of shortest, longest, full, empty")
        if self.shortest is not None and self.longest is not None and self.shortest >= self.longest:
            raise ValueError("the shortest period must be shorter than the longest; swap them, or mend one of them")
        return self

    def build(self, around: Surroundings) -> Cycle:
        """The condition; raises UnitError where a mark does not fit the point."""
        point = around.points[self.point]
        low = parse_amount(self.low, point.units) / point.resolution
        high = parse_amount(self.high, point.units) / point.resolution
        return Cycle(self, math.floor(low), math.ceil(high))


_FEW = 8
"""Drains in a step that are looked at one by one."""


class _Said:
    """The changes of one step, and the words for them; told: with the last of the step before."""

    def __init__(self, told: list[tuple[int, str]]) -> None:
        self.keys: list[int] = []
        self.truths: list[int] = []
        self.told = told

    def say(self, key: int, truth: int, words: str) -> None:
        """One change."""
        self.keys.append(key)
        self.truths.append(truth)
        self.told.append((key, words))


class Cycle:
    """The compiled condition. A drain ends at the first reading at or below `low` after one at or above `high`."""

    rests_on: tuple[str, ...] = ()

    def __init__(self, settings: CycleSettings, low: int, high: int) -> None:
        self.settings, self.low, self.high = settings, low, high
        self.point = settings.point
        self.stays: dict[str, Lasting] = {}
        if settings.full is not None:
            self.stays["full"] = Lasting(at_least(Fraction(high)), settings.full, remembers=True)
        if settings.empty is not None:
            self.stays["empty"] = Lasting(at_most(Fraction(low)), settings.empty, remembers=True)
        periodic = settings.shortest is not None or settings.longest is not None
        self.sides = (*(("period",) if periodic else ()), *self.stays)
        self.mark = 0
        """1 after the high mark, -1 after the low one, 0 while neither was reached in this run."""
        self.ended: int | None = None
        """When the last drain of this run ended, ms."""
        self.told: list[tuple[int, str]] = []
        """(key, what was seen) of this step, after the last of the step before."""
        self.carry = UNKNOWN

    def reach(self) -> Mapping[str, int]:
        """No window: marks and times are remembered."""
        return {self.point: 0}

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""
        span = view.spans[self.point]
        found: dict[str, Judged] = {}
        if "period" in self.sides:
            edges = self._periods(span, view.upto, view.running)
            found["period"] = Judged(edges, negated(edges))
        for side, stay in self.stays.items():
            edges = stay.edges(span, view)
            found[side] = Judged(edges, negated(edges))
        return found

    def _marks(self, span: Span) -> tuple[NDArray[np.intp], NDArray[np.int8]]:
        """Where in this step a mark is reached that the run had not reached last, and which: 1 high, -1 low."""
        values = span.v
        at = None
        if len(values) >= MANY:
            # A mark is reached where its side is entered; the first readings may be beyond one already.
            zones = span.zones(COARSE)
            entered = np.concatenate((zones.crossings(self.high - 1), zones.crossings(self.low), span.restarts, [0]))
            at = np.sort(entered.astype(np.intp), kind="stable")
            at = at[np.concatenate(([True], at[1:] != at[:-1]))]
            values = values[at]
        marks = (values >= self.high).astype(np.int8) - (values <= self.low).astype(np.int8)
        found = np.flatnonzero(marks)
        reached = marks[found]
        at = found if at is None else at[found]
        if not len(at):
            return at, reached
        new = np.concatenate(([True], reached[1:] != reached[:-1]))
        # The first mark of each run counts even where it repeats the last one of the run before.
        firsts = np.searchsorted(at, span.restarts)
        new[firsts[firsts < len(at)]] = True
        return at[new], reached[new]

    def _periods(self, span: Span, upto: int, running: Running) -> Edges:
        said = _Said(self.told[-1:])
        longest = self.settings.longest

        def overdue(before: int) -> None:
            # A drain that ends at the last moment is in time: its reading comes before what is due.
            if longest is not None and self.ended is not None:
                due = 2 * running.due(self.ended, longest)
                if due < before:
                    said.say(due, TRUE, f"no drain has ended for {show_duration(longest)}")

        begin = 0
        at, marks = self._marks(span)
        for silence in [*span.stale, upto + 1]:
            # One unbroken run at a time: what a bed did before a silence says nothing of it after.
            end = int(np.searchsorted(span.t, silence >> 1, side="right"))
            part = slice(*np.searchsorted(at, (begin, end)))
            self._drains(span, at[part], marks[part], running, overdue, said)
            begin = end
            overdue(silence)
            if silence <= upto:
                self.mark, self.ended = 0, None
                said.say(silence, UNKNOWN, "")
        self.told = said.told
        edges = normal(self.carry, said.keys, said.truths)
        self.carry = edges.last
        return edges

    def _drains(
        self,
        span: Span,
        at: NDArray[np.intp],
        marks: NDArray[np.int8],
        running: Running,
        overdue: Callable[[int], None],
        said: _Said,
    ) -> None:
        """Say what the drains tell that ended at the low ones of the marks; remember the last of both."""
        if not len(at):
            return
        lows = marks == -1
        lows[1:] &= marks[:-1] == 1
        lows[0] &= self.mark == 1
        self.mark = int(marks[-1])
        ends = at[lows]
        own = span.own[ends]
        for index in self._telling(own, running):
            i = int(index)
            if i:
                self.ended = int(own[i - 1])
            key, now = 2 * int(span.t[ends[i]]), int(own[i])
            overdue(key)
            if self.ended is not None:
                period = now - self.ended
                # Cycles that passed while the daemon did not run were not seen: such a period says nothing.
                unseen = running.due(self.ended, period) != now
                truth = UNKNOWN if unseen else TRUE if self._wrong(period) else FALSE
                said.say(key, truth, f"the last period was {round(period / MINUTE)} min")
        if len(own):
            self.ended = int(own[-1])

    def _telling(self, own: Times, running: Running) -> NDArray[np.intp]:
        """Which of the drains that ended at `own` say something new: not those that end in good time after another."""
        if len(own) < _FEW or running.spans:
            return np.arange(len(own))
        periods = np.diff(own)
        wrong = np.zeros(len(own), np.bool_)
        if self.settings.longest is not None:
            wrong[1:] |= periods > self.settings.longest
        if self.settings.shortest is not None:
            wrong[1:] |= periods < self.settings.shortest
        wrong[1:] |= wrong[:-1]
        wrong[:3] = True
        return np.flatnonzero(wrong)

    def _wrong(self, period: int) -> bool:
        longest, shortest = self.settings.longest, self.settings.shortest
        return (longest is not None and period > longest) or (shortest is not None and period < shortest)

    def why(self, side: str, key: int) -> str:
        """What was seen of the cycle."""
        if side == "full":
            return f"at or above {self.settings.high} for {show_duration(self.settings.full or 0)}"
        if side == "empty":
            return f"at or below {self.settings.low} for {show_duration(self.settings.empty or 0)}"
        return next((words for at, words in reversed(self.told) if at <= key), "")

    def next_due(self, running: Running) -> int | None:
        """When a stay or the period becomes too long."""
        due = [at for stay in self.stays.values() if (at := stay.next_due(running)) is not None]
        if self.settings.longest is not None and self.ended is not None and self.carry != TRUE:
            due.append(running.due(self.ended, self.settings.longest))
        return min(due) if due else None

    def state(self) -> list[Any]:
        """What must survive a restart."""
        return [self.mark, self.ended, self.told[-1:], self.carry, [stay.state() for stay in self.stays.values()]]

    def load(self, state: list[Any]) -> None:
        """Take up what `state` gave."""
        self.mark, self.ended, told, self.carry, stays = state
        self.told = [(key, words) for key, words in told]
        for stay, saved in zip(self.stays.values(), stays, strict=True):
            stay.load(saved)
