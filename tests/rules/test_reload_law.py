"""Does a reload leave alone what it does not change, wherever it comes?"""

from __future__ import annotations

import dataclasses
import json
import random
from collections.abc import Iterable

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.engine import Engine
from rules.events import Event
from rules.plan import Plan
from rules.settings import RuleSettings
from tests.twin.case import Case
from tests.twin.judge import Said, said
from tests.twin.random_cases import random_case


def _looks_at(rule: RuleSettings) -> set[str]:
    """The rules that a rule names, in whatever key."""
    single = (rule.while_, rule.suppressed_while, getattr(rule, "rule", None))
    return {*rule.explains, *getattr(rule, "rules", ()), *(name for name in single if name is not None)}


def _closed(plan: Plan, names: Iterable[str]) -> set[str]:
    """These rules and those that they name, and so on."""
    by_id = {rule.id: rule for rule in plan.rules}
    found: set[str] = set()
    todo = list(names)
    while todo:
        name = todo.pop()
        if name not in found:
            found.add(name)
            todo += _looks_at(by_id[name])
    return found


def _two_plans(case: Case, rng: random.Random) -> tuple[Plan, Plan, set[str]]:
    """(a plan, the same with more rules, the rules of the first); none of the added rules explains one of the first."""
    whole = case.plan
    first = [rng.choice(whole.rules).id, *(name for stage in whole.stages for name in stage.only_if)]
    kept = _closed(whole, first)
    added = {rule.id for rule in whole.rules} - kept
    mended = tuple(
        rule
        if rule.id in kept
        else rule.model_copy(update={"explains": tuple(name for name in rule.explains if name in added)})
        for rule in whole.rules
    )
    small = dataclasses.replace(whole, rules=tuple(rule for rule in mended if rule.id in kept))
    return small, dataclasses.replace(whole, rules=mended), kept


def _of(events: Iterable[Event], kept: set[str]) -> Said:
    return said(event for event in events if event.type != "alarm" or event.body["rule"] in kept)


@settings(deadline=None, max_examples=100, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32))
def test_rules_that_a_reload_does_not_change_say_what_they_would_have_said(seed: int) -> None:
    """Other rules come and go between any two steps; what stays keeps its waiting, its windows and its alarms."""
    rng = random.Random(seed)
    case = random_case(rng)
    small, large, kept = _two_plans(case, rng)
    undisturbed, reloaded = Engine(small, case.start), Engine(rng.choice((small, large)), case.start)
    expected: list[Event] = []
    found: list[Event] = []
    for step in case.steps:
        expected += undisturbed.step(step.blocks(), step.acts, step.now)
        if rng.random() < 0.3:
            reloaded = Engine.restore(rng.choice((small, large)), json.loads(json.dumps(reloaded.state())))
        found += reloaded.step(step.blocks(), step.acts, step.now)
    assert _of(found, kept) == _of(expected, kept), case.show()
