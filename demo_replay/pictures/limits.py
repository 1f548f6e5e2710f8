"""Where do a point's limits lie over a span, in the unit in which it is shown?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rules.block import Times
from rules.conditions.ahead import AheadSettings
from rules.conditions.band import BandSettings
from rules.conditions.cycle import CycleSettings
from rules.conditions.stopped import StoppedSettings
from rules.local_time import Zone, when
from rules.plan import Plan, PointPlan
from rules.settings import Amount, Priority, RuleSettings
from rules.showing import shown_unit
from rules.units import convert, parse_amount, parse_unit

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit of a rule on one side of a point: float64[n] over the times asked for, NaN where there is none."""

    rule: str
    side: str
    priority: Priority
    values: Floats
    evidence: bool
    """Not an alarm's own limit, but one that a rule weighs among others."""


def in_shown_unit(plan: Plan, point: PointPlan) -> Callable[[NDArray[np.int64]], Floats]:
    """Counts int64[n] of a point -> float64[n] in the unit in which it is shown; for drawing only."""
    to = parse_unit(shown_unit(plan, point.unit))
    zero = float(convert(point.resolution * 0, point.units, to))
    step = float(convert(point.resolution, point.units, to, difference=True))

    def shown(counts: NDArray[np.int64]) -> Floats:
        return counts.astype(np.float64) * step + zero

    return shown


def limits(plan: Plan, point: PointPlan, times: Times) -> list[Limit]:
    """Every limit on a point's value at each of `times` (int64[n], ms UTC, sorted), of rules that raise alarms."""
    to = parse_unit(shown_unit(plan, point.unit))

    def shown(amount: Amount) -> float:
        return float(convert(parse_amount(amount, point.units), point.units, to))

    found: list[Limit] = []
    for rule in plan.rules:
        if rule.priority is Priority.LOG:
            continue
        if isinstance(rule, BandSettings) and rule.point == point.id:
            for side in ("high", "low"):
                column = _band(rule, side, times, Zone(plan.timezone), shown)
                if not np.all(np.isnan(column)):
                    found.append(Limit(rule.id, side, rule.priority, column, evidence=False))
        for side, amount in _marks(rule, point.id):
            found.append(Limit(rule.id, side, rule.priority, np.full(len(times), shown(amount)), evidence=True))
    return found


def _marks(rule: RuleSettings, point: str) -> list[tuple[str, Amount]]:
    """(side, amount) of what a rule compares the point with among other things."""
    pairs: list[tuple[str, Amount | None]] = []
    if isinstance(rule, StoppedSettings):
        for item in rule.evidence:
            if item.point == point:
                pairs += [("low", item.under), ("high", item.over)]
    elif isinstance(rule, AheadSettings | CycleSettings) and rule.point == point:
        pairs += [("low", rule.low), ("high", rule.high)]
    return [(side, amount) for side, amount in pairs if amount is not None]


def _band(rule: BandSettings, side: str, times: Times, zone: Zone, shown: Callable[[Amount], float]) -> Floats:
    own: Amount | None = getattr(rule, side)
    column = np.full(len(times), np.nan if own is None else shown(own))
    for entry in reversed(rule.limits):
        amount: Amount | None = getattr(entry, side)
        if amount is not None:
            column[when(entry.hours, entry.season).holds(times, zone)] = shown(amount)
    return column
