"""Which alarms would any rule have raised under many settings? One engine judges all variants side by side."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np

from demo_replay.tuning.spells import OPEN, Spells, joined
from rules.acts import Act, ActKind
from rules.block import Source
from rules.conditions.composite import AnyOfSettings
from rules.delays import Change, Delayed
from rules.engine import Engine
from rules.judging import RuleJudge
from rules.plan import Plan
from rules.settings import Priority, RuleSettings

_CHUNK = 31 * 86_400_000
"""Span (ms) that is judged at one time; cuts never matter."""
_QUIET: dict[str, Any] = {"priority": Priority.LOG, "explains": (), "runway": None, "suppressed_while": None}
"""What makes a rule judge and tell nobody."""


class Past(NamedTuple):
    """What is judged again. span: first and last instant, ms UTC; acts: what people did, and when nothing ran."""

    source: Source
    span: tuple[int, int]
    acts: tuple[Act, ...] = ()


def sweep_engine(plan: Plan, variants: Sequence[RuleSettings], side: str, past: Past) -> Spells:
    """The spells of one side of every variant, numbered as they come.

    plan: must hold the rules that the variants rest on; its other rules, stages and persons are left out. Variants
    share the sorting, the holds and the windows of their points; those that differ only in delays, the condition.
    """
    alike: dict[RuleSettings, list[int]] = {}
    for number, variant in enumerate(variants):
        plain = variant.model_copy(update={"id": "variant", "on_delay": 0, "off_delay": 0})
        alike.setdefault(plain, []).append(number)
    groups = list(alike.values())
    first = [variants[numbers[0]] for numbers in groups]
    others = [
        [Delayed(variants[number].on_delay, variants[number].off_delay) for number in numbers[1:]] for numbers in groups
    ]
    found: list[list[list[int]]] = [[] for _ in variants]
    for engine, judges in _judged(plan, first, past):
        for numbers, judge, delays in zip(groups, judges, others, strict=True):
            _note(found[numbers[0]], [change.change for change in judge.changes if change.side == side])
            judged = judge.judged[side]
            for number, delayed in zip(numbers[1:], delays, strict=True):
                _note(found[number], delayed.advance(judged, 2 * engine.frontier + 1, engine.running))
    parts = []
    for number, spells in enumerate(found):
        if spells:
            columns = np.array(spells, np.int64)
            parts.append(Spells(np.full(len(spells), number, np.int64), *columns.T))
    return joined(parts)


def _note(spells: list[list[int]], changes: Sequence[Change]) -> None:
    for change in changes:
        if change.active:
            spells.append([change.since, change.key >> 1, OPEN])
        else:
            spells[-1][2] = change.key >> 1


def causes_of(plan: Plan, rule: RuleSettings) -> list[RuleSettings]:
    """The rules that keep the alarms of `rule` quiet while they are active: those that explain it, and one that is
    active just while the condition under which it is suppressed is true."""
    if rule.never_suppressed:
        return []
    causes = [other for other in plan.rules if rule.id in other.explains and other.id != rule.id]
    if rule.suppressed_while is not None:
        # Where `while` is shut it returns at once, so that unknown is not true.
        other = rule.suppressed_while
        causes.append(AnyOfSettings.model_validate({"id": "s", "kind": "any_of", "rules": [other], "while": other}))
    return causes


def explained_spans(plan: Plan, rule: RuleSettings, past: Past) -> tuple[tuple[int, int], ...]:
    """The spans (ms, sorted, apart, OPEN where one lasts past the end) in which other rules of the plan account for the
    alarms of `rule`, as those rules stand in the plan: while one is active, and for its `after` past its return."""
    causes = causes_of(plan, rule)
    if not causes:
        return ()
    found: list[tuple[int, int]] = []
    begun: dict[tuple[str, str], int] = {}
    for engine, judges in _judged(plan, causes, past):
        for cause, judge in zip(causes, judges, strict=True):
            for side, change in judge.changes:
                if change.active:
                    begun[cause.id, side] = change.key >> 1
                else:
                    over = engine.running.due(change.key >> 1, cause.after)
                    found.append((begun.pop((cause.id, side)), over))
    found += [(begin, OPEN) for begin in begun.values()]
    apart: list[tuple[int, int]] = []
    for begin, stop in sorted(found):
        end = stop if stop <= past.span[1] else OPEN
        if apart and begin <= apart[-1][1]:
            apart[-1] = (apart[-1][0], max(end, apart[-1][1]))
        else:
            apart.append((begin, end))
    return tuple(apart)


def points_of(plan: Plan, rules: Sequence[RuleSettings]) -> set[str]:
    """Every point that the rules look at, by themselves or through those of the plan that they rest on."""
    return {point for judge in _engine(plan, rules, 0)[0].judges for point in judge.reach()}


def steps(engine: Engine, past: Past, points: Collection[str]) -> Iterator[None]:
    """Let `engine` judge the past, from readings of `points`; yields after each step."""
    begin, end = past.span
    present = [point for point in past.source.points() if point in points]
    due = [
        act
        for act in past.acts
        if act.kind in (ActKind.OFF, ActKind.NOTE) and (act.time >= begin or (act.until or 0) > begin)
    ]
    after = begin - 1
    while after < end:
        upto = min(after + _CHUNK, end)
        blocks = [block for point in present for block in past.source.read(point, after, upto)]
        engine.step(blocks, due, upto + engine.plan.settle)
        due = []
        yield
        after = upto


def _judged(plan: Plan, rules: Sequence[RuleSettings], past: Past) -> Iterator[tuple[Engine, list[RuleJudge]]]:
    """The engine and the judges of `rules` after each step."""
    engine, judges = _engine(plan, rules, past.span[0])
    points = {point for judge in engine.judges for point in judge.reach()}
    for _ in steps(engine, past, points):
        yield engine, judges
        for judge in judges:
            # Delays of other variants wait for what it says too, so that it is judged in every step.
            judge.due = 0


def _engine(plan: Plan, rules: Sequence[RuleSettings], start: int) -> tuple[Engine, list[RuleJudge]]:
    """An engine that judges `rules`, which tell nobody, and what of the plan they rest on; and their judges."""
    kept = _rests_on(plan, rules)
    quiet = [rule.model_copy(update={"id": f"variant.v{number}", **_QUIET}) for number, rule in enumerate(rules)]
    engine = Engine(dataclasses.replace(plan, rules=(*kept, *quiet), stages=(), persons=()), start)
    return engine, engine.judges[len(kept) :]


def _rests_on(plan: Plan, rules: Sequence[RuleSettings]) -> list[RuleSettings]:
    """The rules of the plan that the conditions of `rules` rest on, in the order of the plan; they tell nobody."""
    by_id = {rule.id: rule for rule in plan.rules}
    needed: set[str] = set()
    todo = [name for rule in rules for name in _named(rule)]
    while todo:
        name = todo.pop()
        if name in by_id and name not in needed:
            needed.add(name)
            todo += _named(by_id[name])
    return [rule.model_copy(update=_QUIET) for rule in plan.rules if rule.id in needed]


def _named(rule: RuleSettings) -> list[str]:
    names = [rule.while_] if rule.while_ is not None else []
    names += list(getattr(rule, "rules", ()))
    single = getattr(rule, "rule", None)
    return [*names, single] if single is not None else names
