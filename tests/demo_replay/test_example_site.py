"""Does the site file that a keeper starts from tell the failures of the loop? Simulated days under its own names.

Signatures as in test_signatures.py (common practice, no source). The example has a few probes only: a level in the tank
and in one bed, flow, pump current, mains, oxygen, water and air.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from adapters.recordings.recording import Recording
from daemon.site.load import load_site
from demo_replay.replay import replay
from demo_replay.simulate import simulate
from rules.block import Block
from rules.durations import MINUTE
from rules.events import Event
from rules.messages import BODY_SIZE, TITLE_SIZE
from rules.plan import Plan

EXAMPLE = Path(__file__).parents[2] / "deploy" / "site.example.toml"
NAMES = {"loop.flow": "return.flow", "mains.present": "mains.state", "house.temperature": "house.air"}
"""Points of the simulated place -> the example's names; others are called the same."""
LIP = 85.0
"""cm over the tank's floor; the example measures the tank's level against it."""
SEEDS = (39, 1, 1001)


class Case(NamedTuple):
    """A kind of day, how the first title begins, how many minutes it may take, and what else may be told."""

    kind: str
    title: str
    within: int
    told: frozenset[str]


def case(kind: str, title: str, within: int, *told: str) -> Case:
    return Case(kind, title, within, frozenset(told))


OXYGEN = "oxygen.critical"
CASES = (
    case("power_cut", "Greenhouse has no power", 1, "mains.off", OXYGEN),
    case("breaker_trip", "Greenhouse has no power", 1, "mains.off", OXYGEN),
    case("pump_trip", "Water has stopped", 3, "loop.stopped", OXYGEN),
    case("rotor_jammed", "Pump is jammed", 3, "pump.jammed", OXYGEN),
    case("valve_shut", "Pump runs but no water comes back", 3, "loop.no_water", OXYGEN),
    case("burst_pipe", "Pump runs but no water comes back", 3, "loop.no_water", OXYGEN),
    case("sump_dry", "Pump runs but no water comes back", 300, "loop.no_water", "loop.slow", OXYGEN),
    case("breather_blocked", "Water has stopped", 3, "loop.stopped", "tank.sinks", OXYGEN),
    case("bed_without_inflow", "Bed 1 ", 140, "bed1.stuck", "bed1.period"),
    case("intake_blocked", "Flow is down to 1", 540, "loop.slow"),
    case("flow_meter_stuck", "Flow is down to 0.", 60, "loop.slow"),
    case("hot", "Hot in the greenhouse: 36", 220, "air.hot"),
    case("frost", "Cold in the greenhouse: 6", 300, "air.cold", "air.frost"),
    case("dawn_oxygen", "Oxygen low in the fish tank", 600, "oxygen.low"),
)
QUIET = ("ordinary", "siphon_stuck", "slow_leak")
"""Days on which nothing happens that the example's few probes could see."""


@cache
def plan() -> Plan:
    return load_site(EXAMPLE).plan


@cache
def told(kind: str, seed: int, zero: str = "", first: int = 0, last: int = 0) -> tuple[int, tuple[Event, ...]]:
    """(ms UTC at which the failure begins, or the day; every message of the day to the keeper).

    zero: a point of the example that shows 0 from `first` to `last` minutes after the failure began.
    """
    day = simulate(kind, seed)
    points = {point.id: point for point in plan().points}
    whole, blocks = day.recording(), {}
    for name, block in whole.blocks.items():
        if (point := points.get(NAMES.get(name, name))) is None:
            continue
        unit, resolution = whole.series[name]
        assert unit == str(point.unit)
        ours = block.values - (int(LIP / resolution) if name == "tank.level" else 0)
        scale = resolution / point.resolution
        counts = ours * scale.numerator // scale.denominator
        if point.id == zero:
            after = (block.times - day.labels[0].start_ms) / MINUTE
            counts = np.where((after >= first) & (after < last), 0, counts)
        blocks[point.id] = Block(point.id, block.times, counts, block.flags)
    recording = Recording(blocks, {name: (str(points[name].unit), points[name].resolution) for name in blocks})
    notices = (event for event in replay(plan(), recording).events if event.type == "notice")
    began = day.labels[0].start_ms if day.labels else day.begin_ms
    return began, tuple(event for event in notices if event.body["person"] == "keeper")


def test_the_simulated_days_hold_every_point_of_the_example() -> None:
    """Or a rule of it would be tried on nothing."""
    assert {NAMES.get(name, name) for name in simulate("ordinary", 39).columns} >= {point.id for point in plan().points}


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", CASES, ids=lambda case: case.kind)
def test_the_first_message_names_the_failure_in_time(case: Case, seed: int) -> None:
    """Within minutes where water stops; nothing else is told before or beside it but what has an answer of its own."""
    began, notices = told(case.kind, seed)
    assert notices[0].body["title"].startswith(case.title)
    assert 0 < notices[0].t - began <= case.within * MINUTE
    assert {event.body["rule"] for event in notices} <= case.told


def firsts(notices: Sequence[Event], began: int) -> dict[str, float]:
    """Rule -> minutes from the failure to its first message."""
    found: dict[str, float] = {}
    for event in notices:
        found.setdefault(event.body["rule"], (event.t - began) / MINUTE)
    return found


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("kind", "zero", "first", "last", "cause", "within"),
    [
        # The power is back after half an hour, and the pump is not: it has a few minutes to start again, no longer.
        ("pump_trip", "mains.state", 0, 30, "mains.off", (30, 40)),
        # A jammed pump burns out: it draws nothing any more, so that it counts as jammed no longer.
        ("rotor_jammed", "pump.current", 40, 1000, "pump.jammed", (40, 55)),
    ],
)
def test_water_that_stays_away_is_told_when_its_cause_is_over(
    kind: str, zero: str, first: int, last: int, cause: str, within: tuple[int, int], seed: int
) -> None:
    """A cause explains stopped water while it lasts; somebody must still come."""
    began, notices = told(kind, seed, zero, first, last)
    found = firsts(notices, began)
    assert list(found)[:2] == [cause, "loop.stopped"]
    assert within[0] < found["loop.stopped"] <= within[1]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", QUIET)
def test_nothing_is_told_where_water_runs(kind: str, seed: int) -> None:
    """A siphon of another bed and a slow leak of the sump leave the keeper asleep."""
    assert [event.body["title"] for event in told(kind, seed)[1]] == []


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.kind)
def test_every_message_fits_a_lock_screen_and_ends_with_what_to_do(case: Case) -> None:
    """Whole, not cut, nothing left unfilled."""
    rules = {rule.id: rule for rule in plan().rules}
    for event in told(case.kind, SEEDS[0])[1]:
        title, text = event.body["title"], event.body["text"]
        assert len(title) <= TITLE_SIZE
        assert len(text) <= BODY_SIZE
        assert not {"…", "{"} & set(title + text)
        if event.body["purpose"] != "recovery":
            assert text.endswith(f"First: {rules[event.body['rule']].text_of(event.body['side'], 'do')}")


def test_every_alarm_of_the_example_says_what_to_do_first() -> None:
    """An alarm needs a response (ISA-18.2)."""
    told = [rule for rule in plan().rules if rule.priority != "log"]
    assert [rule.id for rule in told if not rule.do and not all(own.do for own in rule.sides.given().values())] == []
    assert [rule.id for rule in told if not rule.do and not rule.sides.given()] == []
