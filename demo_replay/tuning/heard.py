"""What did each point read that rules could use? Worked out once, so that a thousand settings need not do it again."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection

import numpy as np

from adapters.recordings import Recording
from demo_replay.tuning.engine_sweep import Past, steps
from demo_replay.watching import Watching
from rules.block import Block, concatenate
from rules.engine import Engine
from rules.flags import Flag
from rules.plan import Plan, PointPlan


def heard(plan: Plan, wanted: Collection[str], past: Past) -> tuple[Plan, Past]:
    """The plan and the past with every point that is wanted as if it were measured, its usable readings alone.

    Derived points have become plain ones; whatever the engine does to readings before rules see them is done.
    """
    watching = Watching(plan)
    needed = {*wanted, *watching.made_of(wanted)}
    derived = tuple(settings for settings in plan.derived if settings.id in needed)
    engine = Engine(dataclasses.replace(plan, rules=(), stages=(), persons=(), derived=derived), past.span[0])
    parts: dict[str, list[Block]] = {name: [] for name in wanted}
    for _ in steps(engine, past, needed):
        for name, found in parts.items():
            span = engine.tracks[name].span
            if span is not None and len(span.t):
                found.append(Block(name, span.t, span.v, np.full(len(span.t), Flag.PASS, np.uint8)))
    blocks = {name: concatenate(name, found) for name, found in parts.items() if found}
    points = tuple(_plain(point) for point in watching.points.values())
    return dataclasses.replace(plan, points=points, derived=()), past._replace(source=Recording(blocks))


def _plain(point: PointPlan) -> PointPlan:
    """A point whose readings are taken as they stand."""
    return PointPlan(
        point.id, point.quantity, point.unit, point.resolution, point.expect_every, point.stale_after, name=point.name
    )
