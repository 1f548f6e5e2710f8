"""Do the quality tests that points have by default keep the lies of the dirty day from the rules, and nothing true?"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from adapters.recordings.read import read_recordings
from daemon.site.load import load_site
from demo_replay import place
from demo_replay.days import SITE, path
from demo_replay.kinds import KINDS, RECORDED
from demo_replay.replay import replay
from demo_replay.simulate import simulate
from rules.engine import Engine
from rules.events import Event
from rules.flags import Flag
from rules.plan import Plan
from rules.settings import Priority
from tests.simulated_days import made

SEEDS = (39, 1, 2)
DEAD = "low.temperature"


class Found(NamedTuple):
    """Of a day's readings by point: flags as known when judged, and in the end."""

    judged: dict[str, NDArray[np.uint8]]
    final: dict[str, NDArray[np.uint8]]


@cache
def plan() -> Plan:
    return load_site(SITE).plan


@cache
def without_tests() -> Plan:
    """The same rules, with every point's quality = "none"."""
    return replace(plan(), points=tuple(replace(point, quality=()) for point in plan().points))


def flags(kind: str, seed: int) -> Found:
    recording = made(kind, seed).recording()
    span = recording.span()
    assert span is not None
    engine = Engine(plan(), span[0])
    engine.step(recording.blocks.values(), [], span[1] + plan().settle)
    judged = {name: part.flags for name, part in engine.judged.parts.items()}
    final = {name: found.copy() for name, found in judged.items()}
    for name, finals in engine.judged.finals.items():
        final[name][np.searchsorted(recording.blocks[name].times, finals.times)] = finals.flags
    return Found(judged, final)


def told(events: list[Event]) -> set[str]:
    return {
        event.body["rule"]
        for event in events
        if event.type == "alarm" and event.body["state"] == "unacknowledged" and event.body["priority"] != Priority.LOG
    }


def dirty(seed: int, judged_by: Plan) -> list[Event]:
    return replay(judged_by, made("dirty_probe", seed).recording()).events


@pytest.mark.parametrize("seed", SEEDS)
def test_no_alarm_of_water_or_air_comes_from_bad_readings(seed: int) -> None:
    """What speaks is what was true: three probes that say nothing that can be believed."""
    assert told(dirty(seed, plan())) == {"tank.oxygen_silent", "tank.ph_stuck", "low.temperature_code"}


@pytest.mark.parametrize("seed", SEEDS)
def test_without_the_tests_a_dead_probe_is_taken_for_cold_air(seed: int) -> None:
    """The same day with quality = "none": -127 degC at the floor makes an alarm of the air."""
    assert "house.cold_pool" in told(dirty(seed, without_tests()))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_dead_probe_is_reported_once(seed: int) -> None:
    """One alarm, and in the log one reading that was not believed and one that was again."""
    events = dirty(seed, plan())
    label = next(label for label in made("dirty_probe", seed).labels if label.rule == "low.temperature_code")
    (alarm,) = [
        event
        for event in events
        if event.type == "alarm" and event.body["rule"] == label.rule and event.body["state"] == "unacknowledged"
    ]
    assert label.start_ms < alarm.t < label.start_ms + 10 * 60_000
    begun, ended = [event for event in events if event.type == "quality" and event.body["point"] == DEAD]
    assert (begun.body["flag"], begun.body["value"]) == (Flag.FAIL, -127.0)
    assert "code of a dead probe" in begun.body["why"]
    assert ended.body["flag"] == Flag.PASS
    assert label.start_ms <= begun.t < label.end_ms <= ended.t


@pytest.mark.parametrize("seed", SEEDS)
def test_only_lies_are_kept_from_the_rules(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reading that is not used differs from what the same probe would have sent on an honest day."""
    found = flags("dirty_probe", seed)
    columns = made("dirty_probe", seed).columns
    monkeypatch.setitem(KINDS, "dirty_probe", replace(KINDS["dirty_probe"], probe_faults=(), marks=()))
    honest = simulate("dirty_probe", seed).columns
    hidden = 0
    for name, judged in found.judged.items():
        times, counts = columns[name]
        true = honest[name][1][np.searchsorted(honest[name][0], times)]
        assert not np.any((judged >= Flag.SUSPECT) & (counts == true)), name
        hidden += int(np.count_nonzero(judged >= Flag.SUSPECT))
    assert hidden > 80


@pytest.mark.parametrize("seed", SEEDS)
def test_every_code_is_kept_from_the_rules(seed: int) -> None:
    """All -127 and 85 degC, whichever share of the readings they are."""
    found, columns = flags("dirty_probe", seed), made("dirty_probe", seed).columns
    for name, code in ((DEAD, -1270), ("tank.temperature", 8500)):
        assert np.any(columns[name][1] == code)
        assert np.all(found.judged[name][columns[name][1] == code] == Flag.FAIL)


@pytest.mark.parametrize("seed", SEEDS)
def test_most_spikes_are_marked_in_the_end(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the readings of the air that are off by 9 to 18 degC, all but those next to another one."""
    found, (times, counts) = flags("dirty_probe", seed), made("dirty_probe", seed).columns["house.temperature"]
    monkeypatch.setitem(KINDS, "dirty_probe", replace(KINDS["dirty_probe"], probe_faults=(), marks=()))
    sent, true = simulate("dirty_probe", seed).columns["house.temperature"]
    off = counts != true[np.searchsorted(sent, times)]
    final = found.final["house.temperature"]
    assert np.mean(final[off] >= Flag.SUSPECT) > 0.8
    assert np.mean(final[~off] >= Flag.SUSPECT) < 0.02


@pytest.mark.parametrize("kind", [kind for kind in RECORDED if kind != "dirty_probe"])
def test_on_every_other_recorded_day_nothing_is_kept_from_the_rules(kind: str) -> None:
    """Stopped water, frost, heat and lack of oxygen are no faults of probes."""
    found = flags(kind, 39)
    assert {name for name, judged in found.judged.items() if np.any(judged >= Flag.SUSPECT)} == set()


def test_the_file_says_the_same() -> None:
    """The recording on disk makes the quality events of the simulated day."""
    points = {point.id: point for point in plan().points}
    recording = read_recordings([path("dirty_probe")], points, place.TIMEZONE, strict=True)
    events = [event.line() for event in replay(plan(), recording).events if event.type == "quality"]
    assert events == [event.line() for event in dirty(39, plan()) if event.type == "quality"]
