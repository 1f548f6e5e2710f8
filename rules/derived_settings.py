"""Which settings does a point have that is worked out from others?"""

from __future__ import annotations

from collections.abc import Container
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import Field

from rules.durations import HOUR, Duration
from rules.settings import Amount, Settings


class DerivedSettings(Settings):
    """What every derived point has."""

    id: str = Field(pattern=r"^[a-z0-9_]+(\.[a-z0-9_]+)*$")
    name: str = Field(default="", description="what people call it")
    quantity: str | None = Field(default=None, description="what it measures; left out, what the formula gives")
    unit: str | None = None
    resolution: Amount | None = None
    stale_after: Duration | None = Field(default=None, description="left out: the longest of its inputs'")


class FormulaSettings(DerivedSettings):
    """One of the formulas that `tidebed calc --list` names, with points or fixed amounts for its arguments."""

    kind: Literal["formula"]
    formula: str
    inputs: dict[str, Amount] = Field(
        description='argument -> point or amount, as in { temperature = "tank.temperature" }'
    )

    def inputs_among(self, points: Container[str]) -> tuple[str, ...]:
        """The arguments that are points."""
        return tuple(dict.fromkeys(v for v in self.inputs.values() if isinstance(v, str) and v in points))


class LinearSettings(DerivedSettings):
    """A weighted sum of points and a constant, as of the water in all vessels from their levels."""

    kind: Literal["linear"]
    weights: dict[str, Decimal] = Field(min_length=1, description="point -> what one of its units adds")
    constant: Decimal = Decimal(0)

    def inputs_among(self, points: Container[str]) -> tuple[str, ...]:
        """The points that are summed."""
        return tuple(self.weights)


class RatioSettings(DerivedSettings):
    """One point divided by another or by a fixed amount, as of flow against its commissioning value."""

    kind: Literal["ratio"]
    of: str
    by: Amount

    def inputs_among(self, points: Container[str]) -> tuple[str, ...]:
        """One or both."""
        return (self.of, self.by) if isinstance(self.by, str) and self.by in points else (self.of,)


class OverWindowSettings(DerivedSettings):
    """What a point did over a sliding window: lowest, highest, mean, spread, or loss an hour (falling is positive).

    A loss is in the point's unit and means so much an hour; a loss of volume is a flow, as in L/h. A spread or loss of
    temperature is a temperature_difference in K: 1 K of it is 1 °C or 1.8 °F apart.
    """

    kind: Literal["over_window"]
    point: str
    take: Literal["min", "max", "mean", "spread", "loss"]
    window: Duration = HOUR

    def inputs_among(self, points: Container[str]) -> tuple[str, ...]:
        """The one point."""
        return (self.point,)


AnyDerived = Annotated[
    FormulaSettings | LinearSettings | RatioSettings | OverWindowSettings, Field(discriminator="kind")
]
"""A `[[derived]]` table, told apart by `kind`."""
