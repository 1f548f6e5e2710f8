"""When does a value change too fast? The least-squares slope over the readings in `[t - window, t]` passes a limit."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Literal

from pydantic import Field

from rules.durations import MINUTE, Duration, show_duration
from rules.edges import Judged
from rules.predicates import Steeper
from rules.running import Running
from rules.settings import RuleSettings
from rules.units import parse_rate
from rules.view import Surroundings, View


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

    def build(self, around: Surroundings) -> Rate:
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
        return Rate(self.point, self.window, parts, words)


class Rate:
    """The compiled rate: for each side the statement and its return."""

    rests_on: tuple[str, ...] = ()

    def __init__(
        self, point: str, window: int, parts: dict[str, tuple[Steeper, Steeper]], words: dict[str, str]
    ) -> None:
        self.words = words
        self.point, self.window, self.parts = point, window, parts
        self.sides = tuple(parts)

    def reach(self) -> Mapping[str, int]:
        """The window."""
        return {self.point: self.window}

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""
        span = view.spans[self.point]
        return {side: Judged(onset.edges(span), clear.later(span)) for side, (onset, clear) in self.parts.items()}

    def why(self, side: str, key: int) -> str:
        """The rate that was passed."""
        return self.words[side]

    def next_due(self, running: Running) -> int | None:
        """Nothing waits."""
        return None

    def state(self) -> list[int]:
        """The last truths."""
        return [part.carry for pair in self.parts.values() for part in pair]

    def load(self, state: list[int]) -> None:
        """Take up what `state` gave."""
        for part, carry in zip((part for pair in self.parts.values() for part in pair), state, strict=True):
            part.carry = carry
