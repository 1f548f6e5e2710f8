"""How is a small site with people written down, and what are they told? Seconds from noon, values in whole degrees.

Everything is judged three times: in one step, reading by reading, and made anew from its written state before each
step. A difference fails the test, whatever it is about.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from rules.acts import Act, ActKind
from rules.block import Block, block
from rules.conditions import KINDS
from rules.engine import Engine
from rules.events import Event
from rules.message_settings import MessageSettings
from rules.people import PersonSettings
from rules.plan import Plan, PointPlan
from rules.settings import RuleSettings

START = 1_781_092_800_000
"""2026-06-10 12:00:00 UTC."""
MINUTE, HOUR = 60, 3600
DAY_MS = 86_400_000

Values = Mapping[str, Mapping[int, int | None]]
"""point -> seconds from the start -> degC."""
Notice = tuple[float, str, str, str | None]
"""Seconds from the start, person, purpose, rule."""


def at(seconds: float) -> int:
    """Seconds from the start as ms UTC."""
    return START + round(seconds * 1000)


def high(name: str, point: str = "p", **more: Any) -> RuleSettings:
    """A rule that is true above 10."""
    settings = {"id": name, "kind": "band", "point": point, "high": 10, "priority": "critical", **more}
    return KINDS["band"].model_validate(settings)


def rule(kind: str, name: str, **settings: Any) -> RuleSettings:
    """A rule of any kind."""
    return KINDS[kind].model_validate({"id": name, "kind": kind, **settings})


def person(name: str, **settings: Any) -> PersonSettings:
    """A person who is told."""
    return PersonSettings.model_validate({"id": name, "ways": [f"{name}_phone"], **settings})


ANNA = person("anna")
BEN = person("ben", after="10 min")


def site(
    rules: Sequence[RuleSettings],
    persons: Sequence[PersonSettings] = (ANNA,),
    *,
    timezone: str = "UTC",
    texts: Mapping[str, str] | None = None,
    unit: str = "degC",
    names: Mapping[str, str] | None = None,
    points: Sequence[str] = ("p", "q", "w"),
    stale_after: int = 400 * DAY_MS,
    **messages: Any,
) -> Plan:
    """Points in whole degrees that hold for good unless told otherwise. messages: as in the site file."""
    made = (
        PointPlan(name, "air_temperature", "degC", Fraction(1), 60_000, stale_after, name=(names or {}).get(name, ""))
        for name in points
    )
    return Plan(
        "Alder Lane",
        timezone,
        tuple(made),
        tuple(rules),
        persons=tuple(persons),
        settle=0,
        temperature_unit=unit,
        messages=MessageSettings.model_validate(messages),
        texts=texts or {},
    )


def act(does: ActKind, seconds: float, name: str | None = None, until: float | None = None, /, **data: str) -> Act:
    """A person does something."""
    return Act(at(seconds), does, "anna", name, until=None if until is None else at(until), data=data)


def acknowledged(seconds: float, name: str | None = None) -> Act:
    """A person has seen an alarm."""
    return act(ActKind.ACKNOWLEDGE, seconds, name)


def judged(plan: Plan, values: Values, until: float, acts: Sequence[Act] = ()) -> list[Event]:
    """Every event, in one step, by steps and with restarts, which must be the same."""
    blocks = [block(point, [at(t) for t in own], list(own.values())) for point, own in values.items()]
    whole = Engine(plan, START).step(blocks, acts, at(until))
    assert _by_steps(plan, values, until, acts, restart=False) == whole
    assert _by_steps(plan, values, until, acts, restart=True) == whole
    return whole


def _by_steps(plan: Plan, values: Values, until: float, acts: Sequence[Act], *, restart: bool) -> list[Event]:
    engine = Engine(plan, START)
    found: list[Event] = []
    moments = {t for own in values.values() for t in own} | {(a.time - START) / 1000 for a in acts} | {until}
    moments |= {until * part // 16 for part in range(1, 16)}
    for moment in sorted(moment for moment in moments if moment <= until):
        if restart:
            engine = Engine.restore(plan, json.loads(json.dumps(engine.state())))
        now = [_one(point, moment, own[int(moment)]) for point, own in values.items() if moment in own]
        found += engine.step(now, [one for one in acts if one.time == at(moment)], at(moment))
    return found


def _one(point: str, moment: float, value: int | None) -> Block:
    return block(point, [at(moment)], [value])


def notices(events: Iterable[Event]) -> list[Event]:
    """Only the messages."""
    return [event for event in events if event.type == "notice"]


def told(plan: Plan, values: Values, until: float, acts: Sequence[Act] = ()) -> list[Notice]:
    """Who is told of what, and when."""
    return [
        ((event.t - START) / 1000, event.body["person"], event.body["purpose"], event.body["rule"])
        for event in notices(judged(plan, values, until, acts))
    ]


def message(plan: Plan, values: Values, until: float, acts: Sequence[Act] = (), purpose: str = "first") -> Event:
    """The first message of a purpose."""
    return next(e for e in notices(judged(plan, values, until, acts)) if e.body["purpose"] == purpose)
