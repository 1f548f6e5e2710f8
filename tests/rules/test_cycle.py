"""Do many cycles in one step say the same as few?"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from rules.acts import Act, ActKind
from rules.block import Block
from rules.conditions import KINDS
from rules.engine import Engine
from rules.events import Event
from rules.plan import Plan, PointPlan

START, MINUTE = 1_767_225_600_000, 60_000
PERIOD, CYCLES = 35, 200
LEVEL = PointPlan("bed.level", "level", "cm", Fraction(1, 10), MINUTE, 3 * MINUTE)
RULE = {
    "id": "bed",
    "kind": "cycle",
    "point": "bed.level",
    "low": 6,
    "high": 19,
    "shortest": "30 min",
    "longest": "55 min",
}


def judged(values: list[int], steps: int, *more: dict[str, Any], off: Act | None = None) -> list[Event]:
    """Events of a reading a minute, in so many steps, by the rule and more. off: a span in which nobody watched."""
    rules = tuple(KINDS[one["kind"]].model_validate(one) for one in (RULE, *more))
    engine = Engine(Plan("x", "UTC", (LEVEL,), rules, settle=0), START)
    found = []
    for part in np.array_split(np.arange(len(values)), steps):
        times = START + part * MINUTE
        column = np.array(values, np.int64)[part]
        block = Block(LEVEL.id, times, column, np.full(len(part), 2, np.uint8), ordered=True)
        acts = [off] if off is not None and times[0] <= off.time <= times[-1] else []
        found += engine.step([block], acts, int(times[-1]))
    return [event for event in found if event.type == "alarm"]


def tide(cycles: int) -> list[int]:
    """Levels in mm, full cycles of 35 min."""
    return [20 + 6 * minute for minute in range(PERIOD)] * cycles


@pytest.mark.parametrize("steps", [1, 7, 1000])
def test_a_bed_that_cycles_for_days_says_nothing(steps: int) -> None:
    """Two hundred right periods, in one step or in many, raise nothing."""
    assert judged(tide(CYCLES), steps) == []


@pytest.mark.parametrize("steps", [1, 7, 1000])
def test_one_wrong_period_among_hundreds_is_told(steps: int) -> None:
    """A pause of half an hour among two hundred right periods is told once, and is over with the next right one."""
    values = [*tide(100), *[20] * 30, *tide(100)]
    told = judged(values, steps)
    overdue = START + (100 * PERIOD + 55) * MINUTE
    assert [(e.t, e.body["state"]) for e in told] == [
        (overdue, "unacknowledged"),
        (START + (101 * PERIOD + 30 + PERIOD) * MINUTE, "returned"),
    ]


@pytest.mark.parametrize("steps", [1, 7, 1000])
@pytest.mark.parametrize(("off", "alarms"), [(0, 1), (1, 0)], ids=["watched", "not watched"])
def test_a_period_that_nobody_watched_whole_is_unknown_among_hundreds(steps: int, off: int, alarms: int) -> None:
    """It is no proof of right cycling: what waits for 70 hours of that begins anew in the 58th."""
    begin = START + 100 * PERIOD * MINUTE + 30_000
    span = Act(begin, ActKind.OFF, "tidebed", until=begin + 30_000 * off)
    calm = {"id": "calm", "kind": "not", "rule": "bed", "on_delay": "70 h", "priority": "low"}
    told = judged(tide(CYCLES), steps, calm, off=span if off else None)
    assert [event.body["rule"] for event in told] == ["calm"] * alarms
