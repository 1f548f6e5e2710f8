"""Which points do the tests of the adapters feed?"""

from __future__ import annotations

from fractions import Fraction

from rules.plan import PointPlan

POINTS = {
    plan.id: plan
    for plan in (
        PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 1000)),
        PointPlan("tank.oxygen", "dissolved_oxygen", "mg/L", Fraction(1, 100)),
        PointPlan("house.humidity", "relative_humidity", "%", Fraction(1, 10)),
        PointPlan("pump.on", "state", "1", Fraction(1)),
        PointPlan("loop.flow", "flow", "L/min", Fraction(1, 100)),
    )
}
