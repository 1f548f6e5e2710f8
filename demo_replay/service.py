"""Which points of a plan does a recording lack, and which rules and stages are out of service for it?"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal

from demo_replay.watching import Watching
from rules.conditions.band import BandSettings
from rules.plan import Plan
from rules.settings import Priority, RuleSettings


@dataclass(frozen=True, slots=True)
class InService:
    """What can be judged of a plan.

    plan: in which nothing that is out of service speaks; missing: points without a reading, and derived ones that would
    need them; rules, stages: ids of what
    is out of service for it, in the order of the plan; thinned: rule -> the points, and the rules out of service, that
    it has to do without.
    """

    plan: Plan
    missing: tuple[str, ...]
    rules: tuple[str, ...]
    stages: tuple[str, ...]
    thinned: dict[str, tuple[str, ...]]


def in_service(plan: Plan, present: Collection[str]) -> InService:
    """What of `plan` can be judged with readings of the points in `present` alone.

    A rule is out of service when none of the points that could make it true is present (for `stopped`: the evidence
    with positive weight), or all the rules that it joins are out. Such a rule stays in the plan as one that is never
    known and tells nobody, since others may rest on its condition. A stage is out of service when its own point is
    missing.
    """
    watching = Watching(plan)
    absent = {point.id for point in plan.points if point.id not in present}
    for name, inputs in watching.inputs.items():
        if any(point in absent for point in inputs):
            absent.add(name)
    missing = tuple(name for name in watching.points if name in absent)
    if not missing:
        return InService(plan, (), (), (), {})
    known: dict[str, bool] = {}

    def is_out(rule: str) -> bool:
        if rule not in known:
            decisive, joined = watching.decisive(rule), watching.joined(rule)
            known[rule] = (bool(decisive) and all(point in missing for point in decisive)) or (
                bool(joined) and all(is_out(other) for other in joined)
            )
        return known[rule]

    out = tuple(rule.id for rule in plan.rules if is_out(rule.id))
    thinned: dict[str, tuple[str, ...]] = {}
    for rule in plan.rules:
        needs = (*watching.own(rule.id), *watching.joined(rule.id), *((rule.while_,) if rule.while_ else ()))
        lacking = tuple(name for name in needs if name in missing or name in out)
        if lacking and rule.id not in out:
            thinned[rule.id] = lacking
    stages = tuple(stage.id for stage in plan.stages if stage.point in missing)
    left = dataclasses.replace(
        plan,
        rules=tuple(_never_known(rule, missing[0]) if rule.id in out else rule for rule in plan.rules),
        stages=tuple(stage for stage in plan.stages if stage.id not in stages),
    )
    return InService(left, missing, out, stages, thinned)


def _never_known(rule: RuleSettings, point: str) -> RuleSettings:
    """A rule of the same name on a point that is never heard: its condition stays unknown, even for `silent`."""
    return BandSettings.model_validate(
        {"id": rule.id, "kind": "band", "point": point, "high": Decimal(0), "priority": Priority.LOG}
    )
