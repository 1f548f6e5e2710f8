"""Are readings judged before rules see them, the same live and replayed, and is it said what is not believed?"""

from __future__ import annotations

import itertools
import json
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.block import Block, block
from rules.conditions import KINDS
from rules.durations import MINUTE
from rules.engine import Engine
from rules.events import Event
from rules.plan import Plan, PointPlan
from rules.quality.chosen import chosen
from rules.quality.codes import CodesSettings
from rules.quality.flat_line import FlatLineSettings
from rules.quality.gross_range import GrossRangeSettings
from rules.quality.neighbour import NeighbourSettings
from rules.quality.rate_of_change import RateOfChangeSettings
from rules.quality.settings import QualitySettings
from rules.quality.spike import SpikeSettings
from rules.quantities import QUANTITIES
from tests.rules.quality.made import made

CODES = made(CodesSettings, values=[-127, 85])
WARM = {"id": "house.warm", "kind": "band", "point": "house.temperature", "high": 30, "priority": "high"}
SILENT = {"id": "house.silent", "kind": "silent", "point": "house.temperature", "priority": "low"}


def house(*tests: QualitySettings, **more: Any) -> PointPlan:
    return PointPlan(
        "house.temperature", "air_temperature", "degC", Fraction(1, 10), MINUTE, 3 * MINUTE, quality=tests, **more
    )


def plan(*points: PointPlan, rules: tuple[dict[str, Any], ...] = (WARM, SILENT), settle: int = 0) -> Plan:
    made_rules = tuple(KINDS[rule["kind"]].model_validate(rule) for rule in rules)
    return Plan("Test", "UTC", points, made_rules, settle=settle)


def readings(*values: int | None, first: int = 0, point: str = "house.temperature") -> Block:
    """One a minute from minute `first` on, counts of 0.1 degC."""
    return block(point, range(first * MINUTE, (first + len(values)) * MINUTE, MINUTE), values)


