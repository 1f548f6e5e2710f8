"""When is a value outside its band? Condition `v > high`, return `v <= high - deadband`; the low side mirrored."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rules.settings import Amount, RuleSettings, Settings


class TimedLimit(Settings):
    """Other limits by local time of day and season; the first entry that fits a reading's time wins."""

    hours: str | None = Field(None, description='local time of day, as in "20:00-07:00"')
    season: str | None = Field(None, description='months and days, as in "11-01..03-31"')
    high: Amount | None = None
    low: Amount | None = None


class BandSettings(RuleSettings):
    """A value above `high` or below `low`; each side is an alarm of its own."""

    kind: Literal["band"]
    point: str
    high: Amount | None = None
    low: Amount | None = None
    deadband: Amount = Field("0", validate_default=True, description="how far back before it counts as returned")
    limits: tuple[TimedLimit, ...] = ()
