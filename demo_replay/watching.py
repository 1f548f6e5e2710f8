"""Which points does a rule look at, by itself or through the rules that it joins?"""

from __future__ import annotations

from collections.abc import Iterable

from rules.conditions.composite import Composite
from rules.conditions.stopped import StoppedSettings
from rules.derived_points import DerivedPlan
from rules.judging import RuleJudge, ordered
from rules.local_time import Zone
from rules.plan import Plan, PointPlan
from rules.view import Surroundings


class Watching:
    """The rules of a plan, for questions about points. Raises what building a rule raises."""

    def __init__(self, plan: Plan) -> None:
        self.points: dict[str, PointPlan] = {point.id: point for point in plan.points}
        """Every point, derived ones included, in the order of the plan."""
        self.inputs: dict[str, tuple[str, ...]] = {}
        """Derived point -> the points that it is worked out from."""
        for settings in plan.derived:
            derived = DerivedPlan(settings, self.points)
            self.points[settings.id] = derived.point
            self.inputs[settings.id] = derived.inputs
        around = Surroundings(self.points, Zone(plan.timezone))
        judges = ordered([RuleJudge(rule, around) for rule in plan.rules])
        self._judges = {judge.rule.id: judge for judge in judges}

    def shown(self, rule: str) -> PointPlan:
        """The point whose value the events of a rule show."""
        return self.points[self._judges[rule].point]

    def own(self, rule: str) -> tuple[str, ...]:
        """The points that a rule looks at by itself."""
        return tuple(self._judges[rule].condition.reach())

    def decisive(self, rule: str) -> tuple[str, ...]:
        """Those of `own` that can make it true: all, but for `stopped` only those with positive weight."""
        settings = self._judges[rule].rule
        if isinstance(settings, StoppedSettings):
            return tuple(dict.fromkeys(item.point for item in settings.evidence if item.weight > 0))
        return self.own(rule)

    def joined(self, rule: str) -> tuple[str, ...]:
        """The rules whose conditions it joins."""
        condition = self._judges[rule].condition
        return condition.rests_on if isinstance(condition, Composite) else ()

    def all_points(self, rule: str) -> set[str]:
        """The points that a rule looks at, by itself, through the rules that it joins, and what they are made of."""
        found = set(self.own(rule)).union(*(self.all_points(other) for other in self.joined(rule)))
        return found | self.made_of(found)

    def made_of(self, points: Iterable[str]) -> set[str]:
        """The points that derived ones among `points` are worked out from, however far down."""
        inputs = {name for point in points for name in self.inputs.get(point, ())}
        return inputs | self.made_of(inputs) if inputs else inputs