def alarms(events: list[Event]) -> list[tuple[int, str, str]]:
    """(minute, rule, state) of the alarms."""
    return [(e.t // MINUTE, e.body["rule"], e.body["state"]) for e in events if e.type == "alarm"]


def episodes(events: list[Event]) -> list[tuple[int, int]]:
    """(minute, flag) of the quality events."""
    return [(e.t // MINUTE, e.body["flag"]) for e in events if e.type == "quality"]


def test_a_code_never_reaches_a_rule() -> None:
    """85 degC in between makes no alarm; without the test it does."""
    part = readings(200, 850, 200, 850, 200)
    assert alarms(Engine(plan(house(CODES)), 0).step([part], [], 4 * MINUTE)) == []
    assert alarms(Engine(plan(house()), 0).step([part], [], 4 * MINUTE))[0] == (1, "house.warm", "unacknowledged")


def test_a_dead_probe_is_told_once_and_then_silent() -> None:
    """One event when it begins and one when it is back; the point goes stale after its last usable reading."""
    part = readings(200, 201, *[-1270] * 20, 202, 203, 204, 205)
    events = Engine(plan(house(CODES)), 0).step([part], [], 25 * MINUTE)
    assert episodes(events) == [(2, 4), (24, 1)]
    (begun, ended) = (event for event in events if event.type == "quality")
    assert begun.body == {
        "point": "house.temperature",
        "flag": 4,
        "value": -127.0,
        "unit": "degC",
        "why": "reads -127.0 degC: the code of a dead probe (fails); rules do not use it",
    }
    assert ended.body["why"] == "believed again; it was not since 1970-01-01T00:02:00.000Z"
    assert alarms(events)[0] == (4, "house.silent", "unacknowledged")


def test_a_loose_cable_is_one_episode() -> None:
    """Codes that come and go end only when nothing bad came for as long as the point may be stale."""
    part = readings(200, 850, 200, 850, 850, 200, 200, 850, 200, 200, 200, 200)
    assert episodes(Engine(plan(house(CODES)), 0).step([part], [], 20 * MINUTE)) == [(1, 4), (10, 1)]


def test_a_suspect_reading_is_used_where_the_point_says_so() -> None:
    """Then it is no episode either; a failed one is."""
    doubted = made(GrossRangeSettings, suspect_high=28, fail_high=60)
    part = readings(200, 310, 610)
    strict = Engine(plan(house(doubted)), 0).step([part], [], 3 * MINUTE)
    assert ([rule for _, rule, _ in alarms(strict)], episodes(strict)) == (["house.silent"], [(1, 3)])
    lenient = Engine(plan(house(doubted, accept_suspect=True)), 0).step([part], [], 3 * MINUTE)
    assert (alarms(lenient)[0], episodes(lenient)) == ((1, "house.warm", "unacknowledged"), [(2, 4)])


def test_rules_use_the_flag_known_when_judged() -> None:
    """A spike's flag comes one reading later: the alarm stands as it came, the final flag is told beside."""
    engine = Engine(plan(house(made(SpikeSettings, fail=3))), 0)
    events = engine.step([readings(200, 310)], [], MINUTE)
    assert alarms(events) == [(1, "house.warm", "unacknowledged")]
    engine.step([readings(200, first=2)], [], 2 * MINUTE)
    assert {name: finals.listed() for name, finals in engine.judged.finals.items()} == {
        "house.temperature": [(MINUTE, 4)]
    }


def test_only_what_is_up_to_the_frontier_is_judged() -> None:
    """What is newer waits, is shown as it came, and a checkpoint between the two loses nothing."""
    one_plan = plan(house(CODES, made(SpikeSettings, fail=3)), settle=MINUTE)
    engine = Engine(one_plan, 0)
    engine.step([readings(200, 850, 200)], [], 2 * MINUTE)
    assert {name: part.flags.tolist() for name, part in engine.judged.parts.items()} == {"house.temperature": [1, 4]}
    again = Engine.restore(one_plan, json.loads(json.dumps(engine.state())))
    assert again.newest()["house.temperature"] == (2 * MINUTE, 200, 2)
    again.step([], [], 3 * MINUTE)
    assert again.judged.parts["house.temperature"].times.tolist() == [2 * MINUTE]


def test_a_late_reading_is_judged_in_its_order() -> None:
    """It comes behind the frontier and is the newest of its point: judged by its own time, used if it passes."""
    engine = Engine(plan(house(CODES, made(RateOfChangeSettings, fail="5 degC/min"))), 0)
    engine.step([readings(200)], [], MINUTE)
    told = engine.step([readings(850, first=1)], [], 2 * MINUTE)
    assert engine.newest()["house.temperature"] == (MINUTE, 850, 4)
    assert [event.t for event in told if event.type == "quality"] == [MINUTE + 1]
    events = engine.step([readings(400, 401, first=2)], [], 3 * MINUTE)
    assert engine.judged.parts["house.temperature"].flags.tolist() == [1, 1]
    assert alarms(events) == [(2, "house.warm", "unacknowledged")]


def test_a_reading_behind_that_is_not_the_newest_is_not_judged() -> None:
    """Nor does it disturb what the tests carry."""
    engine = Engine(plan(house(made(FlatLineSettings, fail_time="2 min"))), 0)
    engine.step([readings(200, 200, 200)], [], 2 * MINUTE)
    engine.step([block("house.temperature", [90_000], [300])], [], 3 * MINUTE)
    assert engine.judged.parts == {}
    engine.step([readings(200, first=4)], [], 4 * MINUTE)
    assert engine.judged.parts["house.temperature"].flags.tolist() == [4]


def test_without_tests_flags_pass_as_they_came() -> None:
    """Readings that bring 3 or 4 are not used, 2 is, and nothing is said of it."""
    part = block("house.temperature", [0, MINUTE, 2 * MINUTE], [310, 320, 330], [3, 4, 2])
    engine = Engine(plan(house()), 0)
    assert alarms(engine.step([part], [], 2 * MINUTE)) == [(2, "house.warm", "unacknowledged")]
    assert (engine.judged.parts, engine.judged.events) == ({}, [])


# ------------------------------------------------------------------------------------------------ live equals replay

ALL = (
    CODES,
    made(GrossRangeSettings, suspect_low=0, suspect_high=35, fail_low=-50, fail_high=70),
    made(SpikeSettings, suspect=1, fail=5),
    made(RateOfChangeSettings, suspect="2 degC/min"),
    made(FlatLineSettings, suspect_time="4 min", fail_time="8 min"),
    made(NeighbourSettings, points=["low.temperature"], fail=10),
)
LOW = PointPlan(
    "low.temperature", "air_temperature", "degC", Fraction(1, 10), MINUTE, 3 * MINUTE,
    quality=tuple(chosen(None, QUANTITIES["air_temperature"]).values()),
)  # fmt: skip
COLD = {"id": "low.cold", "kind": "band", "point": "low.temperature", "low": -5, "on_delay": "3 min"}
BOTH = plan(house(*ALL), LOW, rules=(WARM, SILENT, COLD))
COLUMN = st.dictionaries(
    st.integers(0, 40),
    st.one_of(st.integers(250, 330), st.sampled_from([None, -1270, 850, 300, 300, 400])),
    max_size=30,
)


def said(columns: dict[str, dict[int, int | None]], cuts: list[int], restart: bool) -> tuple[Any, Any, Any]:
    """(events, flags, finals) of a series in steps that end at `cuts` (minutes)."""
    engine = Engine(BOTH, 0)
    events: list[Event] = []
    flags: dict[tuple[str, int], int] = {}
    finals: dict[tuple[str, int], int] = {}
    for begin, end in itertools.pairwise([-1, *cuts, 45]):
        parts = []
        for name, column in columns.items():
            new = {minute: value for minute, value in sorted(column.items()) if begin < minute <= end}
            parts.append(block(name, [minute * MINUTE for minute in new], list(new.values())))
        events += engine.step(parts, [], end * MINUTE)
        for name, part in engine.judged.parts.items():
            flags |= {(name, t): f for t, f in zip(part.times.tolist(), part.flags.tolist(), strict=True)}
        for name, found in engine.judged.finals.items():
            finals |= {(name, time): flag for time, flag in found.listed()}
        if restart:
            engine = Engine.restore(BOTH, json.loads(json.dumps(engine.state())))
    return [event.line() for event in events], flags, finals


@settings(max_examples=100, deadline=None)
@given(high=COLUMN, low=COLUMN, cuts=st.sets(st.integers(0, 44), max_size=8), restart=st.booleans())
def test_events_and_flags_do_not_depend_on_cuts(
    high: dict[int, int | None], low: dict[int, int | None], cuts: set[int], restart: bool
) -> None:
    """In steps of any length, restored between them or not: the same events, flags and final flags as in one."""
    columns = {"house.temperature": high, "low.temperature": low}
    assert said(columns, sorted(cuts), restart) == said(columns, [], False)


@pytest.mark.parametrize("stored", [1, 2, 3, 4])
def test_flags_that_a_store_kept_do_not_matter(stored: int) -> None:
    """A replay judges values anew: with other settings than those of the day the flags are others."""
    part = block("house.temperature", [0, MINUTE], [200, 310], [stored, stored])
    events = Engine(plan(house(CODES)), 0).step([part], [], MINUTE)
    assert alarms(events) == [(1, "house.warm", "unacknowledged")]
