"""When do points disagree? When among the fresh of two or more `max - min > span`, or `< span` where too close."""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction
from typing import Literal

from pydantic import Field

from rules.apart import Farther, Scale, apart
from rules.edges import UNKNOWN, Edges, Judged
from rules.errors import UnitError
from rules.plan import PointPlan
from rules.running import Running
from rules.settings import Amount, RuleSettings
from rules.units import convert, parse_amount, with_unit
from rules.view import Surroundings, View


class SpreadSettings(RuleSettings):
    """Points of one dimension that lie further apart than `span`, or nearer together where `too_close`."""

    kind: Literal["spread"]
    points: tuple[str, ...] = Field(min_length=2)
    span: Amount
    too_close: bool = False
    deadband: Amount = Field(
        default="0", validate_default=True, description="how far back before it counts as returned"
    )

    def build(self, around: Surroundings) -> Spread:
        """The condition; raises UnitError where the points do not share a dimension."""
        plans = [around.points[name] for name in self.points]
        first = plans[0]
        span = parse_amount(self.span, first.units, difference=True)
        back = parse_amount(self.deadband, first.units, difference=True)
        scales, fine = _common_scale(plans)
        return Spread(self, plans, scales, span / fine, back / fine)


def _common_scale(plans: list[PointPlan]) -> tuple[list[Scale], Fraction]:
    """The scale of each point and the common step in the unit of the first, exactly."""
    unit = plans[0].units
    steps, offsets = [], []
    for plan in plans:
        steps.append(plan.resolution * plan.units.scale / unit.scale)
        if plan.units.difference != unit.difference:
            raise UnitError(f"{plan.id} and {plans[0].id} do not measure the same; compare values, or differences")
        offsets.append(convert(Fraction(0), plan.units, unit))
    fine = Fraction(1, math.lcm(*(x.denominator for x in (*steps, *offsets))))
    return [Scale(int(s / fine), int(o / fine)) for s, o in zip(steps, offsets, strict=True)], fine


class Spread:
    """The compiled condition; known while two or more of its points are fresh."""

    rests_on: tuple[str, ...] = ()
    sides = ("spread",)

    def __init__(
        self, settings: SpreadSettings, plans: list[PointPlan], scales: list[Scale], span: Fraction, back: Fraction
    ) -> None:
        self.settings, self.scales = settings, scales
        self.point = plans[0].id
        self.names = [plan.id for plan in plans]
        self.unit = plans[0].unit
        if settings.too_close:
            self.told = (Farther(math.ceil(span) - 1, True), Farther(math.ceil(span + back) - 1, False))
        else:
            self.told = (Farther(math.floor(span), False), Farther(math.floor(span - back), True))
        self.carry = [UNKNOWN, UNKNOWN]

    def reach(self) -> Mapping[str, int]:
        """No window."""
        return dict.fromkeys(self.names, 0)

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""
        spans = [view.spans[name] for name in self.names]
        if all(span.quiet for span in spans):
            return {"spread": Judged(Edges(self.carry[0], [], []), Edges(self.carry[1], [], []))}
        found = apart(spans, self.scales, self.told, self.carry)
        self.carry = [edges.last for edges in found]
        return {"spread": Judged(*found)}

    def why(self, side: str, key: int) -> str:
        """How far apart, and which points."""
        word = "less" if self.settings.too_close else "more"
        return f"{', '.join(self.names)} are {word} than {with_unit(self.settings.span, self.unit)} apart"

    def next_due(self, running: Running) -> int | None:
        """Nothing waits."""
        return None

    def state(self) -> list[int]:
        """The last truths."""
        return list(self.carry)

    def load(self, state: list[int]) -> None:
        """Take up what `state` gave."""
        self.carry = list(state)
