"""What does a silent rule say?"""

from __future__ import annotations

from collections.abc import Mapping

from rules.conditions.silent import SilentSettings
from rules.plan import Plan
from tests.twin.history import History
from tests.twin.truth import Look


class Silent:
    """True while the point is unknown because its time ran out."""

    def __init__(self, rule: SilentSettings, plan: Plan, histories: Mapping[str, History]) -> None:
        self.history = histories[rule.point]
        self.sides: tuple[str, ...] = ("silent",)
        self.needs: tuple[str, ...] = ()
        self.shown_point: str | None = rule.point

    def look(self, t: int) -> dict[str, Look]:
        """The one side; never unknown."""
        return {"silent": Look(condition=self.history.silent, back=not self.history.silent)}

    def due(self) -> list[int]:
        """Its timer is the point's own."""
        return []
