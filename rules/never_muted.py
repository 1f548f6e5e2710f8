"""Which rules does no mute silence? Those that are never suppressed, and those about the oxygen of the fish."""

from __future__ import annotations

from collections.abc import Iterable

from rules.derived_points import DerivedPlan
from rules.judging import RuleJudge
from rules.plan import PointPlan

OXYGEN = "dissolved_oxygen"


def never_muted(judges: Iterable[RuleJudge], points: Iterable[PointPlan], derived: Iterable[DerivedPlan]) -> set[str]:
    """The rules by name. About oxygen is a rule that looks at nothing but oxygen, measured or worked out from it.

    So work on the water may mute a stopped-water rule for which oxygen is one piece of evidence among others.
    judges: each after those on whose conditions it rests; derived: each after those that it rests on.
    """
    oxygen = {point.id for point in points if point.quantity == OXYGEN}
    for made in derived:
        if oxygen.intersection(made.reach):
            oxygen.add(made.point.id)
    looks: dict[str, set[str]] = {}
    found = set()
    for judge in judges:
        own = set(judge.condition.reach()).union(*(looks[other] for other in judge.condition.rests_on))
        looks[judge.rule.id] = own
        if judge.rule.never_suppressed or (own and own <= oxygen):
            found.add(judge.rule.id)
    return found
