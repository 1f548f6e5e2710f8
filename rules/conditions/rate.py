"""When does a value change too fast? The least-squares slope over the readings in `[t - window, t]` passes a limit."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from pydantic import Field

from rules.conditions.sided import Sided
from rules.durations import MINUTE, Duration, show_duration
from rules.settings import RuleSettings
from rules.units import parse_rate
from rules.view import Surroundings
from rules.windowed import Steeper


class RateSettings(RuleSettings):
    """A slope above `rise` or below `-fall`; judged at readings only, unknown until enough of them."""

    kind: Literal["rate"]
    point: str
    rise: str | None = Field(default=None, description='as in "2 degC/h"')
    fall: str | None = Field(default=None, description='a positive rate of falling, as in "0.5 mg/L/h"')
    deadband: str | None = Field(default=None, description="a rate: how far back before it counts as returned")
    window: Duration = 30 * MINUTE
    min_readings: int = Field(default=5, ge=2)
    min_span: Duration | None = Field(default=None, description="left out: half the window")

    def build(self, around: Surroundings) -> Sided:
        """The condition; raises UnitError where a rate does not fit the point."""
        point = around.points[self.point]
        least = self.window // 2 if self.min_span is None else self.min_span
        back = Fraction(0) if self.deadband is None else parse_rate(self.deadband, point.units) / point.resolution
        parts: dict[str, tuple[Steeper, Steeper]] = {}
        for side, text, sign in (("rise", self.rise, 1), ("fall", self.fall, -1)):
            if text is not None:
                rate = parse_rate(text, point.units) / point.resolution
                parts[side] = (
                    Steeper(rate, sign, self.window, self.min_readings, least),
                    Steeper(rate - back, sign, self.window, self.min_readings, least, opposite=True),
                )
        words = {side: f"{side} of more than {getattr(self, side)} over {show_duration(self.window)}" for side in parts}
        return Sided(self.point, parts, words)
