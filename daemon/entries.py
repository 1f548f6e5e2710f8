"""What does the daemon make of an act that people hand in: when does it hold, and which reading does it carry?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import NamedTuple

from rules.acts import Act, ActKind
from rules.door import door
from rules.errors import UnitError, ValueRefused
from rules.plan import PointPlan
from rules.units import parse_unit

READING = "reading"
"""The kind of a note that is a reading by hand: of a test kit, say."""


class Entry(NamedTuple):
    """A reading by hand: point, time (ms UTC) and counts of the point as the store keeps it."""

    point: str
    time: int
    counts: int


def dated(act: Act, first: int, now: int, newest: Callable[[str], int]) -> Act:
    """The act as of `now`, so that a replay of the log judges it at the same instant.

    An acknowledgement holds from when it was handed in, lest somebody be called between that and now, but not before
    `first`, the first instant (ms UTC) that is not judged yet. newest: point -> time of its newest reading. A
    calibration for which no instant was named holds from the next reading on: what was judged already is not judged
    again.
    """
    seen = act.kind is ActKind.ACKNOWLEDGE
    act = replace(act, time=max(first, min(act.time, now)) if seen else max(first, now))
    if act.kind is ActKind.CALIBRATE and "effective" not in act.data:
        effective = max(act.time, newest(act.data["point"]) + 1)
        act = replace(act, data={**act.data, "effective": str(effective)})
    return act


def is_reading(act: Act) -> bool:
    """Whether it carries a reading."""
    return act.kind is ActKind.NOTE and act.data.get("kind") == READING


def entry_of(act: Act, points: Mapping[str, PointPlan], newest: Callable[[str], int]) -> Entry:
    """The reading that a dated act carries. Raises ValueRefused, UnitError where it fits no point of today's."""
    data = act.data
    plan = points.get(data["point"])
    if plan is None:
        raise ValueRefused(f"there is no point {data['point']} any more")
    raw = plan.raw
    counts, _ = door(parse_unit(data["unit"]), raw.units, raw.resolution).count(data["value"])
    time = int(data["at"]) if "at" in data else max(act.time, newest(plan.id) + 1)
    return Entry(plan.id, time, counts)


def refused(act: Act, error: ValueRefused | UnitError) -> Act:
    """The act as the log is to show it when its reading could not be taken."""
    return replace(act, data={**act.data, "refused": str(error)})
