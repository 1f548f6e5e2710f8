"""What does a rate rule say at its point's last reading?"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from rules.conditions.rate import RateSettings
from rules.plan import Plan
from rules.units import parse_rate
from tests.twin.history import History
from tests.twin.truth import UNKNOWN, Look
from tests.twin.windows import slope


class Rate:
    """Rise: `slope > rise`, back at `<= rise - deadband`. Fall: `slope < -fall`, back at `>= -(fall - deadband)`."""

    def __init__(self, rule: RateSettings, plan: Plan, histories: Mapping[str, History]) -> None:
        self.rule = rule
        self.history = histories[rule.point]
        self.sides: tuple[str, ...] = tuple(
            side for side, limit in (("rise", rule.rise), ("fall", rule.fall)) if limit is not None
        )
        self.needs: tuple[str, ...] = ()
        self.shown_point: str | None = rule.point

    def look(self, t: int) -> dict[str, Look]:
        """Each side at instant t; what was said at the last reading holds until the point is unknown."""
        return {side: self._rise() if side == "rise" else self._fall() for side in self.sides}

    def due(self) -> list[int]:
        """It has no timers."""
        return []

    def _rise(self) -> Look:
        now = self._slope()
        if now is None:
            return UNKNOWN
        rise = self._rate(self.rule.rise)
        return Look(condition=now > rise, back=now <= rise - self._rate(self.rule.deadband))

    def _fall(self) -> Look:
        now = self._slope()
        if now is None:
            return UNKNOWN
        fall = self._rate(self.rule.fall)
        return Look(condition=now < -fall, back=now >= -(fall - self._rate(self.rule.deadband)))

    def _slope(self) -> Fraction | None:
        if not self.history.known:
            return None
        min_span = self.rule.window // 2 if self.rule.min_span is None else self.rule.min_span
        return slope(self.history, self.rule.window, self.rule.min_readings, min_span)

    def _rate(self, written: str | None) -> Fraction:
        """A written rate in units of the point per ms; none is none."""
        return Fraction(0) if written is None else parse_rate(written, self.history.plan.units)
