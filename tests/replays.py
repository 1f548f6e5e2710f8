"""Which small plans and recordings do tests of the replay bench use?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from adapters.recordings import Recording
from rules.block import block
from rules.conditions import KINDS
from rules.derived_settings import AnyDerived, RatioSettings
from rules.events import Event
from rules.people import PersonSettings
from rules.plan import Plan, PointPlan
from rules.settings import RuleSettings
from rules.stages import StageSettings

MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000
START = 1_775_120_400_000
"""2026-04-02T09:00Z, ten in the morning in Dublin."""

POINTS = (
    PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 10), MINUTE, 5 * MINUTE, name="Fish tank"),
    PointPlan("loop.flow", "flow", "L/min", Fraction(1, 10), MINUTE, 5 * MINUTE),
    PointPlan("pump.current", "current", "A", Fraction(1, 100), MINUTE, 5 * MINUTE),
    PointPlan("house.temperature", "air_temperature", "degC", Fraction(1, 10), MINUTE, 5 * MINUTE),
)


def rule(kind: str, name: str, **settings: Any) -> RuleSettings:
    """A rule of a kind."""
    return KINDS[kind].model_validate({"id": name, "kind": kind, **settings})


def stage(name: str, **settings: Any) -> StageSettings:
    """A stage that opens vents where nothing else is said."""
    return StageSettings.model_validate({"id": name, "action": "open_vents", **settings})


def person(name: str, **settings: Any) -> PersonSettings:
    """A person who is told."""
    return PersonSettings.model_validate({"id": name, **settings})


FLOW_SHARE = RatioSettings.model_validate(
    {"id": "flow.share", "kind": "ratio", "of": "loop.flow", "by": "20 L/min", "quantity": "ratio", "resolution": 0.01}
)
"""Flow against 20 L/min as commissioned."""

WARM = rule("band", "tank.warm", point="tank.temperature", high=26, deadband=1, on_delay="10 min", priority="high")
"""Fish tank above 26.0 °C for 10 min; over at 25.0."""


def plan(
    rules: Iterable[RuleSettings] = (WARM,),
    stages: Iterable[StageSettings] = (),
    points: Iterable[PointPlan] = POINTS,
    persons: Iterable[PersonSettings] = (),
    timezone: str = "Europe/Dublin",
    derived: Iterable[AnyDerived] = (),
) -> Plan:
    """A plan of these parts."""
    return Plan(
        "Alder Lane", timezone, tuple(points), tuple(rules), tuple(stages), tuple(persons), derived=tuple(derived)
    )


def recording(values: Mapping[str, Sequence[int | None]], every: int = MINUTE, start: int = START) -> Recording:
    """Counts of each point, one `every` ms from `start` on; None is a missing reading."""
    return Recording(
        {
            point: block(point, range(start, start + every * len(listed), every), listed)
            for point, listed in values.items()
        }
    )


def moves(events: Iterable[Event]) -> list[tuple[int, str, str]]:
    """(minutes since START, rule, state) of every alarm event."""
    return [
        ((event.t - START) // MINUTE, event.body["rule"], event.body["state"])
        for event in events
        if event.type == "alarm"
    ]
