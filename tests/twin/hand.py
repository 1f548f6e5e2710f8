"""How is a case worked by hand written down? In seconds and whole counts, from a start at noon UTC."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from rules.acts import Act, ActKind
from rules.block import Block, block
from rules.conditions import KINDS
from rules.events import Event
from rules.plan import Plan, PointPlan
from rules.settings import RuleSettings
from rules.stages import StageSettings
from tests.twin.twin import Twin

START = 1_781_092_800_000
"""2026-06-10 12:00:00 UTC."""

SECOND = 1000

Values = Mapping[int, float | None] | Mapping[float, float | None]
"""Seconds from the start -> the value in the point's unit."""


def rule(kind: str, **settings: Any) -> RuleSettings:
    """A rule called `r` about point `p` unless told otherwise."""
    own = {} if kind == "stopped" else {"point": "p"}
    return KINDS[kind].model_validate({"id": "r", "kind": kind, "priority": "high", **own, **settings})


def stage(**settings: Any) -> StageSettings:
    """A stage called `s` about point `p` that opens vents above 20 and closes them at 18, unless told otherwise."""
    usual = {"id": "s", "action": "open_vents", "point": "p", "on": 20, "off": 18}
    return StageSettings.model_validate({**usual, **settings})


def plan(
    rules: Sequence[RuleSettings] = (),
    stages: Sequence[StageSettings] = (),
    *,
    stale_after: float = 1000,
    timezone: str = "UTC",
    settle: int = 0,
    points: Sequence[str] = ("p", "q", "w"),
    accept_suspect: bool = False,
) -> Plan:
    """Points in degC with a resolution of 0.05; `stale_after` in seconds, `settle` in ms."""
    made = (
        PointPlan(name, "air_temperature", "degC", Fraction(1, 20), 60_000, round(stale_after * SECOND), accept_suspect)
        for name in points
    )
    return Plan("hand", timezone, tuple(made), tuple(rules), tuple(stages), settle=settle)


def series(point: str, values: Values, flag: int = 2) -> Block:
    """Readings of a point: seconds from the start -> degC (None: missing)."""
    counts = [None if value is None else round(value * 20) for value in values.values()]
    return block(point, [at(t) for t in values], counts, [flag] * len(counts))


def every(seconds: float, values: Iterable[float | None], first: float = 0) -> dict[float, float | None]:
    """Values at equal distances."""
    return {first + index * seconds: value for index, value in enumerate(values)}


def at(seconds: float) -> int:
    """Seconds from the start as ms UTC."""
    return START + round(seconds * SECOND)


def off(begin: float, end: float) -> Act:
    """The daemon did not run from `begin` to `end`, in seconds from the start."""
    return Act(at(begin), ActKind.OFF, who="tidebed", until=at(end))


def acknowledged(seconds: float, rule: str | None = None, side: str | None = None) -> Act:
    """A person has seen an alarm."""
    return Act(at(seconds), ActKind.ACKNOWLEDGE, rule=rule, side=side)


def judged(judged_plan: Plan, blocks: Sequence[Block], until: float, acts: Sequence[Act] = ()) -> list[Event]:
    """What the twin says if everything is there in time."""
    return Twin(judged_plan, START).step(blocks, acts, at(until) + judged_plan.settle)


def alarms(events: Iterable[Event]) -> list[tuple[float, str, str]]:
    """(seconds from the start, side, state) of each alarm event."""
    return [
        ((event.t - START) / SECOND, event.body["side"], event.body["state"])
        for event in events
        if event.type == "alarm"
    ]


def decisions(events: Iterable[Event]) -> list[tuple[float, str, str]]:
    """(seconds from the start, stage, action) of each decision."""
    return [
        ((event.t - START) / SECOND, event.body["stage"], event.body["action"])
        for event in events
        if event.type == "decision"
    ]


def active_at(events: Iterable[Event], seconds: Iterable[float]) -> list[int]:
    """1 where an alarm of nobody's notice is active just after each of these instants, else 0."""
    changes = alarms(events)
    out = []
    for now in seconds:
        states = [state for t, _, state in changes if t <= now]
        out.append(int(bool(states) and states[-1] == "unacknowledged"))
    return out
