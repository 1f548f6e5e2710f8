"""When does a bed no longer fill and drain as it should? Its level is followed between two marks by hysteresis."""

from __future__ import annotations

import math
from collections.abc import Mapping
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
            raise ValueError("the shortest period must be shorter than the longest")
        return self

    def build(self, around: Surroundings) -> Cycle:
        """The condition; raises UnitError where a mark does not fit the point."""
        point = around.points[self.point]
        low = parse_amount(self.low, point.units) / point.resolution
        high = parse_amount(self.high, point.units) / point.resolution
        return Cycle(self, math.floor(low), math.ceil(high))


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

    def _marks(self, span: Span, running: Running) -> list[tuple[int, int, int]]:
        """(key, mark, own time) of the changes of mark in this step, in order; mark 0: the point became unknown.

        Drains that end in good time one after the other change nothing and are left out, but for the last before
        something does.
        """
        events: list[tuple[int, int, int]] = [(key, 0, 0) for key in span.stale]
        if len(span.t):
            marks = (span.v >= self.high).astype(np.int8) - (span.v <= self.low).astype(np.int8)
            at = np.flatnonzero(marks)
            if len(at):
                kept = at[np.concatenate(([True], marks[at][1:] != marks[at][:-1]))]
                if len(span.restarts):
                    # The first mark of each run counts even where it repeats the last one of the run before.
                    firsts = at[np.minimum(np.searchsorted(at, span.restarts), len(at) - 1)]
                    kept = np.sort(np.concatenate((kept, firsts)), kind="stable")
                    kept = kept[np.concatenate(([True], kept[1:] != kept[:-1]))]
                if len(kept) > 64 and not span.stale and not running.spans:
                    kept = kept[self._matter(span.own[kept], marks[kept])]
                events += [(2 * int(span.t[i]), int(marks[i]), int(span.own[i])) for i in kept]
        return sorted(events)

    def _matter(self, own: Times, marks: NDArray[np.int8]) -> NDArray[np.bool_]:
        """Which of the changes of mark may make an edge, or come right before one that may."""
        low = np.flatnonzero(marks == -1)
        periods = np.diff(own[low])
        wrong = np.zeros(len(low), np.bool_)
        if self.settings.longest is not None:
            wrong[1:] |= periods > self.settings.longest
        if self.settings.shortest is not None:
            wrong[1:] |= periods < self.settings.shortest
        matter = wrong.copy()
        matter[:3] = True
        matter[-1] = True
        # With a drain that matters: the one before, from which its period counts, and the one after, which may end it.
        matter[:-1] |= wrong[1:]
        matter[1:] |= wrong[:-1]
        keep = np.zeros(len(marks), np.bool_)
        chosen = low[matter]
        keep[chosen] = True
        # The high mark before each, without which it is no drain's end; and whatever comes last.
        keep[np.maximum(chosen - 1, 0)] = True
        keep[-1] = True
        return keep

    def _periods(self, span: Span, upto: int, running: Running) -> Edges:
        longest, shortest = self.settings.longest, self.settings.shortest
        keys: list[int] = []
        truths: list[int] = []
        self.told = self.told[-1:]

        def found(key: int, truth: int, words: str) -> None:
            keys.append(key)
            truths.append(truth)
            self.told.append((key, words))

        def overdue(before: int) -> None:
            # A drain that ends at the last moment is in time: its reading comes before what is due.
            if longest is not None and self.ended is not None:
                due = 2 * running.due(self.ended, longest)
                if due < before:
                    found(due, TRUE, f"no drain has ended for {show_duration(longest)}")

        for key, mark, own in self._marks(span, running):
            if mark == 0:
                overdue(key)
                self.mark, self.ended = 0, None
                found(key, UNKNOWN, "")
                continue
            if mark == -1 and self.mark == 1:
                overdue(key)
                if self.ended is not None:
                    period = own - self.ended
                    wrong = (longest is not None and period > longest) or (shortest is not None and period < shortest)
                    # Cycles that passed while the daemon did not run were not seen: such a period says nothing.
                    unseen = running.due(self.ended, period) != own
                    truth = UNKNOWN if unseen else TRUE if wrong else FALSE
                    found(key, truth, f"the last period was {round(period / MINUTE)} min")
                self.ended = own
            self.mark = mark
        overdue(upto + 1)
        edges = normal(self.carry, keys, truths)
        self.carry = edges.last
        return edges

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
