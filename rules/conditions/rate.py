"""When does a value change too fast? The least-squares slope over the readings in `[t - window, t]` passes a limit."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rules.durations import MINUTE, Duration
from rules.settings import RuleSettings


class RateSettings(RuleSettings):
    """A slope above `rise` or below `-fall`; judged at readings only, unknown until enough of them."""

    kind: Literal["rate"]
    point: str
    rise: str | None = Field(None, description='as in "2 degC/h"')
    fall: str | None = Field(None, description='a positive rate of falling, as in "0.5 mg/L/h"')
    deadband: str | None = Field(None, description="a rate: how far back before it counts as returned")
    window: Duration = 30 * MINUTE
    min_readings: int = Field(5, ge=2)
    min_span: Duration | None = Field(None, description="left out: half the window")
