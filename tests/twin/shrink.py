"""Which smallest part of a case still shows the same disagreement?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TypeVar

from pydantic import BaseModel

from rules.conditions.rate import RateSettings
from rules.conditions.stopped import StoppedSettings
from tests.twin.case import Case, Step

Settings_ = TypeVar("Settings_", bound=BaseModel)

SIMPLER: dict[str, object] = {
    "on_delay": 0,
    "off_delay": 0,
    "limits": (),
    "low": None,
    "rise": None,
    "fall": None,
    "deadband": "0",
    "min_on": 0,
    "min_off": 0,
    "step_delay": 0,
    "only_if": (),
    "follows": None,
    "explains": (),
    "after": 0,
    "latch": False,
    "while_": None,
    "during": None,
    "since_note": None,
}
"""Settings and what they become when they are left out of a smaller case."""


def smallest(case: Case, fails: Callable[[Case], bool]) -> Case:
    """Leave out whatever can be left out, one thing after the other, until nothing can."""
    shrunk = True
    while shrunk:
        shrunk = False
        for smaller in _smaller(case):
            if fails(smaller):
                case, shrunk = smaller, True
                break
    return case


def _smaller(case: Case) -> Iterator[Case]:
    yield from _fewer_inputs(case)
    yield from _less_plan(case)


def _fewer_inputs(case: Case) -> Iterator[Case]:
    steps = case.steps
    for size in (8, 4, 2, 1):
        for index in range(0, len(steps) - size, size):
            yield replace(
                case, steps=(*steps[:index], _joined(steps[index : index + size + 1]), *steps[index + size + 1 :])
            )
    for index, step in enumerate(steps):
        for size in (8, 4, 2, 1):
            for at in range(0, len(step.readings) - size + 1, size):
                fewer = replace(step, readings=(*step.readings[:at], *step.readings[at + size :]))
                yield replace(case, steps=(*steps[:index], fewer, *steps[index + 1 :]))
        for at in range(len(step.acts)):
            fewer = replace(step, acts=(*step.acts[:at], *step.acts[at + 1 :]))
            yield replace(case, steps=(*steps[:index], fewer, *steps[index + 1 :]))
    if len(steps) > 1 and not steps[-1].readings and not steps[-1].acts:
        yield replace(case, steps=steps[:-1])


def _joined(steps: tuple[Step, ...]) -> Step:
    """Several steps as one: what they were given, and the last clock."""
    return Step(
        max(step.now for step in steps),
        tuple(reading for step in steps for reading in step.readings),
        tuple(act for step in steps for act in step.acts),
    )


def _less_plan(case: Case) -> Iterator[Case]:
    plan = case.plan
    named: set[str | None] = {name for stage in plan.stages for name in stage.only_if}
    for rule in plan.rules:
        named |= {*getattr(rule, "rules", ()), getattr(rule, "rule", None), rule.while_, *rule.explains}
    for index, rule in enumerate(plan.rules):
        if rule.id not in named:
            yield replace(case, plan=replace(plan, rules=(*plan.rules[:index], *plan.rules[index + 1 :])))
        for simpler in _simpler(rule):
            yield replace(case, plan=replace(plan, rules=(*plan.rules[:index], simpler, *plan.rules[index + 1 :])))
        if isinstance(rule, StoppedSettings):
            for less in _less_evidence(rule):
                yield replace(case, plan=replace(plan, rules=(*plan.rules[:index], less, *plan.rules[index + 1 :])))
    followed = {stage.follows for stage in plan.stages}
    for index, stage in enumerate(plan.stages):
        if stage.id not in followed:
            yield replace(case, plan=replace(plan, stages=(*plan.stages[:index], *plan.stages[index + 1 :])))
        for easier in _simpler(stage):
            yield replace(case, plan=replace(plan, stages=(*plan.stages[:index], easier, *plan.stages[index + 1 :])))
    if plan.settle:
        yield replace(
            case,
            plan=replace(plan, settle=0),
            steps=tuple(replace(step, now=step.now - plan.settle) for step in case.steps),
        )


def _simpler(settings: Settings_) -> Iterator[Settings_]:
    for key, value in SIMPLER.items():
        if key in type(settings).model_fields and getattr(settings, key) not in (value, None):
            if key == "deadband" and isinstance(settings, RateSettings):
                value = None
            simpler = settings.model_copy(update={key: value})
            if key not in ("low", "rise", "fall") or any(
                getattr(simpler, side, None) is not None for side in ("high", "rise", "fall")
            ):
                yield simpler


def _less_evidence(rule: StoppedSettings) -> Iterator[StoppedSettings]:
    for index, piece in enumerate(rule.evidence):
        rest = (*rule.evidence[:index], *rule.evidence[index + 1 :])
        if any(other.weight > 0 for other in rest):
            yield rule.model_copy(update={"evidence": rest})
        if piece.lasting:
            same = piece.model_copy(update={"lasting": 0})
            yield rule.model_copy(update={"evidence": (*rule.evidence[:index], same, *rule.evidence[index + 1 :])})
