"""When does a change count as too fast, and as over? Worked by hand: a reading a minute, in tenths of a degree."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from rules.block import block
from rules.conditions import KINDS
from rules.engine import Engine
from rules.plan import Plan, PointPlan

MINUTE = 60_000
AIR = PointPlan("air", "air_temperature", "degC", Fraction(1, 10), MINUTE, 3 * MINUTE)


def states(values: list[int], **settings: Any) -> list[tuple[int, str, str]]:
    """(minute, side, state) of every alarm event of a rule over pairs of readings unless told otherwise."""
    made = {
        "id": "a",
        "kind": "rate",
        "point": "air",
        "priority": "low",
        "window": "1 min",
        "min_readings": 2,
        **settings,
    }
    engine = Engine(Plan("x", "UTC", (AIR,), (KINDS["rate"].model_validate(made),), settle=0), 0)
    times = [minute * MINUTE for minute in range(len(values))]
    events = engine.step([block("air", times, values)], [], times[-1])
    return [(e.t // MINUTE, e.body["side"], e.body["state"]) for e in events if e.type == "alarm"]


@pytest.mark.parametrize(("step", "raised"), [(19, False), (20, False), (21, True)], ids=["below", "at", "above"])
def test_a_rise_counts_above_its_limit(step: int, raised: bool) -> None:
    """2 degC/min over one minute."""
    assert bool(states([200, 200 + step], rise="2 degC/min")) is raised


@pytest.mark.parametrize(("step", "raised"), [(19, False), (20, False), (21, True)], ids=["below", "at", "above"])
def test_a_fall_counts_beyond_its_limit(step: int, raised: bool) -> None:
    """2 degC/min over one minute."""
    assert bool(states([200, 200 - step], fall="2 degC/min")) is raised


@pytest.mark.parametrize(("step", "state"), [(21, 1), (20, 2), (19, 2)], ids=["above", "at", "below"])
def test_without_a_deadband_it_is_over_at_its_limit(step: int, state: int) -> None:
    """Risen by 3 degC, then by so many tenths."""
    assert len(states([200, 230, 230 + step], rise="2 degC/min")) == state


@pytest.mark.parametrize(("step", "state"), [(11, 1), (10, 2), (9, 2)], ids=["above", "at", "below"])
def test_with_a_deadband_it_is_over_that_far_below(step: int, state: int) -> None:
    """2 degC/min less 1 degC/min."""
    assert len(states([200, 230, 230 + step], rise="2 degC/min", deadband="1 degC/min")) == state


@pytest.mark.parametrize(("readings", "raised"), [(3, False), (4, True), (5, True)], ids=["below", "at", "above"])
def test_it_is_unknown_with_fewer_readings_than_it_needs(readings: int, raised: bool) -> None:
    """Four are needed, within ten minutes."""
    steep = [200 + 30 * minute for minute in range(readings)]
    assert bool(states(steep, rise="2 degC/min", window="10 min", min_readings=4, min_span="0 s")) is raised


@pytest.mark.parametrize(("minutes", "raised"), [(4, False), (5, True), (6, True)], ids=["below", "at", "above"])
def test_it_is_unknown_until_half_its_window_is_covered(minutes: int, raised: bool) -> None:
    """Five of ten minutes, unless `min_span` says otherwise."""
    steep = [200 + 30 * minute for minute in range(minutes + 1)]
    assert bool(states(steep, rise="2 degC/min", window="10 min")) is raised


def test_both_sides_are_alarms_of_their_own() -> None:
    """Up, level, down."""
    assert states([200, 230, 230, 200, 200], rise="2 degC/min", fall="2 degC/min") == [
        (1, "rise", "unacknowledged"),
        (2, "rise", "returned"),
        (3, "fall", "unacknowledged"),
        (4, "fall", "returned"),
    ]
