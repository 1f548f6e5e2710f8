"""Do the rules of the shipped site file see what happened on the demo days, name it, and keep quiet otherwise?"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from adapters.recordings.read import read_recordings
from adapters.recordings.recording import Recording
from daemon.site.load import Site, load_site
from demo_replay import place
from demo_replay.days import SITE, path
from demo_replay.kinds import KINDS, RECORDED
from demo_replay.replay import replay
from demo_replay.simulate import simulate
from demo_replay.works import Failure
from rules.block import Block
from rules.durations import MINUTE
from rules.messages import BODY_SIZE, TITLE_SIZE
from rules.settings import Priority
from tests.simulated_days import made

SEEDS = (39, 1, 2)
STOPPED = {"loop.stopped", "loop.no_bed_moves"}
EXPECTED: dict[str, set[str]] = {
    "ordinary": set(),
    "hot": {"house.warm", "house.hot"},
    "frost": {"house.cool", "house.cold", "house.frost"},
    "pump_trip": {"loop.stopped", "tank.oxygen_critical"},
    "siphon_stuck": {"bed2.stays_low"},
    "slow_leak": {"loop.leak", "floor.wet_now"},
    "dawn_oxygen": {"tank.oxygen_warn", "tank.oxygen_low"},
    "dirty_probe": {"tank.oxygen_silent", "tank.ph_stuck", "low.temperature_code"},
}
"""Recorded kind -> the rules that speak on it, unsuppressed."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """An alarm that was told: ms UTC, rule and priority."""

    at: int
    rule: str
    priority: str


@cache
def _site() -> Site:
    return load_site(SITE)


def _spoken(recording: Recording) -> list[Spoken]:
    events = replay(_site().plan, recording).events
    return [
        Spoken(event.t, event.body["rule"], event.body["priority"])
        for event in events
        if event.type == "alarm"
        and event.body["state"] == "unacknowledged"
        and event.body["priority"] != Priority.LOG.value
    ]


@cache
def _on(kind: str, seed: int = 39, without: tuple[str, ...] = ()) -> list[Spoken]:
    recording = made(kind, seed).recording()
    return _spoken(Recording({p: b for p, b in recording.blocks.items() if p not in without}, recording.series))


def _first(spoken: list[Spoken], rules: Collection[str]) -> Spoken:
    return next(alarm for alarm in spoken if alarm.rule in rules)


def test_the_site_file_is_right() -> None:
    """It passes the check, and nobody is left untold of what is critical or high."""
    assert [remark.what for remark in _site().remarks] == []
    for person in _site().plan.persons:
        assert Priority.CRITICAL in person.priorities


def test_its_points_are_those_that_the_probes_measure() -> None:
    """Quantity, unit, resolution and interval of every point are the probe's."""
    points = {p.id: (p.quantity, p.unit, p.resolution, p.expect_every) for p in _site().plan.points}
    assert points == {
        name: (
            probe.info.quantity,
            probe.info.unit,
            probe.info.resolution,
            place.BOARDS[probe.board].interval * probe.every,
        )
        for name, probe in place.PROBES.items()
    }
    assert (_site().place.latitude, _site().place.longitude) == (place.LATITUDE, place.LONGITUDE)
    assert (_site().plan.name, _site().plan.timezone) == (place.NAME, place.TIMEZONE)


def test_every_rule_that_speaks_says_what_to_do_first() -> None:
    """An alarm without an action is no alarm (ISA-18.2); texts fit a lock screen."""
    for rule in _site().plan.rules:
        if rule.priority is not Priority.LOG:
            assert rule.do, rule.id
            assert len(rule.title or "") <= TITLE_SIZE
            assert len(f"First: {rule.do}") <= BODY_SIZE
            assert "!" not in f"{rule.title}{rule.says}{rule.do}"


def test_every_label_is_of_a_rule_of_the_site_file() -> None:
    """Labels name rules that there are, so that tuning finds them."""
    rules = {rule.id for rule in _site().plan.rules}
    for kind in KINDS:
        assert {label.rule for label in made(kind).labels} <= rules


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", RECORDED)
def test_just_the_right_rules_speak_on_a_recorded_day(kind: str, seed: int) -> None:
    """What happened is told, nothing else is, and what another alarm accounts for is kept back, whatever the seed."""
    assert {alarm.rule for alarm in _on(kind, seed)} == EXPECTED[kind]


@pytest.mark.parametrize("kind", RECORDED)
def test_the_files_say_the_same_as_the_simulator(kind: str) -> None:
    """The recording on disk, read and replayed, makes the alarms that the simulated day makes."""
    points = {point.id: point for point in _site().plan.points}
    recording = read_recordings([path(kind)], points, place.TIMEZONE, strict=True)
    assert recording.rounded == recording.repeats == 0
    assert recording.ignored == {}
    assert [(alarm.rule, alarm.at) for alarm in _spoken(recording)] == [(alarm.rule, alarm.at) for alarm in _on(kind)]


@pytest.mark.parametrize("seed", SEEDS)
def test_stopped_water_is_told_within_two_minutes(seed: int) -> None:
    """From the trip to the critical alarm it takes at most 2 minutes, and it is the first alarm of the night."""
    trip = made("pump_trip", seed).labels[0].start_ms
    first = _on("pump_trip", seed)[0]
    assert (first.rule, first.priority) == ("loop.stopped", "critical")
    assert 0 < first.at - trip <= 2 * MINUTE


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", [kind for kind in RECORDED if kind != "pump_trip"])
def test_no_other_recorded_day_says_that_water_stopped(kind: str, seed: int) -> None:
    """Neither rule of stopped water speaks on a day on which water ran."""
    assert not STOPPED & {alarm.rule for alarm in _on(kind, seed)}


