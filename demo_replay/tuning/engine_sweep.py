"""Which alarms would any rule have raised under many settings? One engine judges all variants side by side."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence

import numpy as np

from demo_replay.tuning.spells import OPEN, Spells, joined
from rules.block import Source
from rules.engine import Engine
from rules.plan import Plan
from rules.settings import Priority, RuleSettings

CHUNK = 31 * 86_400_000
"""Span (ms) that is judged at one time; cuts never matter."""


def sweep_engine(
    plan: Plan,
    variants: Sequence[RuleSettings],
    side: str,
    source: Source,
    progress: Callable[[int, int], None] | None = None,
) -> Spells:
    """The spells of one side of every variant, numbered as they come.

    plan: must hold the rules that the variants rest on; its other rules, stages and persons are left out.
    Variants share the sorting, the holds and the windows of their points.
    """
    span = source.span()
    if span is None:
        return joined([])
    renamed = [v.model_copy(update={"id": f"variant.v{i}", "priority": Priority.LOG}) for i, v in enumerate(variants)]
    kept = _rests_on(plan, variants)
    alone = dataclasses.replace(plan, rules=(*kept, *renamed), stages=(), persons=())
    engine = Engine(alone, span[0])
    judges = engine.judges[len(kept) :]
    points = {point for judge in engine.judges for point in judge.reach()}
    spells: list[list[list[int]]] = [[] for _ in renamed]
    begin, end = span[0] - 1, span[1]
    while begin < end:
        upto = min(begin + CHUNK, end)
        blocks = [block for point in source.points() if point in points for block in source.read(point, begin, upto)]
        engine.step(blocks, [], upto + plan.settle if upto == end else upto)
        for number, judge in enumerate(judges):
            for change in judge.changes:
                if change.side == side:
                    if change.change.active:
                        spells[number].append([change.change.since, change.change.key >> 1, OPEN])
                    else:
                        spells[number][-1][2] = change.change.key >> 1
        begin = upto
        if progress is not None:
            progress(begin - span[0] + 1, end - span[0] + 1)
    parts = []
    for number, found in enumerate(spells):
        if found:
            columns = np.array(found, np.int64)
            parts.append(Spells(np.full(len(found), number, np.int64), *columns.T))
    return joined(parts)


def _rests_on(plan: Plan, variants: Sequence[RuleSettings]) -> list[RuleSettings]:
    """The rules of the plan that the variants' conditions rest on, in the order of the plan."""
    by_id = {rule.id: rule for rule in plan.rules}
    needed: set[str] = set()
    todo = [rule for variant in variants[:1] for rule in _named(variant)]
    while todo:
        name = todo.pop()
        if name in by_id and name not in needed:
            needed.add(name)
            todo += _named(by_id[name])
    return [rule.model_copy(update={"priority": Priority.LOG}) for rule in plan.rules if rule.id in needed]


def _named(rule: RuleSettings) -> list[str]:
    names = [rule.while_] if rule.while_ is not None else []
    names += list(getattr(rule, "rules", ()))
    single = getattr(rule, "rule", None)
    return [*names, single] if single is not None else names
