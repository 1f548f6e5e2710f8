"""Which rules does no mute silence?"""

from __future__ import annotations

from fractions import Fraction

from rules.acts import Act, ActKind
from rules.derived_settings import FormulaSettings
from rules.engine import Engine
from rules.plan import Plan, PointPlan
from tests.rules.told import rule


def test_a_mute_never_silences_oxygen() -> None:
    """Whatever looks at oxygen alone goes on: measured, worked out of it, or joined; what looks at more is muted."""
    points = (
        PointPlan("o", "dissolved_oxygen", "mg/L", Fraction(1, 100), 60_000, 400_000),
        PointPlan("t", "water_temperature", "degC", Fraction(1, 100), 60_000, 400_000),
        PointPlan("f", "flow", "L/min", Fraction(1, 100), 60_000, 400_000),
    )
    share = {"id": "s", "kind": "formula", "formula": "percent_saturation"}
    saturation = FormulaSettings.model_validate({**share, "inputs": {"oxygen": "o", "temperature": "t"}})
    weighed = [{"point": "o", "under": 5}, {"point": "f", "under": 2}]
    rules = (
        rule("band", "low", point="o", low=5, priority="high"),
        rule("band", "share", point="s", low=60, priority="high"),
        rule("any_of", "either", rules=["low", "share"], priority="high"),
        rule("stopped", "loop", evidence=weighed, needed=2, priority="high"),
        rule("band", "warm", point="t", high=26, priority="high"),
    )
    orders = Engine(Plan("Test", "UTC", points, rules, derived=(saturation,)), 0).life.orders
    assert orders.take(Act(0, ActKind.MUTE, until=1000, data={"points": "o,t"}), 0) == ""
    assert [mute.rules for mute in orders.mutes] == [("loop", "warm")]
    assert orders.take(Act(0, ActKind.MUTE, rule="either", until=1000), 0) == "either is never muted"
