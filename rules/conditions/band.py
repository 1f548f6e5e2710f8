"""When is a value outside its band? Condition `v > high`, return `v <= high - deadband`; the low side mirrored."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Literal

from pydantic import Field

from rules.conditions.sided import Sided
from rules.edges import FALSE, TRUE
from rules.local_time import When, Zone, when
from rules.predicates import Beyond, at_least, at_most, over, under
from rules.settings import Amount, RuleSettings, Settings
from rules.timed import Limit, TimedBeyond
from rules.units import parse_amount, with_unit
from rules.view import Surroundings


class TimedLimit(Settings):
    """Other limits by local time of day and season; the first entry that fits a reading's time wins."""

    hours: str | None = Field(default=None, description='local time of day, as in "20:00-07:00"')
    season: str | None = Field(default=None, description='months and days, as in "11-01..03-31"')
    high: Amount | None = None
    low: Amount | None = None


class BandSettings(RuleSettings):
    """A value above `high` or below `low`; each side is an alarm of its own."""

    kind: Literal["band"]
    point: str
    high: Amount | None = None
    low: Amount | None = None
    deadband: Amount = Field(
        default="0", validate_default=True, description="how far back before it counts as returned"
    )
    limits: tuple[TimedLimit, ...] = ()

    def build(self, around: Surroundings) -> Sided:
        """The condition; raises UnitError or SettingError where a limit does not fit the point."""
        point = around.points[self.point]

        def counts(amount: Amount, difference: bool = False) -> Fraction:
            return parse_amount(amount, point.units, difference=difference) / point.resolution

        back = counts(self.deadband, difference=True)
        sides: dict[str, tuple[Beyond | TimedBeyond, Beyond | TimedBeyond]] = {}
        for side, own in (("high", self.high), ("low", self.low)):
            timed = [(entry, getattr(entry, side)) for entry in self.limits if getattr(entry, side) is not None]
            if own is None and not timed:
                continue
            outer = None if own is None else counts(own)
            if not timed and outer is not None:
                sides[side] = (
                    (over(outer), at_most(outer - back)) if side == "high" else (under(outer), at_least(outer + back))
                )
                continue
            pairs = [(when(entry.hours, entry.season), counts(amount)) for entry, amount in timed]
            zone, high = around.zone, side == "high"
            sides[side] = (
                _timed(pairs, outer, Fraction(0), high=high, clear=False, zone=zone),
                _timed(pairs, outer, -back if high else back, high=high, clear=True, zone=zone),
            )
        return Sided(self.point, sides, {side: self._words(side, point.unit) for side in sides})

    def _words(self, side: str, unit: str) -> str:
        timed = any(getattr(entry, side) is not None for entry in self.limits)
        return f"beyond its {side} limit {'of the hour' if timed else with_unit(getattr(self, side), unit)}"


def _timed(
    pairs: list[tuple[When, Fraction]], outer: Fraction | None, shift: Fraction, *, high: bool, clear: bool, zone: Zone
) -> TimedBeyond:
    def whole(limit: Fraction) -> int:
        return math.floor(limit + shift) if high else math.ceil(limit + shift) - 1

    rest = None if outer is None else whole(outer)
    return TimedBeyond(
        [Limit(w, whole(limit)) for w, limit in pairs], rest, high == clear, TRUE if clear else FALSE, zone
    )
