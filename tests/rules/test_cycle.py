"""Do many cycles in one step say the same as few?"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

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


def judged(values: list[int], steps: int) -> list[Event]:
    """Events of a reading a minute, in so many steps."""
    engine = Engine(Plan("x", "UTC", (LEVEL,), (KINDS["cycle"].model_validate(RULE),), settle=0), START)
    found = []
    for part in np.array_split(np.arange(len(values)), steps):
        times = START + part * MINUTE
        column = np.array(values, np.int64)[part]
        block = Block(LEVEL.id, times, column, np.full(len(part), 2, np.uint8), ordered=True)
        found += engine.step([block], [], int(times[-1]))
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
