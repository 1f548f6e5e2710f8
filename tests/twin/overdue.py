"""What does an overdue rule say?"""

from __future__ import annotations

from rules.conditions.overdue import OverdueSettings
from rules.plan import Plan
from tests.twin.truth import Look


class Overdue:
    """True from `every` after its task was noted last, or after the start; the calendar counts, off spans too."""

    def __init__(self, rule: OverdueSettings, plan: Plan, start: int) -> None:
        self.rule = rule
        self.done = start
        self.sides: tuple[str, ...] = ("overdue",)
        self.needs: tuple[str, ...] = ()
        self.shown_point: str | None = rule.point or plan.points[0].id

    def note(self, kind: str | None, t: int) -> None:
        """A log entry of a kind was made at instant t."""
        if kind == self.rule.note:
            self.done = t

    def look(self, t: int) -> dict[str, Look]:
        """The one side; never unknown."""
        late = t >= self.done + self.rule.every
        return {"overdue": Look(condition=late, back=not late)}

    def due(self) -> list[int]:
        """When the task falls due."""
        return [self.done + self.rule.every]
