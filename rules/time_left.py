"""How long is there until harm? From a value to its limit, at the measured slope or an expected loss."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal, NamedTuple

from rules.durations import DAY
from rules.plan import PointPlan
from rules.settings import Runway
from rules.units import parse_amount, parse_rate

SURE_FOR = 8
"""A slope tells of so many times the window over which it was measured; what lies further off is left out."""
FURTHEST = 7 * DAY
"""A span at an expected loss that is longer than this (ms) is left out."""


class TimeLeft(NamedTuple):
    """span: ms until the limit at `slope` (counts per ms), which is measured or expected."""

    span: int
    slope: Fraction
    basis: Literal["measured", "expected"]


def time_left(
    runway: Runway, point: PointPlan, counts: int, side: str, measured: Fraction | None
) -> TimeLeft | Literal["under", "over"] | None:
    """The time left; on which side of the limit the harm has come already; None where nothing can be told.

    counts: the present value; side: that of the alarm, where it is about this point, else ""; measured: its slope in
    counts per ms, where it counts. span = (limit - value) / slope.
    """
    gap = parse_amount(runway.limit, point.units) / point.resolution - counts
    loss = None if runway.loss is None else parse_rate(runway.loss, point.units) / point.resolution
    way = _way(side, loss)
    if way * gap < 0:
        return "under" if way < 0 else "over"
    if measured is not None and measured * gap <= 0:
        return None
    if measured is not None and (span := int(gap / measured)) <= SURE_FOR * runway.window:
        return TimeLeft(span, measured, "measured")
    if not loss:
        return None
    slope = abs(loss) * way
    span = int(gap / slope)
    return TimeLeft(span, slope, "expected") if span <= FURTHEST else None


def _way(side: str, loss: Fraction | None) -> int:
    """Whether the harm lies below (-1) or above (1) the limit; 0 where nothing tells."""
    if side in ("low", "high"):
        return -1 if side == "low" else 1
    if not loss:
        return 0
    return -1 if loss > 0 else 1
