"""What does a cycle rule say of the filling and draining of a bed?"""

from __future__ import annotations

from collections.abc import Mapping

from rules.conditions.cycle import CycleSettings
from rules.units import parse_amount
from tests.twin.history import Heard, History
from tests.twin.running_time import RunningTime
from tests.twin.truth import UNKNOWN, Look


class Cycle:
    """The unbroken run of readings, followed between two marks.

    Full: at or above the high one; empty: at or below the low one. A drain ends at the reading that reaches the low
    mark after the high mark had been reached. Nothing is remembered across a time in which the point was unknown.
    """

    def __init__(self, rule: CycleSettings, histories: Mapping[str, History], running: RunningTime) -> None:
        self.rule = rule
        self.history = histories[rule.point]
        self.sides: tuple[str, ...] = tuple(
            side
            for side, given in (
                ("period", rule.shortest is not None or rule.longest is not None),
                ("full", rule.full is not None),
                ("empty", rule.empty is not None),
            )
            if given
        )
        self.needs: tuple[str, ...] = ()
        self.shown_point: str | None = rule.point
        self._running = running
        unit = self.history.plan.units
        self._low, self._high = parse_amount(rule.low, unit), parse_amount(rule.high, unit)
        self._too_long = {"full": False, "empty": False}
        self._ends: tuple[tuple[int, int, int], list[int]] | None = None

    def look(self, t: int) -> dict[str, Look]:
        """Each side at instant t."""
        if not self.history.known:
            return dict.fromkeys(self.sides, UNKNOWN)
        looks = {"period": self._period(t), "full": self._full(t), "empty": self._empty(t)}
        return {side: looks[side] for side in self.sides}

    def due(self) -> list[int]:
        """When it will have been full or empty too long, or a drain is overdue."""
        out = []
        drains = self._drain_ends()
        if drains and self.rule.longest is not None:
            out.append(self._running.due(drains[-1], self.rule.longest))
        for since, length in ((self._full_since(), self.rule.full), (self._empty_since(), self.rule.empty)):
            if since is not None and length is not None:
                out.append(self._running.due(since, length))
        return out

    def _period(self, t: int) -> Look:
        drains = self._drain_ends()
        if not drains:
            return UNKNOWN
        shortest, longest = self.rule.shortest, self.rule.longest
        if longest is not None and self._running.due(drains[-1], longest) <= t:
            return Look(condition=True, back=False)
        if len(drains) < 2:
            return UNKNOWN
        period = drains[-1] - drains[-2]
        if self._running.due(drains[-2], period) != drains[-1]:
            # Cycles that passed while the daemon did not run were not seen.
            return UNKNOWN
        outside = (shortest is not None and period < shortest) or (longest is not None and period > longest)
        return Look(condition=outside, back=not outside)

    def _full(self, t: int) -> Look:
        since = self._full_since()
        long = since is not None and self.rule.full is not None and self._running.due(since, self.rule.full) <= t
        return self._stay("full", long, stays=since is not None)

    def _stay(self, side: str, long: bool, *, stays: bool) -> Look:
        """A silence does not begin the count anew: too long before it and at the mark after it, it is too long."""
        self._too_long[side] = long or (stays and self._too_long[side])
        return Look(condition=self._too_long[side], back=not self._too_long[side])

    def _empty(self, t: int) -> Look:
        since = self._empty_since()
        long = since is not None and self.rule.empty is not None and self._running.due(since, self.rule.empty) <= t
        return self._stay("empty", long, stays=since is not None)

    def _is_full(self, reading: Heard) -> bool:
        return self.history.value(reading) >= self._high

    def _is_empty(self, reading: Heard) -> bool:
        return self.history.value(reading) <= self._low

    def _full_since(self) -> int | None:
        """The instant from which the last readings, all at or above the high mark, are held."""
        since = None
        for reading in reversed(self.history.run):
            if not self._is_full(reading):
                break
            since = reading.judged
        return since

    def _empty_since(self) -> int | None:
        """The instant from which the last readings, all at or below the low mark, are held."""
        since = None
        for reading in reversed(self.history.run):
            if not self._is_empty(reading):
                break
            since = reading.judged
        return since

    def _drain_ends(self) -> list[int]:
        """Times of the readings that reached the low mark after the high mark had been reached.

        The answer is kept until another reading comes: the same is asked several times at an instant.
        """
        run = self.history.run
        asked = (len(run), run[0].time, run[-1].time) if run else (0, 0, 0)
        if self._ends is None or self._ends[0] != asked:
            self._ends = (asked, self._find_drain_ends())
        return self._ends[1]

    def _find_drain_ends(self) -> list[int]:
        ends = []
        was_full = False
        for reading in self.history.run:
            if self._is_full(reading):
                was_full = True
            elif self._is_empty(reading) and was_full:
                ends.append(reading.time)
                was_full = False
        return ends
