"""Which limits stand beside a point's value? Those of its bands, as shown to people."""

from __future__ import annotations

from fractions import Fraction

from rules.conditions.band import BandSettings
from rules.plan import Plan, PointPlan
from rules.settings import Priority
from rules.showing import show
from rules.units import parse_amount


def limits_of(plan: Plan, point: PointPlan) -> str:
    """`18.0 °C .. 32.0 °C`: the innermost limits at which a band of a point alarms, in the keeper's units;
    empty where it has none."""
    if point.quantity == "state":
        return ""
    lows: list[Fraction] = []
    highs: list[Fraction] = []
    for rule in plan.rules:
        if isinstance(rule, BandSettings) and rule.point == point.id and rule.priority is not Priority.LOG:
            for amount, found in ((rule.low, lows), (rule.high, highs)):
                if amount is not None:
                    found.append(parse_amount(amount, point.units) / point.resolution)
    low = show(plan, point, max(lows)) if lows else ""
    high = show(plan, point, min(highs)) if highs else ""
    if low and high:
        return f"{low} .. {high}"
    return f"over {low}" if low else f"under {high}" if high else ""