@pytest.mark.parametrize("seed", SEEDS)
def test_beds_alone_tell_stopped_water_within_one_and_a_half_periods(seed: int) -> None:
    """Where flow, current and tank level are not measured, still beds tell it within 1.5 x 36 minutes."""
    trip = made("pump_trip", seed).labels[0].start_ms
    alarm = _first(_on("pump_trip", seed, ("loop.flow", "pump.current", "tank.level")), STOPPED)
    assert alarm.rule == "loop.no_bed_moves"
    assert alarm.at - trip <= 54 * MINUTE


@pytest.mark.parametrize(
    "kind", ["ordinary", "siphon_stuck", "slow_leak", "siphon_will_not_start", "bed_without_inflow"]
)
def test_beds_alone_say_nothing_while_one_of_them_moves(kind: str) -> None:
    """Without the meters, one bed that stands still is no stopped loop."""
    assert not STOPPED & {alarm.rule for alarm in _on(kind, without=("loop.flow", "pump.current", "tank.level"))}


def test_without_meters_the_tank_level_tells_it_sooner_than_the_beds() -> None:
    """With flow and current unmeasured, the tank at its lip and no bed moving for 10 minutes suffice."""
    trip = made("pump_trip").labels[0].start_ms
    alarm = _first(_on("pump_trip", without=("loop.flow", "pump.current")), STOPPED)
    assert alarm.rule == "loop.stopped"
    assert alarm.at - trip <= 15 * MINUTE


@pytest.mark.parametrize(
    ("kind", "rule", "within"),
    [
        ("power_cut", "mains.off", 1),
        ("breaker_trip", "mains.breaker", 1),
        ("rotor_jammed", "loop.jammed", 1),
        ("valve_shut", "loop.valve_shut", 2),
        ("burst_pipe", "loop.burst", 3),
        ("intake_blocked", "loop.slow", 600),
        ("filter_clogging", "filter.clogged", 600),
        ("siphon_will_not_start", "bed2.stays_full", 100),
        ("siphon_stuck", "bed2.stays_low", 100),
        ("bed_without_inflow", "bed1.no_inflow", 100),
        ("flow_meter_stuck", "loop.flow_stuck", 10),
    ],
)
def test_the_first_alarm_names_the_failure(kind: str, rule: str, within: int) -> None:
    """Each failure of the loop is told by its own rule first, within so many minutes, and not as something else."""
    day = made(kind)
    began = day.labels[0].start_ms if day.labels else day.begin_ms + 8 * 60 * MINUTE
    first = _on(kind)[0]
    assert first.rule == rule
    assert first.at - began <= within * MINUTE


def test_a_tank_that_siphons_back_is_told_beside_the_stopped_water() -> None:
    """The pump's stop is told first, the sinking tank as soon as it is 3 cm under its lip."""
    assert [alarm.rule for alarm in _on("breather_blocked")][:2] == ["loop.stopped", "tank.siphoned"]


def test_a_sump_that_runs_dry_is_told_as_loss_and_then_as_a_dry_sump() -> None:
    """Wet floor and leak come hours before the pump draws air; oxygen follows hours later."""
    order = list(dict.fromkeys(alarm.rule for alarm in _on("sump_dry")))
    assert order[:3] == ["floor.wet_now", "loop.leak_fast", "sump.low"]


def test_a_stuck_flow_meter_never_says_stopped() -> None:
    """A bed that cycles proves water."""
    assert {alarm.rule for alarm in _on("flow_meter_stuck")} == {"loop.flow_stuck"}


@pytest.mark.parametrize("kind", ["ordinary", "siphon_stuck"])
def test_two_dead_meters_never_say_stopped_while_beds_move(kind: str) -> None:
    """Flow and current both at 0 from the second hour on, as of a dead board, are outweighed by two moving beds."""
    recording = made(kind).recording()
    dead = {}
    for point in ("loop.flow", "pump.current"):
        part = recording.blocks[point]
        early = part.times < made(kind).begin_ms + 60 * MINUTE
        dead[point] = Block(point, part.times, np.where(early, part.values, 0), part.flags)
    spoken = _spoken(Recording(dict(recording.blocks) | dead, recording.series))
    assert not STOPPED & {alarm.rule for alarm in spoken}


@pytest.mark.parametrize("kind", ["intake_blocked", "filter_clogging"])
def test_slow_water_is_not_stopped_water(kind: str) -> None:
    """Beds that fill so slowly that they hardly move are no proof while the meter shows flow."""
    assert not STOPPED & {alarm.rule for alarm in _on(kind)}


def test_a_short_stop_is_no_leak(monkeypatch: pytest.MonkeyPatch) -> None:
    """Water that a stop of 40 minutes moved between beds and sump makes no leak, nor anything else but the stop."""
    brief = replace(KINDS["pump_trip"], failures=(Failure("pump", 26.2, 26.9),))
    monkeypatch.setitem(KINDS, "pump_trip", brief)
    assert {alarm.rule for alarm in _spoken(simulate("pump_trip").recording())} == {"loop.stopped"}


@pytest.mark.parametrize("kind", ["pump_trip", "power_cut", "breaker_trip"])
def test_critical_oxygen_is_never_kept_back(kind: str) -> None:
    """Although the stop accounts for it, oxygen under 3 is told again."""
    assert _on(kind)[-1].rule == "tank.oxygen_critical"


def test_one_event_is_at_most_a_few_messages() -> None:
    """Under one alarm in ten minutes on every kind of day, sustained (the usual benchmark of one an operator)."""
    for kind in KINDS:
        assert len(_on(kind)) < 24 * 6 / 8
