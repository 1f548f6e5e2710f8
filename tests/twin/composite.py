"""What follows from other rules' conditions by Kleene's logic?"""

from __future__ import annotations

from collections.abc import Callable

from rules.conditions.composite import AllOfSettings, AnyOfSettings, AtLeastSettings, NotSettings
from tests.twin.truth import Look, Truth, all_true, any_true, opposite

CompositeSettings = AllOfSettings | AnyOfSettings | AtLeastSettings | NotSettings


class Composite:
    """One side, named for the kind; its return condition is the opposite of its condition."""

    shown_point: str | None = None

    def __init__(self, rule: CompositeSettings, condition_of: Callable[[str], Truth]) -> None:
        self.rule = rule
        self.sides: tuple[str, ...] = (rule.kind,)
        self.needs: tuple[str, ...] = (rule.rule,) if isinstance(rule, NotSettings) else rule.rules
        self._condition_of = condition_of

    def look(self, t: int) -> dict[str, Look]:
        """The one side as of now."""
        condition = self._condition([self._condition_of(name) for name in self.needs])
        return {self.rule.kind: Look(condition, opposite(condition))}

    def due(self) -> list[int]:
        """It has no timers."""
        return []

    def _condition(self, truths: list[Truth]) -> Truth:
        if isinstance(self.rule, AllOfSettings):
            return all_true(truths)
        if isinstance(self.rule, AnyOfSettings):
            return any_true(truths)
        if isinstance(self.rule, NotSettings):
            return opposite(truths[0])
        if truths.count(True) >= self.rule.n:
            return True
        return None if truths.count(True) + truths.count(None) >= self.rule.n else False
