"""What does a spread rule say of its points as they are now?"""

from __future__ import annotations

from collections.abc import Mapping

from rules.conditions.spread import SpreadSettings
from rules.units import convert, parse_amount
from tests.twin.history import History
from tests.twin.truth import UNKNOWN, Look


class Apart:
    """Among the known points, of which there must be two: max - min > span, or < span where too close."""

    def __init__(self, rule: SpreadSettings, histories: Mapping[str, History]) -> None:
        self.rule = rule
        self.histories = [histories[point] for point in rule.points]
        self.sides: tuple[str, ...] = ("spread",)
        self.needs: tuple[str, ...] = ()
        self.shown_point: str | None = rule.points[0]

    def look(self, t: int) -> dict[str, Look]:
        """The one side at instant t."""
        unit = self.histories[0].plan.units
        values = [convert(history.now(), history.plan.units, unit) for history in self.histories if history.known]
        if len(values) < 2:
            return {"spread": UNKNOWN}
        apart = max(values) - min(values)
        span = parse_amount(self.rule.span, unit, difference=True)
        deadband = parse_amount(self.rule.deadband, unit, difference=True)
        if self.rule.too_close:
            return {"spread": Look(condition=apart < span, back=apart >= span + deadband)}
        return {"spread": Look(condition=apart > span, back=apart <= span - deadband)}

    def due(self) -> list[int]:
        """It has no timers."""
        return []
