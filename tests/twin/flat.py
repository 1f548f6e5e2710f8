"""What does a flat rule say at its point's last reading?"""

from __future__ import annotations

from collections.abc import Mapping

from rules.conditions.flat import FlatSettings
from rules.units import parse_amount
from tests.twin.history import History
from tests.twin.truth import UNKNOWN, Look
from tests.twin.windows import spread


class Flat:
    """True where max - min <= tolerance over a window that is covered (QARTOD's flat line test)."""

    def __init__(self, rule: FlatSettings, histories: Mapping[str, History]) -> None:
        self.rule = rule
        self.history = histories[rule.point]
        self.sides: tuple[str, ...] = ("flat",)
        self.needs: tuple[str, ...] = ()
        self.shown_point: str | None = rule.point

    def look(self, t: int) -> dict[str, Look]:
        """The one side at instant t; what was said at the last reading holds until the point is unknown."""
        if not self.history.known or not self.history.covered(self.rule.window):
            return {"flat": UNKNOWN}
        tolerance = parse_amount(self.rule.tolerance, self.history.plan.units, difference=True)
        flat = spread(self.history, self.rule.window) <= tolerance
        return {"flat": Look(condition=flat, back=not flat)}

    def due(self) -> list[int]:
        """It has no timers."""
        return []
