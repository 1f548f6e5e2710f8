"""When is a limit coming near? When `v + slope x horizon` is beyond it, or the value already is."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Literal

from pydantic import Field

from rules.durations import MINUTE, Duration, show_duration
from rules.edges import Judged
from rules.predicates import Ahead
from rules.running import Running
from rules.settings import Amount, RuleSettings
from rules.units import parse_amount
from rules.view import Surroundings, View


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

    def build(self, around: Surroundings) -> AheadCondition:
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
            side: f"would pass its {side} limit {getattr(self, side)} {point.unit} within {show_duration(self.horizon)}"
            for side in parts
        }
        return AheadCondition(self.point, self.window, parts, words)


class AheadCondition:
    """The compiled condition: for each side the statement and its return."""

    rests_on: tuple[str, ...] = ()

    def __init__(self, point: str, window: int, parts: dict[str, tuple[Ahead, Ahead]], words: dict[str, str]) -> None:
        self.point, self.window, self.parts, self.words = point, window, parts, words
        self.sides = tuple(parts)

    def reach(self) -> Mapping[str, int]:
        """The window."""
        return {self.point: self.window}

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""
        span = view.spans[self.point]
        return {side: Judged(onset.edges(span), clear.later(span)) for side, (onset, clear) in self.parts.items()}

    def why(self, side: str, key: int) -> str:
        """Which limit is coming near."""
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
