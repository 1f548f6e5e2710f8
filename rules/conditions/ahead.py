"""When is a limit coming near? When `v + slope x horizon` is beyond it, or the value already is."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from pydantic import Field

from rules.conditions.sided import Sided
from rules.durations import MINUTE, Duration, show_duration
from rules.settings import Amount, RuleSettings
from rules.units import parse_amount, with_unit
from rules.view import Surroundings
from rules.windowed import Ahead


class AheadSettings(RuleSettings):
    """The value, carried on at its least-squares slope, passes `high` or `low` within `horizon`."""

    kind: Literal["ahead"]
    point: str
    high: Amount | None = None
    low: Amount | None = None
    horizon: Duration
    deadband: Amount = Field(
        default="0", validate_default=True, description="how far back before it counts as returned"
    )
    window: Duration = 30 * MINUTE
    min_readings: int = Field(default=5, ge=2)
    min_span: Duration | None = Field(default=None, description="left out: half the window")

    def build(self, around: Surroundings) -> Sided:
        """The condition; raises UnitError where a limit does not fit the point."""
        point = around.points[self.point]
        least = self.window // 2 if self.min_span is None else self.min_span
        back = parse_amount(self.deadband, point.units, difference=True) / point.resolution
        parts: dict[str, tuple[Ahead, Ahead]] = {}
        for side, amount, sign in (("high", self.high, 1), ("low", self.low, -1)):
            if amount is not None:
                limit = parse_amount(amount, point.units) / point.resolution

                def ahead(limit: Fraction, sign: int, clear: bool) -> Ahead:
                    return Ahead(limit, sign, self.horizon, self.window, self.min_readings, least, clear)

                parts[side] = (ahead(limit, sign, False), ahead(limit - sign * back, sign, True))
        words = {
            side: f"would pass its {side} limit {with_unit(getattr(self, side), point.unit)}"
            f" within {show_duration(self.horizon)}"
            for side in parts
        }
        return Sided(self.point, parts, words)
