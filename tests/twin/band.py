"""What does a band rule say at its point's last reading?"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Literal

from rules.conditions.band import BandSettings
from rules.plan import Plan
from rules.units import parse_amount
from tests.twin.history import History
from tests.twin.local_time import in_hours, in_season
from tests.twin.truth import UNKNOWN, Look


class Band:
    """High: `v > high`, back at `v <= high - deadband`. Low: `v < low`, back at `v >= low + deadband`."""

    def __init__(self, rule: BandSettings, plan: Plan, histories: Mapping[str, History]) -> None:
        self.rule = rule
        self.timezone = plan.timezone
        self.history = histories[rule.point]
        self.sides: tuple[str, ...] = tuple(
            side
            for side, limits in (
                ("high", [rule.high, *(entry.high for entry in rule.limits)]),
                ("low", [rule.low, *(entry.low for entry in rule.limits)]),
            )
            if any(limit is not None for limit in limits)
        )
        self.needs: tuple[str, ...] = ()
        self.shown_point: str | None = rule.point

    def look(self, t: int) -> dict[str, Look]:
        """Each side at instant t."""
        return {side: self._high() if side == "high" else self._low() for side in self.sides}

    def due(self) -> list[int]:
        """It has no timers."""
        return []

    def _high(self) -> Look:
        if not self.history.known:
            return UNKNOWN
        limit = self._limit("high")
        if limit is None:
            return Look(condition=False, back=True)
        value = self.history.now()
        return Look(condition=value > limit, back=value <= limit - self._deadband())

    def _low(self) -> Look:
        if not self.history.known:
            return UNKNOWN
        limit = self._limit("low")
        if limit is None:
            return Look(condition=False, back=True)
        value = self.history.now()
        return Look(condition=value < limit, back=value >= limit + self._deadband())

    def _deadband(self) -> Fraction:
        return parse_amount(self.rule.deadband, self.history.plan.units, difference=True)

    def _limit(self, side: Literal["high", "low"]) -> Fraction | None:
        """The limit in force at the time of the last reading, in the point's unit."""
        time = self.history.run[-1].time
        written = self.rule.high if side == "high" else self.rule.low
        for entry in self.rule.limits:
            own = entry.high if side == "high" else entry.low
            fits = in_hours(entry.hours, time, self.timezone) and in_season(entry.season, time, self.timezone)
            if own is not None and fits:
                written = own
                break
        return None if written is None else parse_amount(written, self.history.plan.units)
