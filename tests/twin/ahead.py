"""What does an ahead rule say at its point's last reading?"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from rules.conditions.ahead import AheadSettings
from rules.units import parse_amount
from tests.twin.history import History
from tests.twin.truth import UNKNOWN, Look, all_true, any_true
from tests.twin.windows import slope


class Ahead:
    """True where the value is beyond its limit, or will be after `horizon` at its present slope."""

    def __init__(self, rule: AheadSettings, histories: Mapping[str, History]) -> None:
        self.rule = rule
        self.history = histories[rule.point]
        self.sides: tuple[str, ...] = tuple(
            side for side, limit in (("high", rule.high), ("low", rule.low)) if limit is not None
        )
        self.needs: tuple[str, ...] = ()
        self.shown_point: str | None = rule.point

    def look(self, t: int) -> dict[str, Look]:
        """Each side at instant t; what was said at the last reading holds until the point is unknown."""
        if not self.history.known:
            return dict.fromkeys(self.sides, UNKNOWN)
        value, then = self.history.now(), self._then()
        deadband = parse_amount(self.rule.deadband, self.history.plan.units, difference=True)
        looks = {}
        if self.rule.high is not None:
            high = parse_amount(self.rule.high, self.history.plan.units)
            looks["high"] = Look(
                condition=any_true([value > high, None if then is None else then > high]),
                back=all_true([value <= high - deadband, None if then is None else then <= high - deadband]),
            )
        if self.rule.low is not None:
            low = parse_amount(self.rule.low, self.history.plan.units)
            looks["low"] = Look(
                condition=any_true([value < low, None if then is None else then < low]),
                back=all_true([value >= low + deadband, None if then is None else then >= low + deadband]),
            )
        return looks

    def due(self) -> list[int]:
        """It has no timers."""
        return []

    def _then(self) -> Fraction | None:
        """value + slope x horizon; None while the slope is not known."""
        min_span = self.rule.window // 2 if self.rule.min_span is None else self.rule.min_span
        now = slope(self.history, self.rule.window, self.rule.min_readings, min_span)
        return None if now is None else self.history.now() + now * self.rule.horizon
